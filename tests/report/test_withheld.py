"""Where "holds" is withheld the sentence of the answer says why, in one way for all reasons and questions."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

import agree
from agree import Estimate
from agree.core.results.note import Note
from agree.report.notes.sentence import note_text
from agree.report.story.tell import tell
from tests.report.made import made

KINDS = ["because_gaps", "because_faults", "because_copy", "because_one_ride", "because_one_day", "because_too_little",
         "because_slower", "because_not_followed", "because_programme", "because_between_looks", "because_days",
         "because_minutes_unlike", "because_faults_untold"]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("meaning", ["average", "bands", "readings", "next_session"])
def test_the_sentence_says_why_an_answer_was_withheld(kind, meaning):
    """Of a figure that lies inside the limit, whatever was asked and whatever the reason."""
    source = made(-0.04, 0.5, sessions=4, meaning=meaning)
    share = Estimate(value=0.99, low=0.96, high=1.0, level=0.95, method="binomial")
    single = replace(source.readings[2], estimate=share, decides=None, verdict="holds")
    given = replace(source, readings=(*source.readings[:2], single, source.readings[3]), verdict="holds")
    why = Note(kind=kind, values={"sessions": "1 and 2", "rides": 1, "days": 3, "low": -2.0, "high": 1.0, "unit": "%"})
    held = replace(given, verdict="not settled", readings=tuple(
        replace(item, verdict="not settled", because=why) for item in given.readings))
    told, before = tell(held).sentence, tell(given).sentence
    assert ", but not settled, because " not in before
    assert told == f"{before.removesuffix('.')}, but not settled, because {note_text(why)}.".replace(
        "keeps the claim", "is inside the claim")


def test_every_kind_that_withholds_is_among_those_tried():
    room = Path(agree.__file__).parent / "assessment"
    found = {kind for place in room.rglob("*.py") for kind in re.findall(r'"(because_\w+)"', place.read_text("utf-8"))}
    assert found == set(KINDS)
