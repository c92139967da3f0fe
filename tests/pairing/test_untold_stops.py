"""Zeros that may be a stop which the other recorder did not count name no side; steps stay at their stops."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.core.thresholds import (
    BESIDE_STEP_S,
    LEAST_END_S,
    LEAST_UNTOLD_S,
    STEP_PRICE,
    STEP_PRICE_AT_STOP,
    TURNING_RPM,
)
from agree.faults.detect import Found
from agree.pairing.clocks import retime
from agree.pairing.clocks.by_second.likeliest_course import likeliest
from agree.pairing.clocks.by_second.step_search import refined
from agree.pairing.clocks.lag_path import Stretch
from agree.pairing.grid import Grid
from agree.pairing.untold_stops import Cadences, untold_stops
from agree.report.notes.sentence import note_text

NO_CADENCE = Cadences(None, None)
LOST_BY_DEVICE = (retime.Change(start=520, size=-20),)  # of the pairs' seconds 500 to 520


def zeros(start, stop, side="reference", kind="dropout"):
    return Found(kind, side, start, stop, 1000.0, 10.0)


def told(*found, changes=LOST_BY_DEVICE, cadences=NO_CADENCE):
    return untold_stops(found, changes, 0, 2000, cadences)


@pytest.mark.parametrize("side", ["reference", "device"])
@pytest.mark.parametrize("kind", ["dropout", "late_start", "early_end"])
def test_zeros_beside_a_step_name_no_side(kind, side):
    """BESIDE_STEP_S, 10: the stop may lie so far beside its place, and needs no word."""
    assert BESIDE_STEP_S == 10
    for start, stop in ((520 + BESIDE_STEP_S, 536), (480, 500 - BESIDE_STEP_S)):
        found = told(zeros(start, stop, side, kind))
        assert found.seconds.tolist() == list(range(start, stop))
        assert not found.notes


def test_further_off_the_zeros_of_the_clock_that_loses_seconds_are_a_fault():
    assert not told(zeros(521 + BESIDE_STEP_S, 540, "device")).seconds.size
    assert not told(zeros(470, 499 - BESIDE_STEP_S, "device")).seconds.size
    assert not told(zeros(900, 930), changes=()).seconds.size


@pytest.mark.parametrize(("length", "severity"), [(LEAST_UNTOLD_S - 1, "trust"), (LEAST_UNTOLD_S, "answer")])
def test_zeros_of_the_other_trace_may_be_a_stop_that_was_not_found(length, severity):
    """LEAST_UNTOLD_S, 3: so long a one is said first."""
    assert LEAST_UNTOLD_S == 3
    found = told(zeros(900, 900 + length), zeros(1300, 1302), changes=(*LOST_BY_DEVICE, retime.Change(720, -9)))
    (note,) = found.notes
    assert note.severity == severity
    assert note.values == {"role": "reference", "loser": "device", "times": 2, "seconds": length + 2, "at_s": 900.0}
    assert found.seconds.size == length + 2
    assert "may be a stop which it did not count" in note_text(note)


@pytest.mark.parametrize(("rpm", "kept"), [(TURNING_RPM, 0), (TURNING_RPM - 1, 30)])
def test_a_trace_whose_rider_pedals_has_failed(rpm, kept):
    """TURNING_RPM, 20: its own cadence tells."""
    assert TURNING_RPM == 20
    cadence = np.full(2000, rpm)
    assert told(zeros(900, 930), cadences=Cadences(cadence, None)).seconds.size == kept
    assert told(zeros(900, 930), cadences=Cadences(np.full(2000, np.nan), np.full(2000, 90.0))).seconds.size == 30


@pytest.mark.parametrize(("start", "said"), [(LEAST_END_S, 0), (LEAST_END_S + 1, 1)])
def test_at_an_end_no_lag_hangs_on_a_stop(start, said):
    assert len(told(zeros(start, start + 5)).notes) == said
    assert len(told(zeros(1990 - LEAST_END_S, 2000 - start)).notes) == said


@pytest.mark.parametrize(("length", "held"), [(20 + BESIDE_STEP_S, True), (21 + BESIDE_STEP_S, False)])
def test_zeros_longer_than_the_stop_beside_them_are_a_fault(length, held):
    """A device that comes back after a change of its battery, and reads 0 for minutes."""
    assert told(zeros(521, 521 + length, "device", "late_start")).seconds.size == held * length


def test_more_zeros_than_steps_are_faults():
    """A reference that fails again and again is not excused by one stop."""
    twice = zeros(900, 930), zeros(1200, 1230)
    assert told(twice[0]).seconds.size == 30
    assert not told(*twice).seconds.size
    assert told(*twice, changes=(*LOST_BY_DEVICE, retime.Change(720, -9))).seconds.size == 60
    assert not told(*twice, changes=(*LOST_BY_DEVICE, retime.Change(720, 9))).seconds.size


def test_other_faults_stay_what_they_are():
    found = told(zeros(515, 530, kind="held"), zeros(900, 930, kind="partial"), zeros(900, 930, side="either"))
    assert not found.seconds.size


def test_a_step_stays_at_its_stop_though_seconds_nearby_differ_more():
    """A recorder that left out 3 s of a stop had them taken from riding 26 s later, at 360 W, where readings differ."""
    rng = np.random.default_rng(1)
    full = 200 + np.cumsum(rng.normal(0, 8, 400))
    full[197:203] = 0
    short = np.delete(full + rng.normal(0, 4, 400), slice(200, 203))
    short[226:229] += 30
    stretches = [Stretch(0, 200, np.zeros(6, np.int64)), Stretch(200, 397, np.full(6, 3))]
    _, _, (change,) = retime.mend(Grid(0.0, np.maximum(short, 0)), Grid(0.0, full), stretches)
    assert 200 <= change.start - change.size <= 203


def test_a_step_at_a_stop_costs_less():
    """Twelve seconds of riding between two stops that a recorder leaves out are found; they had been passed over."""
    assert STEP_PRICE_AT_STOP == STEP_PRICE / 2
    price = np.array([STEP_PRICE] * 10 + [STEP_PRICE_AT_STOP] * 10)
    cost = np.ones((20, 6))
    cost[:10, 5] = cost[15:, 0] = 0.0
    cheap = likeliest(cost, np.full(20, 0.1), np.zeros(25), price, np.full(25, STEP_PRICE))
    assert cheap == [(0, 10, 5), (15, 20, 0)]
    assert len(likeliest(cost, np.full(20, 0.1), np.zeros(25), np.full(20, STEP_PRICE), np.full(25, STEP_PRICE))) == 1


def test_two_stops_with_a_few_seconds_of_riding_between_them():
    """One step of 25 s took the riding between for a stop, and blamed the reference for what was left of the stops."""
    rng = np.random.default_rng(1)
    full = np.abs(180 + 60 * np.sin(np.arange(900) / 9) + rng.normal(0, 25, 900)) + 20
    kept = np.ones(900, bool)
    for start, stop in [(300, 312), (324, 343), (600, 640)]:
        full[start:stop], kept[start + 3:stop] = 0, False
    short = np.rint(np.maximum(lfilter([0.3], [1, -0.7], full) + rng.normal(0, 3, 900), 0))[kept]
    rough = [Stretch(0, 312, np.zeros(10, np.int64)), Stretch(343, 600, np.full(8, -25)),
             Stretch(640, 900, np.full(8, -62))]
    found = refined(full, short, rough)
    sizes = [int(after.lags[0] - before.lags[-1]) for before, after in pairwise(found)]
    assert sizes == pytest.approx([-9, -16, -37], abs=1)
