"""Thresholds of the verdict and the correction: just inside and just outside give different answers."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from agree import Estimate, Pairs
from agree.core.checks import interval_level
from agree.core.errors import InputError, SampleSizeError
from agree.correction import rules
from agree.correction.entered import Entered, Judged
from agree.correction.find import action_of, stability
from agree.correction.kind_of_error import kind_of_error
from agree.estimators.lines.line import Line
from agree.verdict.band_variance import cells, shared_spread
from agree.verdict.bands import bands, default_edges
from agree.verdict.claim import Claim
from agree.verdict.columns import table
from agree.verdict.meanings import average
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.repeats.distinct import Common, refuse_repeats
from agree.verdict.repeats.near_copies import Alike, alike
from agree.verdict.sessions import mean_over_sessions, session_effects
from tests.rides import session

EXACT = ReferenceUncertainty.parse(None)


def biases(values, error=0.1):
    return [Estimate(value=v, low=v - 2 * error, high=v + 2 * error, level=0.95, method="t", standard_error=error, df=8)
            for v in values]


# HALF_WEIGHT_S
def test_a_session_of_five_minutes_counts_half():
    for seconds, more in ((299, False), (301, True)):
        found = mean_over_sessions(np.array([3.0, 0.0]), np.array([seconds, 1e12]), 0.95).value
        assert (found > 1.0) == more  # 1/2 to 1 is a third of the weight


# LEAST_FOR_PROBABILITY
@pytest.mark.parametrize(("count", "given"), [(2, False), (3, True)])
def test_sessions_from_which_a_probability_is_given(rng, count, given):
    data = table([session(rng, seconds=300) for _ in range(count)], 30)
    found = average(data, Claim.parse("1.5 %"), EXACT, 0.95).conformance_probability
    assert math.isnan(found) != given


# ODD_LEVEL: t of 2 degrees of freedom beyond which lie 0.05/4, 8.86, times sqrt(4/3)
@pytest.mark.parametrize(("value", "odd"), [(10.33, (3,)), (10.13, ())])
def test_level_of_an_odd_session(value, odd):
    assert session_effects(biases([-1.0, 0.0, 1.0, value], 0.0)).odd == odd


# TREND_LEVEL: t of 3 degrees of freedom beyond which lie 0.05, 3.182, times the standard error of the slope, 0.577
@pytest.mark.parametrize(("slope", "ageing"), [(1.855, True), (1.819, False)])
def test_level_of_a_trend(slope, ageing):
    """Five sessions on a line with residuals (1, -2, 0, 2, -1), which have no slope of their own and no mean."""
    assert session_effects(biases(slope * np.arange(5) + np.array([1.0, -2.0, 0.0, 2.0, -1.0]))).ageing == ageing


# SWAPPED_PERCENT: 2 % turned round is -1.96 %
@pytest.mark.parametrize(("value", "suspicion"), [(-1.466, "files exchanged"), (-1.456, "")])
def test_how_near_to_the_reverse_files_look_exchanged(value, suspicion):
    found = session_effects(biases([2.0, 2.01, 1.99, 2.0, 2.0, value]))
    assert [item.suspicion for item in found.odd_sessions] == [suspicion]


# EXCHANGE_LEFT: the others' -10 W turned round are 10 W: 4.0 of 16 W are left by 6 W
@pytest.mark.parametrize(("value", "suspicion"), [(6.05, "files exchanged"), (5.95, "")])
def test_how_much_of_the_gap_an_exchange_of_files_explains(value, suspicion):
    """Turned round, the session is none that stands out: the others vary by 2 W."""
    found = session_effects(biases([-10.0, -12.0, -8.0, -10.0, -11.0, -9.0, value], 1.0), unit="W")
    assert [item.suspicion for item in found.odd_sessions] == [suspicion]


# POOL_LEVEL
@pytest.mark.parametrize(("level", "shared"), [(0.95, True), (0.9499, False)])
def test_level_from_which_bands_share_their_variance(rng, level, shared):
    data = table([session(rng, seconds=600, scale=1 + k / 500) for k in range(3)], 30)
    masks = [data.level < 220, data.level >= 220]
    assert all((item is not None) == shared for item in shared_spread(data, masks, level))


# LEAST_COMMON_S
@pytest.mark.parametrize(("seconds", "same"), [(60, ("reference", "device", "exchanged")), (59, ("", "", ""))])
def test_readings_that_no_two_rides_have_in_common(seconds, same):
    assert tuple(Common(*((k == j) * seconds for j in range(3))).kind for k in range(3)) == same


# LEAST_APART_S
@pytest.mark.parametrize(("apart", "refused"), [(599.0, True), (600.0, False)])
def test_time_between_two_sessions(rng, apart, refused):
    made = [Pairs(reference=rng.normal(200, 20, 100), device=rng.normal(200, 20, 100), time=start + np.arange(100.0))
            for start in (0.0, 99.0 + apart)]
    if refused:
        with pytest.raises(InputError, match="are 599 s apart: pieces of one ride"):
            refuse_repeats(made)
    else:
        refuse_repeats(made)


def alike_by(share, seconds):
    """Whether two references are called alike whose readings are one noise, the second's in part another."""
    one, other = np.random.default_rng(1).normal(0, 20, (2, 1200))[:, :seconds]
    return bool(alike([200 + one, 200 + share * one + math.sqrt(1 - share**2) * other]))


