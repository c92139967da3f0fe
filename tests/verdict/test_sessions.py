"""Random effects over sessions against statsmodels, and the flags."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from agree import Estimate, InputError, SampleSizeError
from agree.verdict.sessions import between_variance, mean_over_sessions, pooled, session_effects


def biases(values, errors):
    return [Estimate(value=v, low=v - 2 * e, high=v + 2 * e, level=0.95, method="t", standard_error=e, df=8)
            for v, e in zip(values, errors, strict=True)]


VALUES = np.array([-1.2, 0.4, 0.1, 1.5, -0.3])
ERRORS = np.array([0.2, 0.5, 0.1, 0.3, 0.25])


def test_paule_mandel_as_statsmodels():
    oracle = combine_effects(VALUES, ERRORS**2, method_re="iterated", use_t=True)
    assert between_variance(VALUES, ERRORS**2) == pytest.approx(oracle.tau2, rel=1e-4)  # the oracle iterates to this


@given(st.lists(st.floats(-3, 3), min_size=2, max_size=8), st.floats(0.05, 2))
def test_defining_equation_of_the_between_variance(values, error):
    y, v = np.array(values), np.full(len(values), error**2)
    tau2 = between_variance(y, v)
    w = 1 / (v + tau2)
    q = float(w @ (y - w @ y / w.sum()) ** 2)
    assert tau2 >= 0
    assert q == pytest.approx(y.size - 1, rel=1e-8) if tau2 > 0 else q <= (y.size - 1) * (1 + 1e-9)


def test_equal_sessions_give_the_t_interval():
    found = session_effects(biases(VALUES, [0.1] * 5))
    sd = VALUES.std(ddof=1)
    assert found.mean.value == pytest.approx(VALUES.mean())
    assert found.mean.standard_error == pytest.approx(sd / math.sqrt(5))
    assert found.between_sd == pytest.approx(math.sqrt(sd**2 - 0.01))
    assert found.prediction.standard_error == pytest.approx(sd * math.sqrt(1 + 1 / 5))


def test_long_sessions_count_little_more_than_short_ones():
    found = session_effects(biases([0.0, 0.0, 3.0], [0.1] * 3), seconds=[1200, 1200, 10800])
    shares = np.array([0.8, 0.8, 10800 / 11100])
    assert found.mean.value == pytest.approx(3 * shares[2] / shares.sum())


def test_left_out():
    found = session_effects(biases(VALUES, ERRORS))
    assert len(found.left_out) == 5
    without = mean_over_sessions(np.delete(VALUES, 3), np.full(4, 1e9), 0.95)
    assert found.left_out[3].value == pytest.approx(without.value)
    assert session_effects(biases([0, 1], [0.1, 0.1])).left_out == ()


@pytest.mark.parametrize(("odd", "suspicion"), [
    (3.5, ""), (2.4, "files exchanged"), (-51.0, "one side only"), (95.0, "twice as much"),
    (-28.2, "metric horsepower")])
def test_odd_session_is_named(odd, suspicion):
    values = [-2.4, -2.5, -2.3, odd, -2.4, -2.35]
    found = session_effects(biases(values, [0.1] * 6))
    assert found.odd == (3,)
    assert (found.odd_sessions[0].number, found.odd_sessions[0].suspicion) == (4, suspicion)
    note = found.notes[0]
    assert (note.kind, note.values["session"], note.severity) == ("session_odd", 4, "answer")
    assert found.odd_sessions[0].others == pytest.approx(-2.39)


def test_odd_just_inside_and_outside():
    rest = np.array([-1.0, 0.0, 1.0])
    limit = float(stats.t.ppf(1 - 0.05 / 4 / 2, 2)) * math.sqrt(4 / 3)
    assert session_effects(biases([*rest, 1.005 * limit], [0.0] * 4)).odd == (3,)
    assert session_effects(biases([*rest, 0.995 * limit], [0.0] * 4)).odd == ()


def test_trend_is_named():
    found = session_effects(biases([-1.98, -2.68, -3.43, -4.04, -4.44], [0.1] * 5))
    assert found.trend.value == pytest.approx(-0.628, abs=0.002)
    assert found.ageing
    assert found.notes[-1].kind == "sessions_trend"
    assert not session_effects(biases([-2.0, -2.68, -1.9, -2.5, -2.44], [0.1] * 5)).ageing


@pytest.mark.parametrize("sessions", [3, 4, 6, 10])
def test_false_flags_are_rare(sessions):
    rng, runs = np.random.default_rng(8), 400
    found = [session_effects(biases(rng.normal(0, 0.8, sessions), [0.1] * sessions)) for _ in range(runs)]
    most = runs * (0.05 + 3 * math.sqrt(0.05 * 0.95 / runs))  # 5 % for each, and three binomial standard errors
    assert sum(bool(item.odd) for item in found) <= most
    assert sum(item.ageing for item in found) <= most


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


@pytest.mark.parametrize(("gap", "method"), [(0.9, "random effects, Hartung-Knapp, floor 1"),
                                             (1.1, "random effects, Hartung-Knapp")])
def test_the_floor_of_the_pooled_variance_is_named(gap, method):
    """Two sessions of standard error 1 differ as much as chance where their gap is sqrt(2)."""
    values = np.array([0.0, gap * math.sqrt(2)])
    item, between = pooled(values, np.ones(2), 0.95)
    assert item.method == method
    assert (between > 0) == (gap > 1)
    assert item.standard_error >= math.sqrt(0.5)
