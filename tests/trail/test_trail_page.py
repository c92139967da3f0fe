"""The page of a trail: every state, change and answer in words, in all forms; the demo tells its story."""

import json
import math
import re
from dataclasses import replace
from html import unescape

import pytest
from click.testing import CliRunner

from agree import Estimate, InputError
from agree.cli import main
from agree.core.results.note import Note
from agree.report.page.answer_sheet import draw_sheet
from agree.report.story.language.names import upper_first
from agree.report.story.tell import tell
from agree.report.texts.trail_text import trail_text
from agree.report.trail_page import sheet_of_trail, state_rows, write_trail_page
from agree.trail.states import Change, State
from agree.trail.trail import Trail, check_split
from tests.report.layouts import NAMES, faults, loud
from tests.trail.test_split import recording


@pytest.fixture(scope="module")
def trail():
    """States and changes made by hand about the check of one real recording of the test of splits."""
    check = check_split(recording(), ["0:20:00"], "1.5 %").check

    def state(label, values, half):
        each = tuple(Estimate(value=x, low=x - 0.1, high=x + 0.1, level=0.95, method="t") for x in values)
        mean = sum(values) / len(values)
        item = Estimate(value=mean, low=mean - half, high=mean + half, level=0.95, method="t")
        return State(state=label, sessions=len(values), bias_percent=item, session_sd=0.1, session_bias=each,
                     recordings=tuple((f"{label[:1]}{k}", "ref", "dev") for k in range(len(values))))

    states = (state("new & odd", (-2.6, -2.4), 0.8), state("factor 1.02 entered", (-0.1, 0.1, 0.0), 0.2),
              state("after winter", (3.0,), math.inf))
    changes = (Change(before="new & odd", after="factor 1.02 entered", answer="changed", margin_percent=0.75,
                      change_percent=Estimate(value=2.5, low=1.2, high=3.8, level=0.95, method="t"),
                      expected_percent=1.95, as_expected=None),
               Change(before="factor 1.02 entered", after="after winter", answer="not settled", margin_percent=0.75,
                      change_percent=Estimate(value=3.0, low=-math.inf, high=math.inf, level=0.95, method="t"),
                      expected_percent=math.nan, as_expected=None))
    return Trail(check=check, judged="factor 1.02 entered", states=states, changes=changes)


def test_the_states_in_rows(trail):
    rows = state_rows(trail)
    assert [(row.words, row.verdict, row.sign, row.asked) for row in rows] == [
        ("new & odd", "", "", False), ("factor 1.02 entered", "changed", "does not hold", True),
        ("after winter", "not settled", "not settled", False)]
    assert rows[1].figures == "0.0 %, 3 sessions; +2.5 points (+1.2 to +3.8); as foretold or not: not settled (+1.95)"
    assert rows[2].figures == "+3.0 %, 1 session; +3.00 points"


@pytest.mark.parametrize("suffix", [".pdf", ".svg", ".html"])
def test_every_form(trail, tmp_path, suffix):
    for name in ("one", "two"):
        write_trail_page(trail, tmp_path / f"{name}{suffix}", remarks=["A remark of the tester."])
    made = (tmp_path / f"one{suffix}").read_bytes()
    assert made == (tmp_path / f"two{suffix}").read_bytes()
    if suffix == ".pdf":
        assert made.startswith(b"%PDF")
        assert made.count(b"/FontFile2") == 2
        return
    text = made.decode("utf-8")
    for words in ("new &amp; odd", "factor 1.02 entered", "not settled", "A remark of the tester.", "Main doubt"):
        assert words in text
    if suffix == ".html":
        assert text.count('<th scope="row">') == 3
        stored = json.loads(unescape(re.search(r'aria-label="JSON">(.*?)</pre>', text, re.DOTALL)[1]))
        assert [item["state"] for item in stored["states"]] == ["new & odd", "factor 1.02 entered", "after winter"]


