"""Recordings whose steps repeat, or that have none: the lag of what the rider does between them."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.core.errors import MatchError
from agree.pairing.clocks.clock import Candidate
from agree.pairing.grid import Grid
from agree.pairing.match import match
from agree.pairing.same_ride.own_lag import stands_out
from agree.report.notes.sentence import note_text


def grid(power):
    return Grid(0.0, np.rint(np.maximum(power, 0)))


@pytest.mark.parametrize("two_riders", [False, True])
@pytest.mark.parametrize("levels", ["equal intervals", "one level", "one level, mean over 15 s"])
def test_power_without_steps_of_its_own_is_paired_by_what_the_rider_does(levels, two_riders):
    """Of equal levels without dates all were refused; two riders still are."""
    rng = np.random.default_rng(6)
    plan = np.tile(np.repeat([250.0, 160.0], 90), 10) if levels == "equal intervals" else np.full(1800, 200.0)
    size = 2 if "mean" in levels else 1
    own = [lfilter([size], [1, -0.6], rng.standard_normal(plan.size)) for _ in range(2)]
    power = plan + own[two_riders]
    if "mean" in levels:
        power = np.convolve(np.r_[np.full(14, power[0]), power], np.ones(15) / 15, "valid")
    noise = 2 if "mean" in levels else 4
    x, y = grid(plan + own[0]), grid((0.97 * power + noise * rng.standard_normal(plan.size))[77:])
    if two_riders:
        with pytest.raises(MatchError, match="several lags" if "equal" in levels else "a steady ride cannot be"):
            match(x, y, None, None, False)
        return
    found = match(x, y, None, None, False)
    assert found.fine.lag == pytest.approx(-77 + 7 * ("mean" in levels), abs=0.6)
    (note,) = (note for note in found.notes if note.kind == "pair_lag_by_own_changes")
    assert note.values["strength"] > 7
    assert note_text(note).startswith("the steps of power are alike at several lags, or there are none; what the rider")


@pytest.mark.parametrize(("best", "rival", "good"), [
    pytest.param(7.1, 4.0, True, id="OWN_STRENGTH"), pytest.param(6.9, 4.0, False, id="OWN_STRENGTH"),
    pytest.param(20.0, 11.9, True, id="MOST_OWN_RIVAL"), pytest.param(20.0, 12.1, False, id="MOST_OWN_RIVAL")])
def test_what_the_rider_does_stands_out_at_one_lag(best, rival, good):
    assert stands_out([Candidate(0, 0.5, best), Candidate(90, 0.3, rival)]) is good
