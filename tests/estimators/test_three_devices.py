"""Errors of three or more devices: algebra, twin, invariances, negative estimates, degenerate readings, coverage."""

import itertools
import json
import math
import pickle

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.signal import lfilter
from twin_splitting import error_variances, pairwise_variances

from agree import DriftWarning, InputError, SampleSizeError, deming, split_errors

# Muzzle velocities of 12 rounds by three chronographs, m/s: Grubbs FE (1973) Technometrics 15:53, from memory; no
# printed result was at hand, so they serve only as data for the algebra.
VELOCITIES = (
    [793.8, 793.1, 792.4, 794.0, 791.4, 792.4, 791.7, 792.3, 789.6, 794.4, 790.9, 793.5],
    [794.6, 793.9, 793.2, 794.0, 792.2, 793.1, 792.4, 792.8, 790.2, 795.0, 791.6, 793.8],
    [793.2, 793.3, 792.6, 793.8, 791.6, 791.6, 791.6, 792.4, 788.5, 794.7, 791.3, 793.5],
)
SIXTEENTHS = st.integers(-160, 160).map(lambda k: k / 16)
ROWS = st.lists(st.tuples(st.integers(1600, 6400).map(lambda k: k / 16), SIXTEENTHS, SIXTEENTHS, SIXTEENTHS),
                min_size=4, max_size=30)


def columns_of(rows):
    power, *errors = np.array(rows).T
    return [power + error for error in errors]


def ends(item):
    return [item.low, item.value, item.high]


def simulated(rng, n, sds=(1.0, 2.0, 3.0), biases=(0.0, 1.0, -2.0)):
    power = rng.uniform(120, 320, n)
    return [power + sd * rng.normal(size=n) + bias for sd, bias in zip(sds, biases, strict=True)]


def test_velocities_by_hand():
    """Each variance is (v_ab + v_ac - v_bc)/2 of the three pairwise variances."""
    result = split_errors(*VELOCITIES, names=("A", "B", "C"))
    v = pairwise_variances(VELOCITIES)
    by_hand = [(v[0, 1] + v[0, 2] - v[1, 2]) / 2, (v[0, 1] + v[1, 2] - v[0, 2]) / 2, (v[0, 2] + v[1, 2] - v[0, 1]) / 2]
    assert result.variance == pytest.approx(by_hand, rel=1e-9)
    assert [item.value for item in result.sd] == pytest.approx(np.sqrt(by_hand), rel=1e-9)
    assert (result.sd_a, result.sd_b, result.sd_c) == result.sd
    assert result.contrasts[0].bias.value == pytest.approx(np.mean(np.subtract(VELOCITIES[1], VELOCITIES[0])))
    assert [(pair.first, pair.second) for pair in result.contrasts] == [
        ("A", "B"), ("A", "C"), ("B", "C")]
    assert not any(result.negative)


@pytest.mark.parametrize("count", [3, 4, 5, 7])
def test_least_squares_over_all_pairs(count, rng):
    columns = simulated(rng, 25, sds=rng.uniform(0.5, 4, count), biases=rng.normal(size=count))
    result = split_errors(*columns)
    assert result.variance == pytest.approx(error_variances(columns), rel=1e-9)
    assert len(result.contrasts) == count * (count - 1) // 2
    assert result.names == tuple("abcdefg"[:count])


def test_more_than_26_devices_have_numbers(rng):
    assert split_errors(*rng.normal(size=(27, 5))).names[-1] == "device 27"


def test_truth_is_found(rng):
    result = split_errors(*simulated(rng, 40_000))
    assert [item.value for item in result.sd] == pytest.approx([1, 2, 3], rel=0.03)
    assert [pair.bias.value for pair in result.contrasts] == pytest.approx([1, -2, -3], abs=0.1)
    assert [pair.scale.value for pair in result.contrasts] == pytest.approx([1, 1, 1], abs=2e-3)
    assert result.notes == ()


