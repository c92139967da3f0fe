"""Thresholds of the verdict and the correction: just inside and just outside give different answers."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from agree import Estimate
from agree.core.thresholds import (
    HALF_WEIGHT_S,
    LEAST_FOR_PROBABILITY,
    ODD_LEVEL,
    POOL_LEVEL,
    SWAPPED_PERCENT,
    TREND_LEVEL,
)
from agree.correction.entered import Entered, Judged
from agree.correction.find import SCATTER_PERCENT, USUAL_SD_PERCENT, action_of, stability
from agree.correction.kind_of_error import HINT_LEVEL, NAMED_LEVEL, kind_of_error
from agree.correction.rules import LEAST_RANGE, WORTHWHILE_PERCENT
from agree.estimators.lines.line import Line
from agree.verdict.band_variance import shared_spread
from agree.verdict.bands import default_edges
from agree.verdict.claim import Claim
from agree.verdict.columns import table
from agree.verdict.meanings import average
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.sessions import mean_over_sessions, session_effects
from tests.rides import session

EXACT = ReferenceUncertainty.parse(None)


def biases(values):
    return [Estimate(value=v, low=v - 0.2, high=v + 0.2, level=0.95, method="t", standard_error=0.1, df=8)
            for v in values]


def test_a_session_of_five_minutes_counts_half():
    for seconds, more in ((HALF_WEIGHT_S - 1, False), (HALF_WEIGHT_S + 1, True)):
        found = mean_over_sessions(np.array([3.0, 0.0]), np.array([seconds, 1e12]), 0.95).value
        assert (found > 1.0) == more  # 1/2 to 1 is a third of the weight


@pytest.mark.parametrize("count", [LEAST_FOR_PROBABILITY - 1, LEAST_FOR_PROBABILITY])
def test_sessions_from_which_a_probability_is_given(rng, count):
    data = table([session(rng, seconds=300) for _ in range(count)], 30)
    found = average(data, Claim.parse("1.5 %"), EXACT, 0.95).conformance_probability
    assert math.isnan(found) == (count < LEAST_FOR_PROBABILITY)


@pytest.mark.parametrize(("factor", "odd"), [(1.01, (3,)), (0.99, ())])
def test_level_of_an_odd_session(factor, odd):
    limit = float(stats.t.ppf(1 - ODD_LEVEL / 4 / 2, 2)) * math.sqrt(4 / 3)
    assert session_effects(biases([-1.0, 0.0, 1.0, factor * limit])).odd == odd


@pytest.mark.parametrize(("more", "ageing"), [(1.01, True), (0.99, False)])
def test_level_of_a_trend(more, ageing):
    """Five sessions on a line with residuals (1, -2, 0, 2, -1), which have no slope of their own and no mean."""
    place, rest = np.arange(5) - 2.0, np.array([1.0, -2.0, 0.0, 2.0, -1.0])
    rest = rest - (rest @ place) / (place @ place) * place
    slope = float(stats.t.ppf(1 - TREND_LEVEL / 2, 3)) * math.sqrt(rest @ rest / 3 / (place @ place))
    assert session_effects(biases(more * slope * place + rest)).ageing == ageing


@pytest.mark.parametrize(("away", "suspicion"), [(0.99, "files exchanged"), (1.01, "")])
def test_how_near_to_the_reverse_files_look_exchanged(away, suspicion):
    others = [2.0, 2.01, 1.99, 2.0, 2.0]
    turned = 100 * (1 / 1.02 - 1) + away * SWAPPED_PERCENT
    found = session_effects(biases([*others, turned]))
    assert [item.suspicion for item in found.odd_sessions] == [suspicion]


@pytest.mark.parametrize(("level", "shared"), [(POOL_LEVEL, True), (POOL_LEVEL - 1e-6, False)])
def test_level_from_which_bands_share_their_variance(rng, level, shared):
    data = table([session(rng, seconds=600, scale=1 + k / 500) for k in range(3)], 30)
    masks = [data.level < 220, data.level >= 220]
    assert all((item is not None) == shared for item in shared_spread(data, masks, level))


def line(slope_off, intercept_off, half=0.01):
    """A line whose slope and intercept lie so many half-widths of their 95 % intervals from 1 and 0."""
    def item(null, width, k):
        value = null + k * width
        return Estimate(value=value, low=value - width, high=value + width, level=0.95, method="t", df=1e6)
    return Line(slope=item(1.0, half, slope_off), intercept=item(0.0, 200 * half, intercept_off), n=100, kind="Deming",
                sampling="serial", reference=np.ones(2), device=np.ones(2))


BIAS = Estimate(value=2.0, low=1.0, high=3.0, level=0.95, method="t")


@pytest.mark.parametrize(("slope", "intercept", "kind"), [
    (1.01, 0.1, "scale"), (0.99, 0.1, "cannot tell"), (0.1, 1.01, "offset"), (1.5, 1.01, "scale and offset"),
    (1.5, 0.99, "cannot tell")])
def test_levels_at_which_a_kind_of_error_is_named(slope, intercept, kind):
    assert NAMED_LEVEL == 0.95  # the half-width that `line` counts in
    assert kind_of_error(line(slope, intercept), BIAS, 2.0, 200.0)[0] == kind


@pytest.mark.parametrize(("away", "kind"), [(1.01, "cannot tell"), (0.99, "scale")])
def test_level_at_which_another_kind_is_still_hinted_at(away, kind):
    z = float(stats.norm.ppf((1 + HINT_LEVEL) / 2) / stats.norm.ppf(0.975))
    assert kind_of_error(line(1.5, away * z), BIAS, 2.0, 200.0)[0] == kind


@pytest.mark.parametrize(("range_", "kind"), [(LEAST_RANGE, "scale"), (LEAST_RANGE - 0.01, "cannot tell")])
def test_range_of_power_that_tells_kinds_apart(range_, kind):
    assert kind_of_error(line(1.5, 0.1), BIAS, range_, 200.0)[0] == kind


@pytest.mark.parametrize(("more", "kind"), [(1.001, "scale"), (0.999, "none")])
def test_size_worth_a_correction(more, kind):
    small = Estimate(value=0.1, low=-0.1, high=0.2, level=0.95, method="t")
    slope = line(more * WORTHWHILE_PERCENT / 100 / 0.001, 0.1, half=0.001)
    assert kind_of_error(slope, small, 2.0, 200.0)[0] == kind


def judged(size, sd, helps=True):
    made = Entered(scale=1 - size / 100, offset_w=0.0, step_percent=0.01, left_percent=0.0)
    return Judged("scale", made, [], size, sd, 0.01, helps)


def data(sessions):
    return SimpleNamespace(sessions=sessions, reference=np.full(9, 200.0))


@pytest.mark.parametrize(("sd", "action"), [(SCATTER_PERCENT * 1.01, "refused"), (SCATTER_PERCENT * 0.99, "none")])
def test_scatter_of_sessions_from_which_no_correction_is_no_answer(sd, action):
    bias = replace(BIAS, value=0.1)
    assert action_of(data(3), "none", bias, judged(0.1, sd), EXACT)[0] == action


@pytest.mark.parametrize(("size", "action"), [(USUAL_SD_PERCENT * 1.01, "scale"), (USUAL_SD_PERCENT * 0.99, "refused")])
def test_size_that_one_session_may_correct(size, action):
    assert action_of(data(1), "scale", BIAS, judged(size, 0.01), EXACT)[0] == action


@pytest.mark.parametrize(("sessions", "sd", "stable"), [(3, 0.99, True), (3, 1.01, False), (2, 0.99, None)])
def test_stable_is_a_spread_below_half_of_the_correction_in_three_sessions(sessions, sd, stable):
    assert stability(data(sessions), judged(2.0, sd), ageing=False)[0] is stable


def test_bands_are_rounded_to_five_watts():
    watts = np.linspace(100, 200, 3001)
    assert default_edges(watts, None)[1] == 135.0  # a third lies at 133.3
    assert default_edges(watts - 1.0, None)[1] == 130.0  # at 132.3
