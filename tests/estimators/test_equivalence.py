"""Two one-sided tests: oracle, Fieller, agreement with the three-way rule, invariances, bad input, false answers."""

import math
import warnings

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import optimize, special

from agree import DriftWarning, InputError, SampleSizeError, equivalence, limits_of_agreement
from agree.core.interval import engine
from agree.estimators.readings import resolution
from agree.verdict.rule import HOLDS, three_way

UNROUNDED = 2.0**-20  # added exactly, and no multiple of a power of ten
SCALES = ["difference", "percent", "ratio", "log"]
READINGS = st.lists(st.tuples(st.integers(1600, 6400), st.integers(-160, 160)), min_size=4, max_size=40)


def pairs(rows):
    x = np.array([a for a, _ in rows]) / 16
    return x, x + np.array([b for _, b in rows]) / 16


def ends(item):
    return [item.low, item.value, item.high]


@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
@pytest.mark.parametrize("scale", ["difference", "log"])
def test_equals_the_paired_test_of_statsmodels(scale, level, rng, oracle):
    x = rng.uniform(100, 300, 23)
    y = x + rng.normal(1, 4, 23)
    margin = (-2.5, 3.0) if scale == "difference" else (0.98, 1.03)
    result = equivalence(x, y, margin=margin, scale=scale, level=level)
    p, low, high = oracle("statsmodels.stats.weightstats").ttost_paired(
        y, x, *margin, transform=np.log if scale == "log" else None)
    assert [result.p, result.p_low, result.p_high] == pytest.approx([p, low[1], high[1]], rel=1e-9)
    assert result.equivalent == (p <= 1 - level)


@pytest.mark.parametrize("scale", SCALES)
@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
@pytest.mark.filterwarnings("ignore::agree.DriftWarning")
@given(rows=READINGS, m=st.floats(0.001, 0.2))
def test_equivalent_is_interval_inside_is_both_tests_is_holds(scale, sampling, rows, m):
    """The three ways to say it, and the three-way rule on the 90 % interval, give one answer."""
    x, y = pairs(rows)
    margin = m if scale in ("ratio", "log") else 20 * m
    labels = np.arange(x.size) % 3 if sampling == "sessions" else None  # left out on demand, they may be warned of
    result = equivalence(x, y, margin=margin, scale=scale, sampling=sampling, session=labels)
    item = result.estimate
    assert item.level == pytest.approx(0.9)
    assume(abs(result.p - 0.05) > 1e-9)  # a tie is decided by rounding
    assert result.equivalent == (result.p <= 0.05) == (margin_holds(item, result.margin))


@pytest.mark.filterwarnings("ignore::agree.DriftWarning", "ignore::agree.AssumptionWarning")
@pytest.mark.parametrize("sampling", ["independent", "serial", "sessions"])
@pytest.mark.parametrize("rows", [[(1600, 7)] * 36 + [(1600, 8)], [(2000 + k, 0) for k in range(39)] + [(2000, 1)],
                                  [(1600 + 100 * k, 16 + k) for k in range(4)],
                                  [(6000, 60), (1600, 16), (1600, 16), (1600, 16)]],
                         ids=["hardly varies", "one differs", "one ratio", "one ratio, sessions of 2, 1, 1"])
def test_near_limits_of_a_ratio_are_where_its_test_turns(sampling, rows):
    """Limits a few millionths from the ratio: from variances about 0 they are off by rounding, p by some 1e-6."""
    x, y = pairs(rows)
    options = {"scale": "ratio", "sampling": sampling, "session": np.arange(x.size) % 3}
    item = equivalence(x, y, margin=0.5, **options).estimate
    again = equivalence(x, y, margin=(item.low, item.high), **options)
    assert [again.p_low, again.p_high] == pytest.approx([0.05, 0.05], abs=2e-8)


def margin_holds(item, margin):
    middle, half = (margin[0] + margin[1]) / 2, (margin[1] - margin[0]) / 2
    return three_way(item.low - middle, item.high - middle, half) == HOLDS


def test_limits_of_the_interval_are_the_margins_at_which_the_test_turns(rng):
    x = rng.uniform(100, 300, 12)
    y = 1.01 * x + rng.normal(0, 4, 12)
    for scale in SCALES:
        item = equivalence(x, y, margin=0.5, scale=scale).estimate
        again = equivalence(x, y, margin=(item.low, item.high), scale=scale)
        assert [again.p_low, again.p_high] == pytest.approx([0.05, 0.05], rel=1e-6)


