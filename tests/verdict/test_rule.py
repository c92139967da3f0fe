"""The three-way rule, conformance probability, and the reference's part."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from agree import Estimate, check_claim
from agree.report.notes.sentence import note_text
from agree.verdict.error_distribution import EXACT, KnownError, interval_half_width
from agree.verdict.rule import RULES, conformance_probability, decide, sessions_to_settle, three_way, widen
from tests.rides import session


@pytest.mark.parametrize(("low", "high", "answer"), [
    (-1, 1, "holds"), (-1.5, 1.5, "holds"), (1.51, 2, "does not hold"), (-3, -1.6, "does not hold"),
    (1, 2, "not settled"), (-2, 0, "not settled"), (-2, 2, "not settled"), (-math.inf, math.inf, "not settled"),
    (1.5, 2, "not settled"),
])
def test_three_way(low, high, answer):
    assert three_way(low, high, 1.5) == answer


def test_nan_settles_nothing():
    assert three_way(math.nan, math.nan, 1.5) == "not settled"


@pytest.mark.parametrize(("y", "u", "printed"), [
    # Computed from the formula of JCGM 106:2012, to the four digits given there.
    (0.6, 0.4, 0.9878), (0.9, 0.4, 0.9332), (1.5, 0.4, 0.5000), (1.2, 0.3, 0.8413), (2.2, 0.3, 0.0098),
    (0.6, 0.7, 0.8994), (0.0, 0.75, 0.9545),
])
def test_conformance_probability(y, u, printed):
    assert conformance_probability(y, u, 1.5) == pytest.approx(printed, abs=5e-5)
    normal = stats.norm(y, u)
    assert conformance_probability(y, u, 1.5) == pytest.approx(normal.cdf(1.5) - normal.cdf(-1.5), rel=1e-12)


def test_conformance_without_uncertainty():
    assert conformance_probability(1, 0, 1.5) == 1
    assert conformance_probability(2, 0, 1.5) == 0
    assert math.isnan(conformance_probability(2, math.nan, 1.5))


@pytest.mark.parametrize(("rule", "k"), [("guard 2u", 2.0), ("guard 1.645u", 1.645)])
def test_a_guard_band_is_as_wide_as_its_name_says(rule, k):
    # ILAC-G8:09/2019, 5.2, for 2 u; ISO 14253-1 for 1.645 u (from memory).
    for away, inside, outside in ((1.01, "holds", "does not hold"), (0.99, "not settled", "not settled")):
        assert decide(item(0.4, 50, 1.5 - away * k * 0.4), 1.5, rule)[0] == inside
        assert decide(item(0.4, 50, 1.5 + away * k * 0.4), 1.5, rule)[0] == outside


def item(se, df, value=0.0):
    half = stats.t.ppf(0.975, df) * se
    return Estimate(value=value, low=value - half, high=value + half, level=0.95, method="t", standard_error=se, df=df)


@given(st.floats(1e-6, 10), st.integers(1, 50), st.floats(0, 10))
def test_widen_never_narrows_and_never_adds_outright(se, df, u):
    wide, plain = widen(item(se, df), KnownError(normal=u)), item(se, df)
    assert wide.low == pytest.approx(-wide.high)
    assert plain.high * (1 - 1e-12) <= wide.high <= plain.high * 1.00001 + stats.norm.ppf(0.975) * u + 1e-9
    assert wide.standard_error == pytest.approx(math.hypot(se, u))  # JCGM 100:2008, 5.1.2
    if u > 0 and se > 1e-3 * u:
        assert wide.df == pytest.approx(math.hypot(se, u) ** 4 / (se**4 / df), rel=1e-6)  # G.4.1


@pytest.mark.parametrize("sessions", [2, 3, 5])
@pytest.mark.parametrize("u", [0.2, 0.4, 0.8])
def test_widened_interval_covers(sessions, u):
    rng = np.random.default_rng([sessions, int(10 * u)])
    values = 0.8 * rng.normal(size=(1000, sessions)) + u * rng.normal(size=(1000, 1))
    se = values.std(axis=1, ddof=1) / math.sqrt(sessions)
    half = interval_half_width(se, sessions - 1, KnownError(normal=u), 0.95)
    assert [widen(item(s, sessions - 1), KnownError(normal=u)).high for s in se[:40]] == pytest.approx(list(half[:40]))
    covered = (np.abs(values.mean(axis=1)) <= half).mean()
    assert covered >= 0.95 - 4 * math.sqrt(0.95 * 0.05 / 1000)


def test_reference_never_shrinks():
    # JCGM 100: the part known from a specification alone stays, however many data there are.
    # A rectangle of half-width 1.5 holds 95 % of its errors within 0.95 * 1.5, not within 1.96 * 1.5/sqrt(3) = 1.70.
    assert widen(item(1e-9, 8), KnownError(rectangles=(1.5,))).high == pytest.approx(0.95 * 1.5, rel=1e-6)


def test_widen_leaves_exact_reference_and_unbounded_alone():
    plain = item(0.4, 8)
    assert widen(plain, EXACT) is plain
    open_ = Estimate(value=1, low=-math.inf, high=math.inf, level=0.95, method="t")
    assert widen(open_, KnownError(normal=1)) is open_


@pytest.mark.parametrize(("sd", "margin", "sessions"), [
    # Two-sided 95 %, S such that t s/sqrt(S) <= margin: computed figures of common planning tables.
    (0.5, 0.5, 7), (0.5, 1.0, 4), (0.8, 0.5, 13), (0.8, 1.0, 5), (1.0, 0.5, 18), (1.0, 1.0, 7), (1.5, 0.5, 38),
    (1.5, 1.0, 12),
])
def test_sessions_to_settle(sd, margin, sessions):
    found = sessions_to_settle(margin, sd, EXACT, 0.95)
    enough = [s for s in range(2, 60) if stats.t.ppf(0.975, s - 1) * sd / math.sqrt(s) <= margin]
    assert found == min(enough)
    assert found == sessions


def test_no_number_of_sessions_beats_the_reference():
    assert sessions_to_settle(1.0, 0.5, KnownError(normal=0.6), 0.95) is None
    assert sessions_to_settle(1.0, 0.0, KnownError(normal=0.0), 0.95) == 2
    assert np.isclose(stats.norm.ppf(0.975) * 0.5, 0.98, atol=0.001)
    assert sessions_to_settle(1.0, 0.1, KnownError(normal=0.5), 0.95) is not None


@pytest.mark.parametrize("rule", RULES)
def test_the_interval_that_decides_is_stored(rng, rule):
    """Under every rule: the answer follows from `decides` alone, as a reader of the JSON would draw it."""
    pairs = [session(rng, seconds=600, sd=1.0, scale=1 + k / 400) for k in range(4)]
    readings = [one for claim in ("0.5 %", "1 %", "3 %") for one in check_claim(
        pairs, claim, decision_rule=rule).readings if one.meaning in ("average", "bands", "next_session")]
    assert len(readings) == 9
    for reading in readings:
        if reading.meaning != "bands" or reading.verdict != "not settled":
            assert three_way(reading.decides.low, reading.decides.high, reading.limit) == reading.verdict
        half = {"guard 2u": 2.0, "guard 1.645u": 1.645, "plain": 0.0}.get(rule)
        if half is not None:
            assert reading.decides.high - reading.decides.value == pytest.approx(half * reading.estimate.standard_error)
        assert reading.because.kind.startswith("because_")
        assert note_text(reading.because)