def test_relative_scale_is_free_of_regression_dilution(rng):
    """Errors as large as the spread of power: least squares would give 0.5, the third device gives 1.1."""
    n = 200_000
    power = rng.normal(200, 5, n)
    a, b, c = power + rng.normal(0, 5, n), 1.1 * power + rng.normal(0, 2, n), power + rng.normal(0, 3, n)
    pair = split_errors(a, b, c).contrasts[0]
    assert np.polyfit(a, b, 1)[0] == pytest.approx(0.55, abs=0.01)
    assert pair.scale.value == pytest.approx(1.1, abs=0.02)
    assert pair.scale.low < 1.1 < pair.scale.high
    assert deming(a, b, error_variance_ratio=4 / 25).slope.value == pytest.approx(1.1, abs=0.02)


def test_limits_of_a_relative_scale_are_where_anderson_and_rubin_test_turns(rng, oracle):
    """At each limit the slope of second - v first on the third has the t value of the level."""
    a, b, c = simulated(rng, 20)
    item = split_errors(a, b, c).contrasts[0].scale
    z = c - c.mean()
    t = oracle("scipy.stats").t.ppf(0.975, 19)
    for limit in (item.low, item.high):
        u = (b - limit * a) - (b - limit * a).mean()
        slope = (z @ u) / (z @ z)
        scores = z * (u - slope * z)
        error = math.sqrt((scores @ scores) / (19 * 20)) / (z @ z / 20)
        assert abs(slope / error) == pytest.approx(t, rel=1e-6)


@pytest.mark.filterwarnings("ignore::agree.DriftWarning")
@given(ROWS, st.permutations([0, 1, 2]), st.sampled_from(["independent", "serial"]))
def test_permuting_the_devices_permutes_the_result(rows, order, sampling):
    columns = columns_of(rows)
    one = split_errors(*columns, sampling=sampling)
    other = split_errors(*(columns[i] for i in order), names=["abc"[i] for i in order], sampling=sampling)
    # The square root of a variance of rounding size is what rounding allows.
    for place, i in enumerate(order):
        assert ends(other.sd[place]) == pytest.approx(ends(one.sd[i]), rel=1e-6, abs=1e-5)
        assert other.variance[place] == pytest.approx(one.variance[i], rel=1e-9, abs=1e-9)
    first = {(pair.first, pair.second): pair.bias for pair in one.contrasts}
    for pair in other.contrasts:
        key = (pair.first, pair.second)
        expected = ends(first[key]) if key in first else [-v for v in reversed(ends(first[key[::-1]]))]
        assert ends(pair.bias) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(ROWS, st.lists(st.integers(-800, 800).map(lambda k: k / 16), min_size=30, max_size=30))
def test_a_common_effort_changes_nothing(rows, effort):
    columns = columns_of(rows)
    common = np.array(effort[:len(rows)])
    one, other = split_errors(*columns), split_errors(*(column + common for column in columns))
    for before, after in zip(one.sd, other.sd, strict=True):
        assert ends(after) == ends(before)  # sixteenths: the differences are the same to the last bit
    assert [ends(pair.bias) for pair in other.contrasts] == [ends(pair.bias) for pair in one.contrasts]


@given(ROWS, st.tuples(SIXTEENTHS, SIXTEENTHS, SIXTEENTHS))
def test_a_bias_changes_no_sd(rows, biases):
    columns = columns_of(rows)
    one = split_errors(*columns)
    other = split_errors(*(column + bias for column, bias in zip(columns, biases, strict=True)))
    for before, after in zip(one.variance, other.variance, strict=True):
        assert after == pytest.approx(before, rel=1e-9, abs=1e-9)
    shift = [b - a for a, b in itertools.combinations(biases, 2)]
    assert [pair.bias.value for pair in other.contrasts] == pytest.approx(
        [pair.bias.value + by for pair, by in zip(one.contrasts, shift, strict=True)], abs=1e-9)