def test_ratio_of_means_has_fiellers_limits(rng, oracle):
    """Closed form of 1954 for paired means, from variances and covariance."""
    x = rng.uniform(50, 90, 15)
    y = 1.1 * x + rng.normal(0, 9, 15)
    item = equivalence(x, y, margin=0.2, scale="ratio").estimate
    t = oracle("scipy.stats").t.ppf(0.95, 14)
    (vx, c), (_, vy) = np.cov(x, y) / 15 * t * t
    mx, my = x.mean(), y.mean()
    a, b, d = mx * mx - vx, mx * my - c, my * my - vy
    root = math.sqrt(b * b - a * d)
    assert ends(item) == pytest.approx([(b - root) / a, my / mx, (b + root) / a], rel=1e-9)


def test_a_reference_of_mean_near_0_bounds_no_ratio():
    x = [-3.0, 4, -5, 6, -1, 1.5]
    result = equivalence(x, [-2.0, 4, -5, 7, -2, 1], margin=0.5, scale="ratio")
    assert result.estimate.high == math.inf
    assert not result.equivalent
    assert result.p > 0.05


def test_interval_of_a_difference_is_that_of_the_limits_of_agreement(rng):
    x = rng.uniform(100, 300, 40)
    y = x + rng.normal(1, 4, 40)
    for scale in ("difference", "percent", "log"):
        item = equivalence(x, y, margin=9, scale=scale).estimate
        expected = limits_of_agreement(x, y, scale=scale, level=0.9).bias
        assert ends(item) == pytest.approx(ends(expected), rel=1e-12)


def test_serial_intervals_are_those_of_a_verdict(rng):
    x = rng.uniform(100, 300, 40)
    y = x + rng.normal(1, 4, 40)
    item = equivalence(x, y, margin=9, sampling="serial").estimate
    expected = engine.estimate((y - x).mean(), y - x, level=0.9, sampling="serial", cautious=True)
    assert ends(item) == pytest.approx(ends(expected), rel=1e-12)


def test_cautious_limits_of_a_ratio_are_where_the_cautious_test_turns(rng):
    x = rng.uniform(100, 300, 60)
    y = x * 1.01 + np.cumsum(rng.normal(0, 3, 60))
    item = equivalence(x, y, margin=0.5, scale="ratio", sampling="serial").estimate
    for ratio in (item.low, item.high):
        part = engine.spread(y - ratio * x, "serial", cautious=True)
        t = (y - ratio * x).mean() / part.standard_error
        assert abs(t) == pytest.approx(engine.t_quantile(0.9, 8), rel=1e-9)


