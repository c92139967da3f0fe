"""Random effects over sessions against statsmodels, and the flags."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.meta_analysis import combine_effects

from agree import Estimate, InputError, SampleSizeError
from agree.verdict.sessions import between_variance, pooled, session_effects


def biases(values, errors):
    return [Estimate(value=v, low=v - 2 * e, high=v + 2 * e, level=0.95, method="t", standard_error=e, df=8)
            for v, e in zip(values, errors, strict=True)]


VALUES = np.array([-1.2, 0.4, 0.1, 1.5, -0.3])
ERRORS = np.array([0.2, 0.5, 0.1, 0.3, 0.25])


def test_paule_mandel_and_hartung_knapp_as_statsmodels():
    oracle = combine_effects(VALUES, ERRORS**2, method_re="iterated", use_t=True)
    mean, tau2 = pooled(VALUES, ERRORS**2, 0.95)
    assert tau2 == pytest.approx(oracle.tau2, rel=1e-4)  # the oracle iterates to about this
    weight = 1 / (ERRORS**2 + oracle.tau2)
    centre = weight @ VALUES / weight.sum()
    assert mean.value == pytest.approx(centre, rel=1e-4)
    low, high = oracle.conf_int(use_t=True)[3]  # random effects, Hartung-Knapp scale
    assert (mean.low, mean.high) == pytest.approx((low, high), rel=2e-3)


@given(st.lists(st.floats(-3, 3), min_size=2, max_size=8), st.floats(0.05, 2))
def test_defining_equation_of_the_between_variance(values, error):
    y, v = np.array(values), np.full(len(values), error**2)
    tau2 = between_variance(y, v)
    w = 1 / (v + tau2)
    q = float(w @ (y - w @ y / w.sum()) ** 2)
    assert tau2 >= 0
    assert q == pytest.approx(y.size - 1, rel=1e-8) if tau2 > 0 else q <= (y.size - 1) * (1 + 1e-9)


def test_equal_errors_give_the_t_interval_of_the_sessions():
    found = session_effects(biases(VALUES, [0.1] * 5))
    sd = VALUES.std(ddof=1)
    assert found.mean.value == pytest.approx(VALUES.mean())
    assert found.mean.standard_error == pytest.approx(sd / math.sqrt(5))
    assert found.between_sd == pytest.approx(math.sqrt(sd**2 - 0.01))
    assert found.prediction.standard_error == pytest.approx(math.hypot(found.between_sd, sd / math.sqrt(5)))


def test_agreeing_sessions_are_not_more_certain_than_their_own_errors():
    found = session_effects(biases([0.50, 0.51, 0.49], [0.3, 0.3, 0.3]))
    assert found.between_sd == 0
    assert found.mean.standard_error == pytest.approx(0.3 / math.sqrt(3))


def test_exact_sessions():
    assert session_effects(biases([1, 1, 1], [0, 0, 0])).mean.standard_error == 0
    found = session_effects(biases([1, 2, 3], [0, 0, 0]))
    assert found.mean.standard_error == pytest.approx(1 / math.sqrt(3), rel=1e-6)


def test_left_out():
    found = session_effects(biases(VALUES, ERRORS))
    assert len(found.left_out) == 5
    without = pooled(np.delete(VALUES, 3), np.delete(ERRORS, 3) ** 2, 0.95)[0]
    assert found.left_out[3].value == pytest.approx(without.value)
    assert session_effects(biases([0, 1], [0.1, 0.1])).left_out == ()


def test_odd_session_is_named(rng):
    values = [0.1, 0.0, 0.2, 3.0, 0.1, 0.15]
    found = session_effects(biases(values, [0.1] * 6))
    assert found.odd == (3,)
    assert "session 4 differs from the others" in found.notes[0]


def test_trend_is_named():
    found = session_effects(biases([0.0, 0.52, 0.98, 1.51, 2.0, 2.49], [0.1] * 6))
    assert found.trend.value == pytest.approx(0.5, abs=0.02)
    assert any("from session to session by +0.5" in note for note in found.notes)


def test_false_flags_are_rare():
    rng = np.random.default_rng(8)
    flagged = sum(bool(session_effects(biases(rng.normal(0, 0.8, 6), [0.1] * 6)).notes) for _ in range(500))
    # two flags at 1 % each: 2 %, and four binomial standard errors
    assert flagged <= 500 * (0.02 + 4 * math.sqrt(0.02 * 0.98 / 500))


def test_coverage_of_mean_and_prediction():
    rng = np.random.default_rng(9)
    hits, ahead = 0, 0
    for _ in range(1000):
        errors = rng.uniform(0.1, 0.5, 4)
        found = session_effects(biases(1 + 0.8 * rng.normal(size=4) + errors * rng.normal(size=4), errors))
        hits += found.mean.low <= 1 <= found.mean.high
        ahead += found.prediction.low <= 1 + 0.8 * rng.normal() <= found.prediction.high
    # 95 % nominal; Monte-Carlo error 0.7 points, the interval is known to be a little wide with few groups
    assert 930 <= hits <= 990
    assert 910 <= ahead <= 985


def test_refusals():
    with pytest.raises(SampleSizeError) as caught:
        session_effects(biases([1], [0.1]))
    assert str(caught.value) == "at least 2 sessions are needed to compare sessions; got 1"
    with pytest.raises(InputError) as caught:
        session_effects(biases([1, 2], [0.1, math.nan]))
    assert str(caught.value) == "session 2 has no standard error"
