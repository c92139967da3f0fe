"""Recordings of which a part is of another ride."""

import numpy as np
import pytest

from agree.core.errors import MatchError
from agree.core.thresholds import (
    LEAST_LIVELY,
    LEAST_OTHER_MINUTES,
    LEAST_REST_ALIKE,
    MOST_OTHER_R,
    MOST_OTHER_SLOPE,
    MOST_RETURNS,
    RETURN_S,
)
from agree.pairing.grid import Grid
from agree.pairing.match import match
from agree.pairing.refusal import refuse_returns
from agree.pairing.same_ride.joined import Part, unlike_part

SIZE, CUT = 2700, 1500
AT = {"minutes": LEAST_OTHER_MINUTES, "rest_alike": LEAST_REST_ALIKE, "correlation": MOST_OTHER_R,
      "most_slope": MOST_OTHER_SLOPE, "lively": LEAST_LIVELY}


def ride(seed):
    rng = np.random.default_rng(seed)
    return np.maximum(200 + np.convolve(rng.standard_normal(SIZE + 59), np.ones(60), "valid") * 4
                      + 25 * rng.standard_normal(SIZE), 1)


def paired(device, noise=5.0):
    measured = np.rint(np.maximum(device + noise * np.random.default_rng(9).standard_normal(SIZE), 0))
    return match(Grid(0.0, ride(1)), Grid(0.0, measured), None, None, False)


@pytest.mark.parametrize("turned", [False, True])
def test_a_file_joined_of_two_rides_is_refused(turned):
    parts = [ride(1)[:CUT], ride(2)[CUT:]] if not turned else [ride(2)[:SIZE - CUT], ride(1)[SIZE - CUT:]]
    with pytest.raises(MatchError, match="are of different rides: their changes have a correlation of"):
        paired(np.concatenate(parts))


@pytest.mark.parametrize("part", [np.zeros(SIZE - CUT), ride(1)[CUT:] / 2, np.full(SIZE - CUT, 180.0)],
                         ids=["zeros", "half", "held"])
def test_a_device_that_fails_is_no_other_ride(part):
    assert paired(np.r_[ride(1)[:CUT], part]).fine.lag == pytest.approx(0, abs=0.5)


def test_noise_from_some_minute_on_is_no_other_ride():
    loud = 60 * np.random.default_rng(3).standard_normal(SIZE - CUT)
    paired(np.r_[ride(1)[:CUT], np.maximum(ride(1)[CUT:] + loud, 1)])


@pytest.mark.parametrize("outside", [
    {"minutes": LEAST_OTHER_MINUTES - 1}, {"rest_alike": LEAST_REST_ALIKE - 0.01},
    {"correlation": MOST_OTHER_R + 0.01}, {"most_slope": MOST_OTHER_SLOPE + 0.01}, {"lively": LEAST_LIVELY - 0.01}])
def test_limits_of_another_ride(outside):
    assert Part(**AT).other
    assert not Part(**{**AT, **outside}).other


def test_the_part_that_is_unlike_may_have_a_minute_alike_by_chance():
    matched = np.r_[np.ones(10), np.zeros(8), 1, np.zeros(6), np.ones(5)] > 0
    assert unlike_part(matched) == (10, 25)


def test_jumps_to_and_fro_are_of_no_two_clocks():
    """RETURN_S and more, and more than MOST_RETURNS of each sign."""
    there, back = [int(RETURN_S)] * (MOST_RETURNS + 1), [-int(RETURN_S)] * (MOST_RETURNS + 1)
    with pytest.raises(MatchError, match="the lag jumps to and fro"):
        refuse_returns(there + back)
    refuse_returns(there + back[1:])
    refuse_returns([*there, *back[1:], -int(RETURN_S) + 1])