@given(ROWS, st.sampled_from([2.0**-20, 0.25, 8.0, 1e-100, 1e100, 1e-290, 1e290]))
def test_unit_of_the_readings(rows, factor):
    columns = columns_of(rows)
    one, other = split_errors(*columns), split_errors(*(column * factor for column in columns))
    for before, after in zip(one.sd, other.sd, strict=True):
        assert [v / factor for v in ends(after)] == pytest.approx(ends(before), rel=1e-6, abs=1e-5)
    for before, after in zip(one.contrasts, other.contrasts, strict=True):
        assert [v / factor for v in ends(after.bias)] == pytest.approx(ends(before.bias), rel=1e-9, abs=1e-9)
        assert after.scale.value == pytest.approx(before.scale.value, rel=1e-6, nan_ok=True)


@pytest.mark.filterwarnings("ignore:neighbouring errors")
@given(ROWS)
def test_every_instant_twice_leaves_the_variances(rows):
    columns = columns_of(rows)
    n = len(rows)
    one, other = split_errors(*columns), split_errors(*(np.tile(column, 2) for column in columns))
    assert other.variance == pytest.approx(np.array(one.variance) * (2 * n - 2) / (2 * n - 1), rel=1e-9, abs=1e-9)


@pytest.mark.filterwarnings("ignore::agree.DriftWarning")
@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
@given(rows=ROWS)
def test_intervals_hold_their_estimate(sampling, rows):
    assume(len(rows) > 5)
    labels = np.arange(len(rows)) % 3 if sampling == "sessions" else None  # left out on demand, they may be warned of
    result = split_errors(*columns_of(rows), sampling=sampling, session=labels)
    for item in (*result.sd, *(pair.bias for pair in result.contrasts)):
        assert item.low <= item.value <= item.high
        assert math.isfinite(item.value)
        assert item.high < math.inf
    assert all(item.low >= 0 for item in result.sd)
    assert result.negative == tuple(v < 0 for v in result.variance)


def test_up_to_nine_instants_serial_equals_independent_but_for_the_floor(rng):
    columns = simulated(rng, 9)
    one, other = split_errors(*columns), split_errors(*columns, sampling="serial")
    assert other.variance == pytest.approx(one.variance, rel=1e-9)
    for wide, narrow in zip(one.sd, other.sd, strict=True):
        assert wide.high >= narrow.high * (1 - 1e-9)


def test_a_negative_variance_is_said_and_bounded(rng):
    """A device whose error is shared out to the others: SD 0, an upper limit, the flag and words."""
    shared = rng.normal(size=200)
    power = rng.uniform(120, 320, 200)
    a, b, c = power, power + shared, power - shared + 0.5 * rng.normal(size=200)
    result = split_errors(a, b, c, names=("middle", "up", "down"))
    assert result.variance[0] < 0
    assert result.negative == (True, False, False)
    assert (result.sd_a.value, result.sd_a.low) == (0, 0)
    assert 0 < result.sd_a.high < 1
    assert math.isnan(result.sd_a.standard_error)
    assert len(result.notes) == 1
    assert result.notes[0] == ("the variance of middle came out below 0: its error is too small to be told from 0 "
                              "beside the others', or devices share errors: its SD is given as 0 with an upper limit")
    assert "Mind: the variance of middle" in result.summary()
    assert json.loads(json.dumps(result.to_dict(), allow_nan=False))["negative"] == [True, False, False]


def test_a_copy_is_found_out(rng):
    a, _, c = simulated(rng, 50)
    result = split_errors(a, a + 0.1, c)
    assert ends(result.sd_a) == ends(result.sd_b) == [0, 0, 0]
    assert result.sd_c.value == pytest.approx(np.std(c - a, ddof=1), rel=1e-12)
    assert result.negative == (False, False, False)
    assert result.notes == ("a and b differ by a constant: one is a copy of the other, or they share their errors",)


