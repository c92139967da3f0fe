"""Which seconds beside a ceiling belong to the jump of power that it cuts, and which tell nothing of a filter."""

import numpy as np
import pytest

from agree import Pairs
from agree.core.data.ceiling_edges import with_edges
from agree.core.data.matched import Matched
from agree.estimators.response.unbroken import telling


def edges(power, **more):
    """Seconds at or beside a ceiling of 700 W."""
    power = np.asarray(power, dtype=float)
    return np.flatnonzero(with_edges(power >= 700, power, np.minimum(power, 700), **more)).tolist()


@pytest.mark.parametrize(("last", "found"), [
    pytest.param(629, [2, 3, 4], id="CEILING_STEEP inside"), pytest.param(631, [2, 3], id="CEILING_STEEP outside")])
def test_a_tenth_of_the_ceiling_from_second_to_second_is_a_jump(last, found):
    assert edges([680, 690, 720, 700, last, last - 10, last - 20]) == found


def test_a_jump_is_followed_for_six_seconds():
    falling = [800, 700, *range(620, 20, -80)]
    assert edges(falling) == list(range(8)), "CEILING_JUMP_S"
    assert edges(falling[:6]) == list(range(6))


def test_seconds_on_either_side_may_be_asked_for():
    level = [690.0] * 10 + [720.0] + [690.0] * 10
    assert edges(level) == [10]
    assert edges(level, before_s=2, after_s=5) == list(range(8, 16))
    assert edges([690.0] * 5) == []


@pytest.mark.parametrize(("size_s", "unknown"), [
    pytest.param(float("nan"), range(98, 113), id="CEILING_UNTOLD_S"),
    pytest.param(7.4, range(98, 113), id="CEILING_SLOW_S inside"),
    pytest.param(7.6, range(100, 101), id="CEILING_SLOW_S outside")])
def test_a_cut_sprint_tells_nothing_of_a_short_filter(size_s, unknown):
    watts = np.full(200, 690.0)
    reason = np.where(np.arange(200) == 100, "device_saturation", "")
    pairs = Pairs(reference=watts, device=watts, reason=reason, matched=Matched(
        reference=watts, device=watts, smoother="device", size_s=size_s))
    grid = telling(pairs)
    for column in (grid.reference, grid.device):
        assert np.flatnonzero(np.isnan(column)).tolist() == list(unknown)