@pytest.mark.parametrize("n", [10, 17, 30])
def test_a_published_summary_is_equivalent_whatever_its_size(n):
    """Mean difference 0.18, 90 % interval -0.15 to 0.52, margin 0.65: equivalent (Dixon 2018, rounded)."""
    base = np.tile([1.0, -1.0], (n + 1) // 2)[:n] * np.linspace(0.5, 1.5, n)
    base = (base - base.mean()) / base.std(ddof=1)
    unit = equivalence(np.zeros(n), base, margin=1).estimate.high
    result = equivalence(np.zeros(n), 0.185 + base * 0.335 / unit, margin=0.65)
    assert ends(result.estimate) == pytest.approx([-0.15, 0.185, 0.52])
    assert result.equivalent
    assert result.p == result.p_high < 0.05
    assert not equivalence(np.zeros(n), 0.185 + base * 0.335 / unit, margin=0.5).equivalent


@given(READINGS, st.sampled_from(["difference", "log"]))
def test_exchange_turns_the_tests_about(rows, scale):
    x, y = pairs(rows)
    one, other = (equivalence(*both, margin=0.1, scale=scale) for both in ((x, y), (y, x)))
    assert (other.p_low, other.p_high) == pytest.approx((one.p_high, one.p_low), rel=1e-6, abs=1e-12)


def test_exchange_keeps_a_ratio_of_means(rng):
    x = rng.uniform(100, 300, 30)
    y = x + rng.normal(1, 4, 30)
    one, other = (equivalence(*both, margin=(1 / 1.02, 1.02), scale="ratio") for both in ((x, y), (y, x)))
    assert (other.p_low, other.p_high) == pytest.approx((one.p_high, one.p_low), rel=1e-9)
    assert ends(other.estimate) == pytest.approx([1 / v for v in reversed(ends(one.estimate))], rel=1e-9)


@pytest.mark.parametrize("factor", [1e-300, 1e-5, 1e3, 1e297])
def test_unit_of_the_readings(factor, rng):
    x = rng.uniform(100, 300, 30)
    y = x + rng.normal(1, 4, 30)
    for scale in SCALES:
        margin = np.array([-2.0, 2.5]) if scale in ("difference", "percent") else np.array([0.98, 1.02])
        one = equivalence(x, y, margin=margin, scale=scale)
        unit = factor if scale == "difference" else 1
        other = equivalence(x * factor, y * factor, margin=margin * unit, scale=scale)
        assert [other.p_low, other.p_high] == pytest.approx([one.p_low, one.p_high], rel=1e-6)
        assert other.equivalent == one.equivalent


def test_negative_readings_have_a_ratio_too(rng):
    x = rng.uniform(100, 300, 20)
    y = 1.01 * x + rng.normal(0, 2, 20)
    one, other = (equivalence(sign * x, sign * y, margin=0.02, scale="ratio") for sign in (1, -1))
    assert other.to_dict() == one.to_dict()


@pytest.mark.parametrize(("margin", "scale", "expected"), [
    (3, "difference", (-3, 3)), (1.5, "percent", (-1.5, 1.5)), ((-1, 2), "difference", (-1, 2)),
    (0.02, "ratio", (0.98, 1.02)), (0.25, "log", (0.8, 1.25)), ([0.9, 1.2], "log", (0.9, 1.2)),
    (np.float32(2), "percent", (-2, 2)),
])
def test_margins(margin, scale, expected):
    result = equivalence([200, 250, 300], [201, 250, 302], margin=margin, scale=scale)
    assert result.margin == pytest.approx(expected)
    assert all(type(end) is float for end in result.margin)


@pytest.mark.parametrize("scale", SCALES)
@pytest.mark.parametrize(("step", "most"), [(1.0, 0.05), (0.1, 5e-3), (0.001, 5e-5)])
def test_rounded_readings_are_no_proof(scale, step, most):
    """Three equal errors: the standard error is that of rounding, step / sqrt(6 n), and t has 2 degrees of freedom."""
    x = np.array([100.0, 200, 300])
    margin = 0.03 if scale in ("ratio", "log") else 3
    result = equivalence(x, x + step, margin=margin, scale=scale)
    assert 0 < result.p < (0.06 if scale == "ratio" else most)  # the errors are equal, the ratios are not
    assert result.estimate.low < result.estimate.value < result.estimate.high
    if scale == "difference":
        assert result.estimate.method.endswith("at least the rounding of the readings")
        error = step / math.sqrt(18)
        assert result.estimate.standard_error == pytest.approx(error)
        assert result.p == pytest.approx(special.stdtr(2, -(3 - step) / error), rel=1e-9)


@pytest.mark.parametrize(("values", "expected"), [
    ([101.0, 250, -3], 1.0), ([100.5, 250], 0.1), ([0.25, 100], 0.01), ([1 / 3, 2], 0.0), ([1e-300, 0], 0.0),
    ([0.123456, 1], 1e-6), ([0.1234567, 1], 0.0), ([0.0, 0.0], 1.0)])
def test_resolution_of_readings(values, expected):
    assert resolution(np.array(values)) == pytest.approx(expected)


@pytest.mark.parametrize(("r", "warned"), [(0.28, False), (0.34, True)])
def test_neighbours_that_are_alike_are_no_independent_pairs(r, warned):
    """At 100 pairs p = 0.001 lies at a lag-1 correlation of 0.299."""
    rng = np.random.default_rng(4)
    mixed = rng.normal(size=101)
    lag = lambda e: float(e[1:] @ e[:-1] / (e @ e))  # noqa: E731
    make = lambda k: (e := mixed[1:] + k * mixed[:-1]) - e.mean()  # noqa: E731
    errors = make(optimize.brentq(lambda k: lag(make(k)) - r, 0, 1))
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        limits_of_agreement(np.zeros(100), errors)
    assert bool(caught) == warned
    if warned:
        assert str(caught[0].message).startswith("neighbouring errors are alike (r = 0.34): intervals for independent")
        assert caught[0].filename == __file__


@pytest.mark.parametrize(("error", "equivalent", "p"), [(0, True, 0), (2, True, 0), (3, True, 0), (3.5, False, 1)])
def test_errors_all_equal_decide_by_themselves(error, equivalent, p):
    x = np.array([100.0, 200, 300, 400]) + UNROUNDED
    result = equivalence(x, x + error, margin=3)
    assert (result.equivalent, result.p) == (equivalent, p)


def test_a_line_through_the_margin_is_decided_by_its_offset():
    """Device - 0.5 reference is 1 throughout: above the low end whatever the spread."""
    x = np.array([2.0, 4, 8, 16]) * (1 + UNROUNDED)
    assert equivalence(x, 0.5 * x + 1, margin=(0.5, 2), scale="ratio").p_low == 0


@pytest.mark.parametrize("sampling", ["independent", "serial"])
@pytest.mark.parametrize("scale", SCALES)
def test_the_same_readings_twice_are_equivalent(scale, sampling):
    x = np.array([100.0, 100, 100, 400]) + UNROUNDED
    result = equivalence(x, x, margin=0.01, scale=scale, sampling=sampling)
    assert (result.equivalent, result.p) == (True, 0)
    assert ends(result.estimate) == [1 if scale in ("ratio", "log") else 0] * 3


@pytest.mark.parametrize(("options", "text"), [
    ({"margin": 0}, "`margin` must be a positive number; got 0.0"),
    ({"margin": math.nan}, "`margin` must be a positive number; got nan"),
    ({"margin": (2, 1)}, "`margin` must be one positive number or a low and a high end, such as 1.5 or (-1, 2); got "
                         "[2.0, 1.0]"),
    ({"margin": (1, 2, 3)}, "`margin` must be one positive number or a low and a high end, such as 1.5 or (-1, 2); got "
                            "[1.0, 2.0, 3.0]"),
    ({"margin": (-1, 2), "scale": "log"}, "`margin` must be one positive number or a low and a high end, such as 0.015 "
                                          "or (0.98, 1.02); got [-1.0, 2.0]"),
    ({"margin": "1 %"}, "`margin` must hold numbers; could not convert string to float: '1 %'"),
    ({"margin": 3, "level": 0.5}, "`level` must be above 0.5 for one-sided tests, such as 0.95; got 0.5"),
    ({"margin": 3, "scale": "fieller"},
     "`scale` must be one of 'difference', 'percent', 'ratio', 'log'; got 'fieller'"),
])
def test_options_that_cannot_be_used(options, text):
    with pytest.raises(InputError) as caught:
        equivalence([200, 250, 300], [201, 250, 302], **options)
    assert str(caught.value) == text


def test_a_mean_of_0_has_no_ratio():
    with pytest.raises(InputError, match=r"^scale='ratio' needs a `reference` whose mean is not 0; set coasting aside "
                                         r"or use scale='difference'$"):
        equivalence([-1, 0, 1], [1, 2, 3], margin=0.1, scale="ratio")


def test_too_few_pairs():
    with pytest.raises(SampleSizeError, match=r"^at least 3 pairs are needed; got 2$"):
        equivalence([1, 2], [1, 2], margin=1)


def test_drift_is_warned_of(rng):
    x = rng.uniform(100, 300, 200)
    with pytest.warns(DriftWarning):
        equivalence(x, x + np.linspace(-5, 5, 200), margin=3, sampling="serial")


def test_summary_says_the_answer():
    x = [200.0, 250, 300, 220, 180]
    one = equivalence(x, [201, 250, 302, 219, 181], margin=3).summary()
    assert one == ("Equivalent: difference 0.6 [-0.5, 1.7], 90 % interval, margin -3 to 3; p = 0.0046, 5 pairs, "
                   "t, independent pairs")
    assert equivalence(x, [211, 250, 302, 219, 181], margin=3).summary().startswith("Not shown to be equivalent: ")


@pytest.mark.parametrize("scale", ["difference", "ratio"])
def test_false_answers_at_the_edge_of_the_margin_are_as_rare_as_promised(scale):
    """Normal errors, the true value at the upper edge: 5 %, within 3 Monte-Carlo errors of 2,000 runs."""
    rng = np.random.default_rng(6)
    claimed = 0
    for _ in range(2000):
        x = rng.uniform(180, 260, 12)
        y = x * (1.02 if scale == "ratio" else 1) + rng.normal(0 if scale == "ratio" else 2, 3, 12)
        margin = (0.5, 1.02) if scale == "ratio" else (-50, 2)
        claimed += equivalence(x, y, margin=margin, scale=scale).equivalent
    assert claimed / 2000 == pytest.approx(0.05, abs=3 * math.sqrt(0.05 * 0.95 / 2000))


def test_rounding_of_both_readings_is_the_least_uncertainty():
    """Whole watts, each difference the same: two rectangles of width 1 a pair, u = sqrt(2/12/n)."""
    x = np.arange(100.0, 150.0)
    found = equivalence(x, x + 1, margin=2).estimate
    assert found.standard_error == pytest.approx(math.sqrt(2 / 12 / 50), rel=1e-9)
