"""The distribution of t, normal and rectangle together: against draws, against its limits, and through the check."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from agree import check_claim
from agree.report.notes.sentence import note_text
from agree.verdict.error_distribution import (
    EXACT,
    KnownError,
    distribution,
    interval_half_width,
    probability_within,
    widest_error,
)
from agree.verdict.reference import ReferenceUncertainty
from tests.rides import session

CASES = [(0.4, 0.0, (1.0,)), (0.05, 0.0, (1.0,)), (0.8, 0.3, (0.5,)), (0.3, 0.2, (1.0, 0.8)), (0.0, 0.0, (1.0, 1.0)),
         (0.3, 0.0, (1.0, 0.8, 0.7)), (0.5, 0.4, ())]


@pytest.mark.parametrize(("se", "u", "rectangles"), CASES)
@pytest.mark.parametrize("df", [1, 7])
def test_against_draws(rng, se, u, rectangles, df):
    runs = 200_000
    x = se * rng.standard_t(df, runs) + u * rng.normal(size=runs)
    x = x + sum((a * rng.uniform(-1, 1, runs) for a in rectangles), np.zeros(runs))
    known, at = KnownError(normal=u, rectangles=rectangles), np.array([-1.5, -0.5, 0.2, 1.0, 1.8])
    drawn = np.array([(x <= v).mean() for v in at])
    assert np.abs(drawn - distribution(at, se, df, known)).max() < 0.002 + 2 * 0.5 / math.sqrt(runs)
    half = float(interval_half_width(se, df, known, 0.95))
    assert (np.abs(x) <= half).mean() == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / runs))


def test_one_rectangle_alone_is_exact():
    # 95 % of a rectangle of half-width 1 lie within 0.95; 1.96/sqrt(3) = 1.13 is more than it can be
    assert float(interval_half_width(0.0, 8, KnownError(rectangles=(1.0,)), 0.95)) == pytest.approx(0.95, abs=1e-9)
    assert float(distribution(0.3, 0.0, 8, KnownError(rectangles=(1.0,)))) == pytest.approx(0.65, abs=1e-9)


@pytest.mark.parametrize("df", [2, 7, math.inf])
def test_no_rectangle_gives_t(df):
    t = stats.t.ppf(0.975, df) * 0.4
    assert float(interval_half_width(0.4, df, EXACT, 0.95)) == pytest.approx(t, rel=1e-12)
    for small in (KnownError(rectangles=(1e-9,)), KnownError(normal=1e-9)):
        assert float(interval_half_width(0.4, df, small, 0.95)) == pytest.approx(t, rel=1e-6)


@given(st.floats(0.01, 3), st.integers(1, 40), st.floats(0, 1), st.floats(0, 2), st.floats(0.5, 0.99))
@settings(max_examples=40)
def test_half_width_inverts_the_distribution(se, df, normal, a, level):
    known = KnownError(normal=normal, rectangles=(a,))
    half = float(interval_half_width(se, df, known, level))
    assert probability_within(0.0, half, se, df, known) == pytest.approx(level, abs=1e-7)
    if known.u > 0:
        back = widest_error(half, df, known, level)  # not unique where the rectangle hardly lets se through
        assert float(interval_half_width(back, df, known, level)) == pytest.approx(half, rel=1e-6)


@given(st.floats(0.05, 2), st.integers(1, 30), st.floats(0, 1.5), st.floats(0.05, 1))
@settings(max_examples=40)
def test_more_that_is_known_never_narrows(se, df, a, more):
    small, large = (float(interval_half_width(se, df, KnownError(rectangles=(size,)), 0.95)) for size in (a, a + more))
    assert small <= large * (1 + 1e-9)


def test_shapes_come_from_the_words():
    known = ReferenceUncertainty.parse("±1 %; 0.6 W k=2; reads 0.3 % high ± 0.4 % k=2", loss="2 ± 0.5 %").known(200.0)
    assert known.rectangles == pytest.approx((1.0, 0.5))
    assert known.normal == pytest.approx(math.hypot(100 * 0.3 / 200, 0.2))


def three(rng, **options):
    return [session(rng, sd=1.0, label=str(k), scale=1 + e / 100, **options) for k, e in enumerate((0.0, 0.1, 0.2))]


def test_check_uses_it(rng):
    check = check_claim(three(rng), "1.5 %", reference_uncertainty="±1 %")
    own, item = check.reading.own, check.reading.estimate
    known = KnownError(rectangles=(1.0,))
    assert item.high - item.value == pytest.approx(
        float(interval_half_width(own.standard_error, own.df, known, 0.95)), rel=1e-9)
    assert check.reading.conformance_probability == pytest.approx(
        probability_within(own.value, 1.5, own.standard_error, own.df, known), abs=1e-12)
    # the budget is of the same terms
    assert [round(term.u, 3) for term in check.budget if term.name == "reference"] == [0.577]


def test_no_probability_below_three_sessions(rng):
    pairs = three(rng)
    assert math.isnan(check_claim(pairs[:2], "1.5 %").reading.conformance_probability)
    assert check_claim(pairs[:2], "1.5 %").to_dict()["readings"][0]["conformance_probability"] is None
    assert check_claim(pairs, "1.5 %").reading.conformance_probability > 0.9


@pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")
def test_the_term_that_brings_the_doubt_is_blamed(rng):
    pairs = session(rng, sd=1.0, scale=0.9865, seconds=3600)  # 0.65 % more than the loss of 2 % explains
    blamed = check_claim(pairs, "1.5 %", drivetrain_loss="2 ± 1 %").correction
    assert "the uncertainty of the drivetrain loss" in note_text(blamed.reason)
    assert "reference's own" not in note_text(blamed.reason)
    plain = check_claim(pairs, "1.5 %", reference_uncertainty="±2 %").correction
    assert "the reference's own uncertainty" in note_text(plain.reason)