def many(trail, count, name, sessions=1):
    """A trail of so many states with long names."""
    states = tuple(replace(trail.states[k % 2], state=f"{name} {k}", sessions=sessions,
                           session_bias=trail.states[k % 2].session_bias[:1] * sessions,
                           recordings=trail.states[k % 2].recordings[:1] * sessions,
                           slow=(Note(kind="state_slow", severity="trust", values={
                               "session": str(k), "fault": "warm_up_drift"}),)) for k in range(count))
    changes = tuple(replace(trail.changes[k % 2], before=states[k].state, after=states[k + 1].state)
                    for k in range(count - 1))
    return replace(trail, states=states, changes=changes, judged=states[-1].state)


@pytest.mark.parametrize("width", [50, 80, 120])
def test_the_doubt_and_the_warnings_stand_in_the_text(trail, width):
    """A trail may hold while its last session carries a doubt: what the check's story warns of is said here too."""
    kinds = {"used_part": "trust", "looks_undeclared": "trust", "faults_too_many": "answer", "used_with_gaps": "trust"}
    notes = tuple(Note(kind=kind, severity=weight, values={"percent": 12.0, "promised": 5.0, "seconds": 400})
                  for kind, weight in kinds.items())
    doubtful = replace(many(trail, 4, "zeroed anew"), check=replace(loud(), notes=notes, decision_rule="guard 2u"))
    story = tell(doubtful.check)
    assert len(story.caveats) > 3
    flat = " ".join(trail_text(doubtful, width=width).split())
    assert "Main doubt" in flat
    assert f"Warnings {upper_first(story.caveats[0].text)}"[:60] in flat
    assert "All of it: --details." in flat
    assert story.sentence.replace("−", "-").replace("–", "-") in flat
    lines = trail_text(doubtful, width=width).splitlines()
    assert max(map(len, lines)) <= width
    assert len(lines) <= 16 or width < 80
    whole = " ".join(trail_text(doubtful, width=width, details=True).split())
    assert all(upper_first(item.text)[:40].replace("−", "-") in whole for item in story.caveats)


def test_pages_are_whole(trail):
    cases = [many(trail, 12, NAMES["long"]), many(trail, 5, NAMES["CJK"], 6),
             check_split(recording(), ["0:20:00", "0:30:00"], "1.5 %")]
    for case in cases:
        assert faults(draw_sheet(sheet_of_trail(case, ["A remark. " * 40]))) == []


def test_the_page_of_a_split_shows_both_answers(tmp_path):
    made = check_split(recording(), ["0:20:00"], "1.5 %")
    path = tmp_path / "split.svg"
    write_trail_page(made, path)
    text = " ".join(path.read_text(encoding="utf-8").split())
    for words in ("Error of each part of the recording", "place been declared beforehand: changed", "The parts"):
        assert words in text
    assert "Error of each session" not in text
    assert "session" not in state_rows(made)[0].figures


def test_another_suffix_is_refused(trail, tmp_path):
    with pytest.raises(InputError, match=r"must end in .pdf, .png, .svg or .html; got .docx"):
        write_trail_page(trail, tmp_path / "trail.docx")


def test_the_demo_tells_its_story_in_16_lines_and_on_a_page(tmp_path):
    done = CliRunner().invoke(main.command, ["demo", "trail", str(tmp_path)], standalone_mode=False)
    assert done.exception is None
    story = done.stdout.split("\n\n")[1].splitlines()
    assert len(story) <= 16
    assert max(map(len, story)) <= 80
    flat = " ".join(" ".join(story).split())
    assert flat.startswith("HOLDS claim ±1.5 %, judged on 3 sessions in the state 'factor 1.026 entered'")
    for words in ("zeroed anew", "not settled", "changed, +1.1 points", "as it did", "session 1 drifted", "Main doubt",
                  "together-third stands apart"):
        assert words in flat
    assert (tmp_path / "trail.pdf").read_bytes().startswith(b"%PDF")