def test_a_difference_of_scale_is_said(rng):
    a, b, c = simulated(rng, 300)
    result = split_errors(a, b * 1.05, c)
    gap, pair = b * 1.05 - a, result.contrasts[0]
    share = (pair.scale.value - 1) ** 2 * np.var(a) / np.var(gap)
    assert result.notes[0] == (
        f"b reads {pair.scale.value:.4g} times a: that alone makes {100 * share:.0f} % of the variance of their "
        "difference, and counts as random error; use scale='percent'")
    assert result.sd_b.value > 1.3 * split_errors(a, b, c).sd_b.value
    assert split_errors(a, b * 1.05, c, scale="percent").notes == ()
    # A scale told from 1 by many readings, of no weight in the variance, is not worth a word.
    assert split_errors(*simulated(rng, 40_000)).notes == ()


def test_constant_readings():
    result = split_errors([200.0] * 5, [201.0] * 5, [199.0] * 5)
    assert [ends(item) for item in result.sd] == [[0, 0, 0]] * 3
    assert [pair.bias.value for pair in result.contrasts] == [1, -1, -2]
    assert all(math.isnan(pair.scale.value) for pair in result.contrasts)
    assert {pair.scale.method for pair in result.contrasts} == {"unknown: the readings do not vary together"}
    assert len(result.notes) == 3


def test_a_steady_effort_leaves_the_scales_unbounded(rng):
    a, b, c = 200 + rng.normal(size=(3, 60))
    item = split_errors(a, b, c).contrasts[0].scale
    assert math.isinf(item.low) or math.isinf(item.high)


def test_percent_and_log_agree_for_small_errors(rng):
    power = rng.uniform(120, 320, 5000)
    kinds = ((1e-3, 1), (2e-3, 1.001), (5e-4, 0.998))
    columns = [power * (1 + sd * rng.normal(size=5000)) * gain for sd, gain in kinds]
    percent, log = (split_errors(*columns, scale=scale) for scale in ("percent", "log"))
    assert [item.value for item in percent.sd] == pytest.approx([0.1, 0.2, 0.05], rel=0.1)
    assert [100 * item.value for item in log.sd] == pytest.approx([item.value for item in percent.sd], rel=0.01)
    assert [pair.bias.value for pair in log.contrasts] == pytest.approx([1.001, 0.998, 0.998 / 1.001], rel=1e-4)
    assert [pair.bias.value for pair in percent.contrasts] == pytest.approx([0.1, -0.2, -0.3], abs=0.01)


def test_drift_is_warned_of(rng):
    a, b, c = simulated(rng, 200)
    with pytest.warns(DriftWarning):
        split_errors(a, b + np.linspace(-20, 20, 200), c, sampling="serial")


@pytest.mark.parametrize(("columns", "options", "text"), [
    (([1, 2, 3], [1, 2, 3], [1, 2]), {}, "`a`, `b` and `c` must have equal lengths; got 3, 3 and 2"),
    (([1, 2, 3], [1, math.nan, 3], [1, 2, 4]), {},
     "`b` holds 1 NaN, first at index 1; remove them or pass nan_policy='omit'"),
    (([1, 2, 3], [1, 2, 3], [1, math.inf, 4]), {"names": ["x", "y", "z"]},
     "`z` holds 1 infinite value(s), first at index 1; remove them"),
    (([1, 2, 3], [1, 2, 4], [1, 2, 5]), {"names": ["x", "y"]},
     "`names` must be 3 different texts, one for each device; got ('x', 'y')"),
    (([1, 2, 3], [1, 2, 4], [1, 2, 5]), {"names": ["x", "y", "x"]},
     "`names` must be 3 different texts, one for each device; got ('x', 'y', 'x')"),
    (([1, 2, 3], [1, 2, 4], [1, 2, 5]), {"names": [1, 2, 3]},
     "`names` must be 3 different texts, one for each device; got (1, 2, 3)"),
    (([1, 2, 3], [1, 0, 4], [1, 2, 5]), {"scale": "log"},
     "scale='log' needs positive readings; `b` holds 1 of zero or less, first at index 1; set coasting aside or use "
     "scale='difference'"),
    (([1, 0, 3], [1, 0, 4], [1, 0, 5]), {"scale": "percent"},
     "scale='percent' needs a mean of the devices that is not 0; got 1 of 0, first at index 1; set coasting aside or "
     "use scale='difference'"),
    (([1, 2, 3], [1, 2, 4], [1, 2, 5]), {"scale": "ratio"},
     "`scale` must be one of 'difference', 'percent', 'log'; got 'ratio'"),
])
def test_input_that_cannot_be_used(columns, options, text):
    with pytest.raises(InputError) as caught:
        split_errors(*columns, **options)
    assert str(caught.value) == text


