"""Equal power at two or three cadences: whether an offset is one in W or in N m, and the chance to tell."""

import math

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats

from agree import InputError
from agree.cli import main
from agree.planning.cadence import cadence_protocol


def run(*words):
    done = CliRunner().invoke(main.command, list(map(str, words)), standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout


@pytest.mark.parametrize("cadences", [(60, 100), (60, 80, 100)])
def test_the_chance_is_that_of_drawn_blocks(cadences):
    """4,000 sessions with an offset in N m, and as many with one in W: told if the interval leaves the other out."""
    made = cadence_protocol(4.0, long_run_W=25.0, cadences_rpm=cadences)
    rng = np.random.default_rng(5)
    order = np.array(made.order_rpm)
    block = 25.0 / math.sqrt(60 * made.minutes)
    design = np.column_stack([np.ones(order.size), order])
    df, span = order.size - 2, max(cadences) - min(cadences)
    t = stats.t.ppf(0.975, df)
    for torque in (True, False):
        true = made.offset_Nm * 2 * math.pi / 60 * order if torque else np.full(order.size, made.offset_W)
        shown = true + rng.normal(0, block, (4000, order.size))
        fit, *_ = np.linalg.lstsq(design, shown.T, rcond=None)
        sd = np.sqrt(((shown.T - design @ fit) ** 2).sum(axis=0) / df)
        half = t * sd * span / math.sqrt(((order - order.mean()) ** 2).sum())
        other = 0.0 if torque else made.change_W
        told = (span * fit[1] - half > other) if torque else (span * fit[1] + half < other)
        assert told.mean() == pytest.approx(made.chance, abs=0.025)  # three standard errors


def test_blocks_go_there_and_back_and_the_fewest_are_chosen():
    """2 N m at 80 rpm are 16.76 W, by hand."""
    made = cadence_protocol(16.76, long_run_W=20.0)
    assert made.offset_Nm == pytest.approx(2.0, abs=0.001)
    assert made.change_W == pytest.approx(16.76 / 2)
    assert made.order_rpm == (60.0, 100.0, 100.0, 60.0)
    assert made.chance >= 0.8
    more = cadence_protocol(6.0, long_run_W=20.0)
    assert more.repeats > made.repeats
    hopeless = cadence_protocol(0.5, long_run_W=45.0)
    assert (hopeless.repeats, hopeless.chance < 0.2) == (8, True)
    assert cadence_protocol(hopeless.told_W, long_run_W=45.0).chance == pytest.approx(0.8, abs=1e-9)
    assert cadence_protocol(0.98 * hopeless.told_W, long_run_W=45.0).chance < 0.8


@pytest.mark.parametrize(("cadences", "text"), [
    ((60,), "must hold two or three different cadences"), ((60, 60), "must hold two or three different cadences"),
    ((60, 140), "from 40 to 130 rpm"), ((90, 107), "must differ by a fifth or more")])
def test_cadences_that_tell_nothing(cadences, text):
    with pytest.raises(InputError, match=text):
        cadence_protocol(3.0, long_run_W=20.0, cadences_rpm=cadences)
    assert cadence_protocol(3.0, long_run_W=20.0, cadences_rpm=(90, 108)).chance < 1


def test_the_plan_and_its_sheet_hold_the_blocks(tmp_path):
    sheet = tmp_path / "sheet.txt"
    said = run("plan", "--claim", "1.5%", "--cadences", "60,100", "--offset", "8", "--sheet", sheet)
    for text in (said, sheet.read_text(encoding="utf-8")):
        flat = " ".join(text.split())
        assert "100 W, 4 min each at 60 100 100 60" in flat
        assert "is told to be one of W or of N m with a chance of" in flat
    assert max(map(len, said.split("\n\nWritten")[0].splitlines())) <= 80
    for words, text in ((("--offset", "8"), "--offset goes with --cadences"), (("--cadences", "a,b"), "write it like")):
        with pytest.raises(InputError, match=text):
            run("plan", "--claim", "1.5%", *words)
