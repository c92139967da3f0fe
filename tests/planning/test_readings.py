"""Plans of single readings: the chance foretold is that of the check's own rule; what can never hold is said."""

import json
from types import SimpleNamespace

import numpy as np
import pytest

from agree import InputError, plan
from agree.planning.readings import Readings, chance_of_share
from agree.report.notes.sentence import note_text
from agree.verdict.claim import Claim
from agree.verdict.columns import Windows
from agree.verdict.meanings import SHARE, share_within
from agree.verdict.reference import ReferenceUncertainty


def simulated(rng, answer, sessions, error, asked, stated, runs):
    """Share of tests, reading by reading, that the rule of the check settles with this answer."""
    known, settled = ReferenceUncertainty.parse(stated), 0
    table = SimpleNamespace(sampling="sessions", sessions=sessions)
    label = np.repeat(np.arange(sessions), asked.windows)
    for _ in range(runs):
        bias = error + asked.sd * rng.normal(size=(sessions, 1))
        if stated is not None:
            bias = bias + rng.uniform(-1, 1) * asked.known.rectangles[0]
        errors = (bias + asked.window_sd * rng.normal(size=(sessions, asked.windows))).ravel()
        windows = Windows(np.full(errors.size, 200.0), 200 + 2 * errors, label * 0.0, label, 30)
        item = share_within(table, windows, Claim.parse("1.5 %"), known, 0.95)
        settled += item.low >= SHARE if answer == "holds" else item.high < SHARE
    return settled / runs


@pytest.mark.parametrize(("answer", "sessions", "error", "sd", "stated"), [
    ("holds", 4, 0.0, 0.3, None), ("does not hold", 5, 1.2, 0.3, "±0.4 %"), ("holds", 6, 0.0, 0.2, "±0.4 %")])
def test_chance_is_that_of_the_rule(rng, answer, sessions, error, sd, stated):
    known = ReferenceUncertainty.parse(stated).known(200.0)
    asked, runs = Readings(1.5, sd, 0.4, 60, known, 0.95), 200
    foretold = chance_of_share(answer, sessions, error, asked)
    assert simulated(rng, answer, sessions, error, asked, stated, runs) == pytest.approx(
        foretold, abs=3 * np.sqrt(0.25 / runs))


def test_a_plan_of_readings():
    made = plan("1.5 %", meaning="readings", within_sd=0.6, session_sd=0.3, true_error=[0.0, 0.5, 1.5])
    cases = {case.true_error: case for case in made.cases}
    assert cases[0.0].answer == "holds"
    assert 10 <= cases[0.0].sessions <= 16
    assert cases[0.0].reached >= 0.8
    assert cases[0.5].sessions is None  # 96 % lie inside: too near to 95
    assert note_text(cases[0.5].because).startswith(
        "95.9 % of the readings of such a device lie within the limit, 95 % are")
    assert (cases[1.5].answer, cases[1.5].sessions) == ("does not hold", 3)
    assert "for single readings" in made.summary()
    assert json.loads(json.dumps(made.to_dict()))["meaning"] == "readings"


def test_longer_averaging_needs_fewer_sessions():
    short, long = (plan("1.5 %", meaning="readings", within_sd=0.8, session_sd=0.2, window_s=s) for s in (30, 120))
    assert short.cases[0].sessions is None or long.cases[0].sessions <= short.cases[0].sessions


def test_refusals():
    with pytest.raises(InputError, match="`looks` cannot be planned for `meaning` 'readings'"):
        plan("1.5 %", meaning="readings", looks=(3, 5))
    with pytest.raises(InputError, match="`window_s` must be a whole number of seconds from 1 to 600; got 0"):
        plan("1.5 %", meaning="readings", window_s=0)