def test_omitting_leaves_out_the_instant_for_all(rng):
    columns = simulated(rng, 20)
    holed = [column.copy() for column in columns]
    holed[0][3] = holed[2][7] = math.nan
    kept = np.delete(np.arange(20), [3, 7])
    one = split_errors(*holed, nan_policy="omit")
    assert one.to_dict() == split_errors(*(column[kept] for column in columns)).to_dict()
    assert one.n == 18


def test_too_few_instants():
    with pytest.raises(SampleSizeError, match=r"^at least 3 pairs are needed; got 2$"):
        split_errors([1, 2], [1, 3], [2, 2])


def test_columns_of_any_kind_are_left_alone_and_the_result_is_frozen(rng, oracle):
    columns = [np.rint(column) for column in simulated(rng, 20)]
    kept = [column.copy() for column in columns]
    result = split_errors(*columns)
    assert np.array_equal(columns, kept)
    assert all(column.flags.writeable for column in columns)
    for kind in (list, tuple, oracle("pandas").Series, np.float32):
        assert split_errors(*map(kind, columns)).to_dict() == result.to_dict()
    assert pickle.loads(pickle.dumps(result)).to_dict() == result.to_dict()
    with pytest.raises((AttributeError, TypeError)):
        result.n = 3
    with pytest.raises(InputError, match=r"did you mean 0\.95"):
        split_errors(*columns, level=95)


@pytest.mark.filterwarnings("ignore::agree.DriftWarning")
def test_reversed_time_gives_the_same_serial_intervals(rng):
    columns = simulated(rng, 64)
    one, other = (split_errors(*(column[::step] for column in columns), sampling="serial") for step in (1, -1))
    for before, after in zip(one.sd, other.sd, strict=True):
        assert ends(after) == pytest.approx(ends(before), rel=1e-9)
    for before, after in zip(one.contrasts, other.contrasts, strict=True):
        assert ends(after.scale) == pytest.approx(ends(before.scale), rel=1e-9)


@pytest.mark.parametrize("n", [3, 4])
def test_the_fewest_instants_have_finite_limits(n):
    a, b, c = [200.0, 210, 230, 250][:n], [201.0, 209, 232, 251][:n], [199.0, 212, 229, 247][:n]
    result = split_errors(a, b, c)
    assert all(0 <= item.low <= item.value <= item.high < math.inf for item in result.sd)


@pytest.mark.filterwarnings("ignore::agree.DriftWarning")
@pytest.mark.parametrize(("condition", "least"), [("independent", 0.925), ("sessions", 0.925), ("serial", 0.90)])
def test_intervals_of_the_sds_cover(condition, least):
    """400 runs; the least is 95 % less 2.3 Monte-Carlo errors, for serial less another 2.5 points for slow errors."""
    rng = np.random.default_rng(5)
    covered = []
    for _ in range(400):
        if condition == "serial":
            errors = lfilter([math.sqrt(1 - 0.8**2)], [1, -0.8], rng.normal(size=(3, 1050)))[:, 50:]
            options, scale = {"sampling": "serial"}, 1.0
        elif condition == "sessions":
            labels = np.repeat(np.arange(8), 20)
            errors, scale = rng.normal(size=(3, 160)) + rng.normal(size=(3, 8))[:, labels], math.sqrt(2)
            options = {"sampling": "sessions", "session": labels}
        else:
            errors, options, scale = rng.normal(size=(3, 15)), {}, 1.0
        sds = np.array([1.0, 2.0, 0.5])
        result = split_errors(*(200 + sds[:, None] * errors), **options)
        covered.append([item.low <= sd * scale <= item.high for item, sd in zip(result.sd, sds, strict=True)])
    assert np.mean(covered, axis=0).min() >= least
