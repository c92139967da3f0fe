"""Far end of the interval of an outer quantile: its order statistics, what it covers, where it ends."""

import math

import numpy as np
import pytest
from scipy import stats

from agree import InputError, limits_of_agreement, quantile_limits
from agree.estimators.limits.far_tail import LEAST, SHAPES, far_end, stretch

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
    ends = rows[:, -1] + stretch(n, 0.975, 0.025) * (rows[:, -1] - rows[:, (n + 1) // 2 - 1])
    assert (ends >= truth).mean() >= 0.975 - 3 * 0.005


@pytest.mark.filterwarnings("ignore:the errors are not normal")
@pytest.mark.filterwarnings("ignore:neighbouring errors")
def test_normal_theory_does_not_cover_skewed_errors():
    rows = stats.expon().rvs((300, 60), random_state=np.random.default_rng(1))
    items = [limits_of_agreement(np.zeros(60), row).upper for row in rows]
    assert np.mean([item.low <= stats.expon().ppf(0.975) <= item.high for item in items]) < 0.6
    assert items[0].method == "exact for normal errors, noncentral t"


def test_draws_are_those_of_order_statistics():
    """Against whole samples of the worst shape: the end holds as often as stated, and not much oftener."""
    n = 30
    k = dict.fromkeys(SHAPES, 0)
    rng = np.random.default_rng(3)
    uniform = np.sort(rng.uniform(size=(20000, n)), axis=1)
    for name, quantile in SHAPES.items():
        top, middle = quantile(uniform[:, -1]), quantile(uniform[:, 14])
        k[name] = ((top + stretch(n, 0.975, 0.025) * (top - middle)) >= quantile(np.array([0.975]))[0]).mean()
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