# NEAR_COPY
def test_correlation_from_which_two_references_are_one_ride():
    assert [Alike(0, 1, correlation).one_ride for correlation in (0.815, 0.825)] == [False, True]


# ALIKE_RIDES: their second differences, clipped, correlate by 0.394 and 0.403
@pytest.mark.parametrize(("share", "found"), [(0.37, False), (0.38, True)])
def test_correlation_from_which_two_references_are_doubted(share, found):
    assert alike_by(share, 1200) == found


# LEAST_ALIKE_S: 300 second differences
@pytest.mark.parametrize(("seconds", "found"), [(301, False), (302, True)])
def test_seconds_that_must_be_common_to_be_alike(seconds, found):
    assert alike_by(0.9, seconds) == found


# RIVAL_SHARE: a trace that holds 0.7 of the other's noise, and again some of it 100 s later
@pytest.mark.parametrize(("again", "found"), [(0.37, True), (0.38, False)])
def test_a_programme_that_repeats_itself_is_not_told_by_its_likeness(again, found):
    one, other = np.random.default_rng(1).normal(0, 20, (2, 1200))
    assert bool(alike([200 + one, 200 + 0.7 * one + again * np.roll(one, 100) + 0.3 * other])) == found


# LEAST_TURNS: power that turns every 9 s turns 3 times in 30 readings, every 15 s twice
@pytest.mark.parametrize(("every", "right"), [(9, False), (15, True)])
def test_turns_that_make_common_readings_a_riders_own(rng, every, right):
    way = np.where(np.arange(399) // every % 2, -5, 6)
    device = 100.0 + np.r_[0, np.cumsum(way)]
    assert accepted(refuse_repeats, [Pairs(reference=rng.normal(200, 20, 400), device=device, time=start + np.arange(
        400.0)) for start in (0.0, 9000.0)]) == right


def accepted(call, *values, **more):
    try:
        call(*values, **more)
    except InputError:
        return False
    return True


# LEAST_LEVEL
@pytest.mark.parametrize(("level", "right"), [(0.5, True), (0.499, False)])
def test_level_at_which_an_interval_settles_anything(level, right):
    assert accepted(interval_level, level) == right


# MOST_LOSS
@pytest.mark.parametrize(("loss", "right"), [
    ("30 ± 1 %", True), ("30.1 ± 1 %", False), ("-30 ± 1 %", True), ("-30.1 ± 1 %", False), ("2 ± 30 %", True),
    ("2 ± 30.1 %", False)])
def test_loss_that_a_drivetrain_may_have(loss, right):
    assert accepted(ReferenceUncertainty.parse, None, loss=loss) == right


# MOST_OFF
@pytest.mark.parametrize(("stated", "right"), [
    ("50 %", True), ("50.1 %", False), ("reads 50 % high ± 1 %", True), ("reads 50.1 % high ± 1 %", False),
    ("reads 1 % low ± 50 %", True), ("reads 1 % low ± 50.1 %", False), ("60 W", True)])
def test_uncertainty_that_a_reference_may_have(stated, right):
    assert accepted(ReferenceUncertainty.parse, stated) == right


# LEAST_BAND_S
@pytest.mark.parametrize(("seconds", "judged"), [(60, True), (59, False)])
def test_seconds_from_which_a_band_is_judged(rng, seconds, judged):
    level = np.r_[np.full(600, 200.0), np.full(seconds, 300.0)]
    data = table([Pairs(reference=level, device=level + rng.normal(0, 1, level.size))], 30)
    _, checks = bands(data, Claim.parse("5 %"), EXACT, 0.95, np.array([150.0, 250.0, 350.0]))
    assert (checks[1].verdict != "too thin") == judged


def test_seconds_of_a_session_and_of_its_part_in_a_band():
    """30 s are a session (LEAST_SECONDS), and 10 s of it count in a band (LEAST_CELL_S)."""
    def made(seconds):
        return table([Pairs(reference=np.full(seconds, 200.0), device=np.full(seconds, 201.0))], 30)
    with pytest.raises(SampleSizeError, match="29 of 29 seconds can be used, at least 30"):
        made(29)
    at = np.arange(30)
    assert cells(made(30), [at < 9, at < 10])[1].tolist() == [[0.0, 10.0]]


def test_sessions_from_which_one_is_odd_or_a_trend_is_told():
    """3 (LEAST_FOR_ODD) and 4 (LEAST_FOR_TREND)."""
    assert (session_effects(biases([0.0, 5.0])).odd, session_effects(biases([0.0, 0.0, 5.0])).odd) == ((), (2,))
    assert [session_effects(biases(np.arange(count))).trend is None for count in (3, 4)] == [True, False]


@pytest.mark.parametrize(("distinct", "right"), [(7, True), (8, False)])
def test_readings_that_show_a_recording_beside_itself(distinct, right):
    """LEAST_VALUES."""
    watts = 200.0 + np.arange(60) % distinct
    assert accepted(refuse_repeats, Pairs(reference=watts, device=watts)) == right


def line(slope_off, intercept_off, half=0.01):
    """A line whose slope and intercept lie so many half-widths of their 95 % intervals from 1 and 0."""
    def item(null, width, k):
        value = null + k * width
        return Estimate(value=value, low=value - width, high=value + width, level=0.95, method="t", df=1e6)
    return Line(slope=item(1.0, half, slope_off), intercept=item(0.0, 200 * half, intercept_off), n=100, kind="Deming",
                sampling="serial", reference=np.ones(2), device=np.ones(2))


BIAS = Estimate(value=2.0, low=1.0, high=3.0, level=0.95, method="t")


# KIND_LEVEL
@pytest.mark.parametrize(("slope", "intercept", "kind"), [
    (1.01, 0.1, "scale"), (0.99, 0.1, "cannot tell"), (0.1, 1.01, "offset"), (1.5, 1.01, "scale and offset"),
    (1.5, 0.99, "cannot tell")])
def test_levels_at_which_a_kind_of_error_is_named(slope, intercept, kind):
    assert kind_of_error(line(slope, intercept), BIAS, 2.0, 200.0)[0] == kind


# KIND_ALONE_LEVEL
@pytest.mark.parametrize(("away", "kind"), [(0.660, "cannot tell"), (0.647, "scale")])
def test_level_at_which_another_kind_is_still_hinted_at(away, kind):
    assert kind_of_error(line(1.5, away), BIAS, 2.0, 200.0)[0] == kind  # 80 %: 1.2816/1.96 of the half-width of 95 %


# POWER_RANGE
@pytest.mark.parametrize(("range_", "kind"), [(1.5, "scale"), (1.49, "cannot tell")])
def test_range_of_power_that_tells_kinds_apart(range_, kind):
    assert kind_of_error(line(1.5, 0.1), BIAS, range_, 200.0)[0] == kind


@pytest.mark.parametrize(("more", "kind"), [(1.001, "scale"), (0.999, "none")])
def test_size_worth_a_correction(more, kind):
    small = Estimate(value=0.1, low=-0.1, high=0.2, level=0.95, method="t")
    slope = line(more * 0.3 / 100 / 0.001, 0.1, half=0.001)
    assert kind_of_error(slope, small, 2.0, 200.0)[0] == kind


def judged(size, sd, helps=True):
    made = Entered(scale=1 - size / 100, offset_w=0.0, step_percent=0.01, left_percent=0.0)
    return Judged("scale", made, [], size, sd, 0.01, helps)


def data(sessions):
    return SimpleNamespace(sessions=sessions, reference=np.full(9, 200.0))


@pytest.mark.parametrize(("sd", "action"), [(1.01, "refused"), (0.99, "none")])
def test_scatter_of_sessions_from_which_no_correction_is_no_answer(sd, action):
    bias = replace(BIAS, value=0.1)
    assert action_of(data(3), "none", bias, judged(0.1, sd), EXACT)[0] == action


@pytest.mark.parametrize(("size", "action"), [(1.01, "scale"), (0.99, "refused")])
def test_size_that_one_session_may_correct(size, action):
    assert action_of(data(1), "scale", BIAS, judged(size, 0.01), EXACT)[0] == action


@pytest.mark.parametrize(("sessions", "sd", "stable"), [(3, 0.99, True), (3, 1.01, False), (2, 0.99, None)])
def test_stable_is_a_spread_below_half_of_the_correction_in_three_sessions(sessions, sd, stable):
    assert stability(data(sessions), judged(2.0, sd), ageing=False)[0] is stable


# BAND_STEP_W
def test_bands_are_rounded_to_five_watts():
    watts = np.linspace(100, 200, 3001)
    assert default_edges(watts, None)[1] == 135.0  # a third lies at 133.3
    assert default_edges(watts - 1.0, None)[1] == 130.0  # at 132.3


# BLOCK_LEVEL: t of 7 degrees of freedom within which lie 95 %, 2.365
@pytest.mark.parametrize(("times", "action"), [(2.35, "none"), (2.38, "scale")])
def test_level_at_which_a_correction_must_be_better_on_blocks(rng, times, action, monkeypatch):
    """Eight blocks on which none is worse than a scale by so many standard errors of 1/sqrt(7)."""
    data = rules.units(table(session(rng), 30), 30, wide=False)
    worse = 1 + times / math.sqrt(7) + np.tile([-1.0, 1.0], 4)
    found = {"none": ["none"] * 8, "scale": ["scale"] * 8}
    monkeypatch.setattr(rules, "left_out_rules", lambda action, _: found.get(action))
    monkeypatch.setattr(rules, "losses", lambda rule, _: worse if rule == "none" else np.ones(8))
    assert rules.choose(data) == action


# LEAST_SLOPE
@pytest.mark.parametrize(("slope", "fits"), [(0.101, True), (0.099, False)])
def test_a_line_that_shows_hardly_any_power(slope, fits):
    watts = np.repeat(np.linspace(100.0, 300.0, 20), 30)
    data = rules.units(table(Pairs(reference=watts, device=slope * watts + 100), 30), 30, wide=True)
    assert (rules.fit("scale and offset", data) is not None) == fits


# UNLIKE_SD_PERCENT
@pytest.mark.parametrize(("sd", "action"), [(1.01, "refused"), (0.99, "none")])
def test_sessions_that_have_nothing_in_common(rng, sd, action):
    """Half a per cent over three sessions, each so far from the others: less than their SD is entered for none."""
    data = table([session(rng, seconds=300) for _ in range(3)], 30)
    judged = SimpleNamespace(sd_percent=sd, size_percent=0.5)
    assert action_of(data, "none", biases([0.5])[0], judged, EXACT)[0] == action
