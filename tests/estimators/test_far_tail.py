"""Far end of the interval of an outer quantile: its order statistics, what it covers, where it ends."""

import math
from functools import partial

import numpy as np
import pytest
from scipy import stats

from agree import AssumptionWarning, InputError, SampleSizeError, limits_of_agreement, quantile_limits
from agree.estimators.limits.agreement import exact_limit
from agree.estimators.limits.far_tail import COMMON_TAILS, LEAST, SHAPES, far_end, stretch
from agree.estimators.rounding import coarse_step_of_errors

# Shapes that the far end was not made for are among them.
COVERED = {"normal": stats.norm(), "t, 4 df": stats.t(4), "gamma 2": stats.gamma(2),
           "Weibull 0.8": stats.weibull_min(0.8), "lognormal 0.8": stats.lognorm(0.8), "uniform": stats.uniform()}


@pytest.mark.filterwarnings("ignore:neighbouring errors")
@pytest.mark.parametrize("n", [20, 60, 145])
@pytest.mark.parametrize("name", COVERED)
def test_interval_of_the_upper_limit_covers_whatever_the_shape(n, name):
    law = COVERED[name]
    rows = law.rvs((1000, n), random_state=np.random.default_rng(n))
    truth, inside = law.ppf(0.975), 0
    for row in rows[:300]:
        item = quantile_limits(np.zeros(n), row, tails="usual").upper
        inside += item.low <= truth <= item.high
    assert inside / 300 >= 0.95 - 3 * 0.0126
    rows = np.sort(rows, axis=1)
    middle = rows[:, (n + 1) // 2 - 1]
    ends = middle + stretch(n, 0.975, 0.025) * (rows[:, -1] - middle)
    assert (ends >= truth).mean() >= 0.975 - 3 * 0.005


@pytest.mark.filterwarnings("ignore:the errors are not normal")
@pytest.mark.filterwarnings("ignore:neighbouring errors")
def test_limits_of_agreement_hold_the_quantile_of_skewed_errors_and_normal_theory_does_not():
    law = stats.expon()
    rows = law.rvs((300, 60), random_state=np.random.default_rng(1))
    for interval, least, most in (("robust", 0.95 - 3 * 0.0126, 1), ("exact", 0, 0.6)):
        items = [limits_of_agreement(np.zeros(60), row, interval=interval).upper for row in rows]
        assert least <= np.mean([item.low <= law.ppf(0.975) <= item.high for item in items]) <= most
    assert items[0].method == "exact for normal errors, noncentral t"


@pytest.mark.filterwarnings("ignore:the errors are not normal")
@pytest.mark.filterwarnings("ignore:neighbouring errors")
@pytest.mark.parametrize("n", [20, 145])
@pytest.mark.parametrize("name", ["normal", "uniform", "t, 5 df", "gamma 2", "-exponential", "contaminated"])
def test_robust_limits_hold_both_quantiles_of_common_shapes(n, name):
    rng = np.random.default_rng([n, len(name)])
    draw = {"normal": rng.normal, "uniform": rng.uniform, "t, 5 df": lambda size: rng.standard_t(5, size),
            "gamma 2": lambda size: rng.gamma(2, size=size), "-exponential": lambda size: -rng.exponential(size=size),
            "contaminated": lambda size: rng.normal(size=size) * np.where(rng.random(size) < 0.05, 5, 1)}[name]
    truth, held = np.quantile(draw(size=400_000), [0.025, 0.975]), np.zeros(2)
    for row in draw(size=(200, n)):
        found = limits_of_agreement(np.zeros(n), row, interval="robust")
        held += [item.low <= q <= item.high for item, q in zip((found.lower, found.upper), truth, strict=True)]
    assert (held / 200 >= 0.95 - 3 * 0.0154).all()


def test_what_robust_limits_cost_normal_errors_and_where_they_begin():
    """The far end lies from 1.6 to 1.15 times as far as the exact one; LEAST pairs bear one."""
    for n, most in ((20, 1.65), (145, 1.17)):
        few = np.sort(np.random.default_rng(n).normal(size=(2000, n)), axis=1)
        middle = few[:, (n + 1) // 2 - 1]
        ends = middle + stretch(n, 0.975, 0.025, COMMON_TAILS) * (few[:, -3:].mean(axis=1) - middle)
        assert 1.1 < np.median(ends) / exact_limit(0.0, 1.0, n, 1.959964, 0.95).high < most
    d = np.random.default_rng(7).normal(size=LEAST)
    found = limits_of_agreement(np.zeros(LEAST), d, interval="robust").upper
    assert found.method == "order statistics, binomial; far end for shapes up to exponential and t, 3 df"
    assert limits_of_agreement(np.zeros(LEAST), d).upper.method == "exact for normal errors, noncentral t"


@pytest.mark.filterwarnings("ignore:the errors are not normal")
def test_a_limit_that_is_no_quantile_lies_within_its_interval(rng):
    """Of 2,000 exponential errors bias + 1.96 SD lies short of the quantile: the interval reaches from it to beyond."""
    found = limits_of_agreement(np.zeros(2000), rng.exponential(size=2000), interval="robust").upper
    assert found.low == found.value < -np.log(0.025) < found.high
    assert found.method == "order statistics, binomial"


def test_draws_are_those_of_order_statistics():
    """Against whole samples of the worst shape: the end holds as often as stated, and not much oftener."""
    n = 30
    k = dict.fromkeys(SHAPES, 0)
    rng = np.random.default_rng(3)
    uniform = np.sort(rng.uniform(size=(20000, n)), axis=1)
    for name, quantile in SHAPES.items():
        top, middle = quantile(uniform[:, -1]), quantile(uniform[:, 14])
        k[name] = ((middle + stretch(n, 0.975, 0.025) * (top - middle)) >= quantile(np.array([0.975]))[0]).mean()
    assert min(k.values()) == pytest.approx(0.975, abs=0.005)


def test_lower_and_upper_mirror_each_other(rng):
    d = rng.exponential(size=50)
    one, other = (quantile_limits(np.zeros(50), sign * d, tails="usual") for sign in (1, -1))
    assert other.lower.low == pytest.approx(-one.upper.high)
    assert other.lower.high == pytest.approx(-one.upper.low)
    assert "far end for usual shapes" in one.upper.method
    assert "far end" not in one.median.method


def test_enough_pairs_need_no_far_end(rng):
    d = rng.normal(size=200)
    one, other = (quantile_limits(np.zeros(200), d, tails=tails) for tails in ("any", "usual"))
    assert one.upper.to_dict() == other.upper.to_dict()


def test_few_pairs_and_options(rng):
    assert math.isinf(far_end(np.arange(LEAST - 1.0), 0.975, 0.025))
    assert math.isfinite(far_end(np.arange(float(LEAST)), 0.975, 0.025))
    with pytest.raises(InputError) as caught:
        quantile_limits(range(9), range(9), tails="usual", sampling="serial")
    assert str(caught.value) == ("tails='usual' is for independent pairs; leave `tails` out with sampling='serial'")


@pytest.mark.filterwarnings("ignore:the errors are not normal")
def test_far_end_is_never_short_of_the_outermost_error():
    """One error of 10 beside 39 of SD 0.1 fades in the mean of the 3 largest (the end was 7.0)."""
    few = np.append(np.random.default_rng(1).normal(scale=0.1, size=39), 10.0)
    for errors in (few, -few):
        found = limits_of_agreement(np.zeros(40), errors, interval="robust")
        assert (found.lower.low, found.upper.high)[int(errors.max() == 10)] == pytest.approx(errors[-1], rel=1e-12)
    many = np.append(np.random.default_rng(1).normal(size=144), 10.0)
    assert limits_of_agreement(np.zeros(145), many, interval="robust").upper.high == 10.0
    assert limits_of_agreement(np.zeros(146), np.append(many, 0.0), interval="robust").upper.high == 10.0


@pytest.mark.filterwarnings("ignore:the errors are not normal")
@pytest.mark.parametrize("make", [partial(limits_of_agreement, interval="robust"),
                                  partial(quantile_limits, tails="usual")],
                         ids=["limits of agreement", "quantile limits"])
@pytest.mark.parametrize(("sd", "n"), [(0.1, 20), (0.2, 40), (0.5, 8)])
def test_limits_hold_where_readings_are_rounded_coarsely(make, sd, n):
    """Whole watts: most errors are 0, and those of a watt are as frequent as the limit asks (54 % were covered)."""
    rng, inside = np.random.default_rng(n), 0
    for _ in range(150):
        true = rng.normal(200, 30, n)
        found = make(np.round(true), np.round(true + rng.normal(0, sd, n)))
        inside += (found.lower.low <= -1) + (found.upper.high >= 1)
    assert inside / 300 >= 0.95 - 3 * 0.0126


def test_rounding_is_a_step_beyond_only_where_it_is_coarse_beside_the_scatter():
    """Steps of 1 W: twice the scatter's reciprocal is the border (ROUNDED_COARSELY); per cent at the median level."""
    for sd, added in ((1.9, True), (2.1, False)):
        d = np.round(sd * stats.norm.ppf((np.arange(400) + 0.5) / 400))
        x = np.full(400, 200.0)
        assert abs(d.std() - sd) < 0.1
        assert (coarse_step_of_errors(x, x + d, d, "difference") == 1) == added
    x, y = np.array([100.0, 200, 201, 202, 400]), np.array([101.0, 202, 203, 204, 404])
    assert coarse_step_of_errors(x, y, 100 * (y - x) / x, "percent") == pytest.approx(100 / 201)
    assert coarse_step_of_errors(x, y, np.log(y / x), "log") == pytest.approx(1 / 201)


def test_the_warning_says_what_the_intervals_hold():
    rng = np.random.default_rng(3)
    for n, words in ((60, "of shapes up to exponential and t, 3 df"), (200, "whatever the shape")):
        with pytest.warns(AssumptionWarning, match=words):
            limits_of_agreement(np.zeros(n), rng.exponential(size=n) ** 2, interval="robust")


def test_robust_limits_that_are_asked_for_are_not_answered_by_exact_ones():
    x, d = np.zeros(LEAST), np.random.default_rng(7).normal(size=LEAST)
    with pytest.raises(SampleSizeError, match="interval='robust' needs at least 8 pairs; got 7"):
        limits_of_agreement(x[:-1], d[:-1], interval="robust")
    with pytest.warns(AssumptionWarning, match="these intervals are for normal errors: ask interval='robust'"):
        limits_of_agreement(np.zeros(60), np.random.default_rng(3).exponential(size=60) ** 2)
