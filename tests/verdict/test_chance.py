"""The chance that sessions settle a claim: against an adaptive integral, simulation, and what must hold of it."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from agree import Estimate
from agree.verdict.error_distribution import KnownError, distribution, interval_half_width
from agree.verdict.rule import FAILS, HOLDS, OPEN, three_way, widen
from agree.verdict.settling.chance import (
    LEAST_SESSIONS,
    Terms,
    ceiling,
    chance,
    half_width_at,
    joint_chance,
    sessions_needed,
)

ERRORS = [(0.0, HOLDS), (0.75, HOLDS), (-0.75, HOLDS), (1.5, HOLDS), (1.5, FAILS), (2.2, FAILS), (-2.2, FAILS)]
RUNS = 20000


def spread_of(limit, sd, u, level, predict=False):
    """Terms with a normal reference of this u, or as many rectangles as are given."""
    known = KnownError(rectangles=u) if isinstance(u, tuple) else KnownError(normal=u)
    return Terms(limit, sd, known, level, predict)


def interval(value, se, df, level=0.95):
    half = stats.t.ppf((1 + level) / 2, df) * se
    return Estimate(value=value, low=value - half, high=value + half, level=level, method="t", standard_error=se, df=df)


@given(st.floats(0.01, 5), st.floats(0, 3), st.integers(2, 60), st.floats(0.05, 4), st.booleans())
def test_half_width_is_that_of_the_rule(sd, u, sessions, ratio, predict):
    terms = spread_of(1.5, sd, u, 0.95, predict)
    se = ratio * sd * math.sqrt(predict + 1 / sessions)
    wide = widen(interval(0.0, se, sessions - 1), KnownError(normal=u))
    assert float(half_width_at(terms, sessions, np.array(ratio))) == pytest.approx(wide.high, rel=1e-9)


PIECES, NODES = 10, 12   # of each span between two quantiles


def slow_chance(answer, sessions, error, terms):
    """Integral over the chi-square distribution of the variance, by many short rules of Gauss."""
    df, move = sessions - 1, terms.sd / math.sqrt(sessions)

    def below(x):
        return distribution(x - error, move, math.inf, terms.known)

    def height(square):
        half = half_width_at(terms, sessions, np.sqrt(square / df))
        if answer == HOLDS:
            return np.maximum(below(terms.limit - half) - below(half - terms.limit), 0)
        return 1 - below(terms.limit + half) + below(-terms.limit - half)

    edges = stats.chi2(df).ppf([1e-14, 1e-6, 1e-3, 0.05, 0.2, 0.5, 0.8, 0.95, 0.999, 1 - 1e-6, 1 - 1e-12])
    ends = np.concatenate([np.linspace(a, b, PIECES, endpoint=False) for a, b in pairwise(edges)] + [edges[-1:]])
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    places = (ends[1:, None] + ends[:-1, None]) / 2 + np.diff(ends)[:, None] / 2 * nodes
    values = height(places.ravel()).reshape(places.shape) * stats.chi2.pdf(places, df)
    return float((values @ weights) @ np.diff(ends) / 2)


@pytest.mark.parametrize("sessions", [3, 9])
@pytest.mark.parametrize("terms", [spread_of(1.5, 0.8, 0.0, 0.95), spread_of(1.5, 0.5, 0.4, 0.95),
                                   spread_of(1.5, 0.2, 0.3, 0.9, True)], ids=["exact", "reference", "next"])
@pytest.mark.parametrize(("error", "answer"), ERRORS[1::2])
def test_chance_is_the_integral(sessions, terms, error, answer):
    # the density of the variance is steep at 0 for few sessions
    assert float(chance(answer, sessions, error, terms)) == pytest.approx(
        slow_chance(answer, sessions, error, terms), abs=2e-6)


def half_widths(terms, sessions, ratios):
    """`half_width_at` for many ratios: between 800 of them, which are close enough to take a straight line."""
    places = np.linspace(ratios.min(), ratios.max(), 800)
    known = half_width_at(terms, sessions, places)
    middle = (places[1:] + places[:-1])[::40] / 2
    assert np.interp(middle, places, known) == pytest.approx(half_width_at(terms, sessions, middle), abs=1e-4)
    return np.interp(ratios, places, known)


def answers(low, high, limit):
    """`three_way` for many intervals; the first 200 one by one."""
    many = np.where((-limit <= low) & (high <= limit), HOLDS, np.where((low > limit) | (high < -limit), FAILS, OPEN))
    assert [three_way(*ends, limit) for ends in zip(low[:200], high[:200], strict=True)] == list(many[:200])
    return many


@pytest.mark.parametrize("sessions", [2, 4, 12])
@pytest.mark.parametrize("u", [0.0, 0.35])
def test_chance_is_what_simulated_sessions_show(sessions, u):
    rng = np.random.default_rng([7, sessions, int(100 * u)])
    terms = spread_of(1.5, 0.6, u, 0.95)
    noise = rng.normal(0, 0.6, (RUNS, sessions))
    reference = rng.normal(0, u, RUNS)
    half = half_widths(terms, sessions, noise.std(axis=1, ddof=1) / 0.6)
    for error, answer in ERRORS:
        value = error + noise.mean(axis=1) + reference
        share = (answers(value - half, value + half, 1.5) == answer).mean()
        expected = float(chance(answer, sessions, error, terms))
        assert abs(share - expected) < 4 * math.sqrt(max(expected * (1 - expected), 1e-4) / RUNS), (error, answer)


def test_whole_rule_on_simulated_sessions():
    """Same for a session not yet recorded; the first 200 through `widen`, on intervals as they are stored."""
    rng, terms = np.random.default_rng(11), spread_of(1.5, 0.3, 0.2, 0.95, True)
    biases = rng.normal(0.3 + rng.normal(0, 0.2, (4000, 1)), 0.3, (4000, 6))
    mean, se = biases.mean(axis=1), biases.std(axis=1, ddof=1) * math.sqrt(1 + 1 / 6)
    half = interval_half_width(se, 5, KnownError(normal=0.2), 0.95)
    found = answers(mean - half, mean + half, 1.5)
    for value, s, answer in zip(mean[:200], se, found, strict=False):
        item = widen(interval(value, s, 5), KnownError(normal=0.2))
        assert three_way(item.low, item.high, 1.5) == answer
    expected = float(chance(HOLDS, 6, 0.3, terms))
    assert 0.2 < expected < 0.9
    assert abs(np.mean(found == HOLDS) - expected) < 4 * math.sqrt(expected * (1 - expected) / 4000)


@given(st.floats(0.05, 2), st.integers(2, 50))
def test_wrong_answers_keep_their_level(sd, sessions):
    # at the limit, with an exact reference, each wrong answer has probability (1 - level)/2
    terms = spread_of(1.5, sd, 0.0, 0.95)
    assert float(chance(FAILS, sessions, 1.5, terms)) == pytest.approx(0.025, abs=2e-3)
    assert float(chance(HOLDS, sessions, 1.5, terms)) <= 0.025 + 1e-9


@given(st.floats(0.05, 2), st.floats(0, 0.7), st.integers(LEAST_SESSIONS, 40))
def test_more_sessions_never_lower_the_chance_inside(sd, error, sessions):
    terms = spread_of(1.5, sd, 0.0, 0.95)
    assert float(chance(HOLDS, sessions + 1, error, terms)) >= float(chance(HOLDS, sessions, error, terms)) - 1e-9


@given(st.floats(0.05, 2), st.floats(1.01, 3), st.floats(0, 3), st.floats(0, 0.5), st.integers(LEAST_SESSIONS, 40))
def test_larger_spread_lowers_the_chance(sd, factor, error, u, sessions):
    answer = HOLDS if error <= 1.5 else FAILS
    if abs(error - 1.5) < 0.3:
        return  # near the limit all chances are a few per cent, and the approximate degrees of freedom move them
    small, large = spread_of(1.5, sd, u, 0.95), spread_of(1.5, factor * sd, u, 0.95)
    top = ceiling(answer, [error], [small])
    if top > 0.5:
        assert float(chance(answer, sessions, error, large)) <= float(chance(answer, sessions, error, small)) + 1e-2


@given(st.floats(0.05, 1), st.floats(0, 0.7), st.floats(0, 0.4), st.floats(0.01, 0.3))
@settings(max_examples=15)
def test_reference_needs_more_sessions(sd, error, u, more):
    few, many = (sessions_needed(HOLDS, 0.8, [error], [spread_of(1.5, sd, each, 0.95)]) for each in (u, u + more))
    assert many is None or few <= many


def test_a_reference_never_narrows_the_interval():
    narrow, wide = (float(half_width_at(spread_of(1.5, 0.8, u, 0.95), 2, np.array(1.0))) for u in (0.4, 0.0))
    assert narrow > wide
    assert float(chance(FAILS, 2, 1.5, spread_of(1.5, 0.8, 0.2, 0.95))) < 0.03


@pytest.mark.parametrize(("error", "answer"), [(0.0, HOLDS), (0.75, HOLDS), (2.2, FAILS)])
@pytest.mark.parametrize("predict", [False, True])
def test_ceiling_is_where_many_sessions_end(error, answer, predict):
    terms = spread_of(1.5, 0.3, 0.3, 0.95, predict)
    assert float(chance(answer, 200000, error, terms)) == pytest.approx(ceiling(answer, [error], [terms]), abs=2e-3)
    bands = [terms, terms._replace(limit=1.2), terms._replace(known=KnownError(normal=0.4))]
    assert joint_chance(answer, 200000, [error] * 3, bands) == pytest.approx(
        ceiling(answer, [error] * 3, bands), abs=0.02)  # steps in the reference's error, on a grid of 0.03 u


def test_bands_bound_from_below():
    """All bands at once, one session error shared by all of them beside their own, and one reference error."""
    rng, count, sessions = np.random.default_rng(5), 4, 8
    terms = [spread_of(1.5, 0.5, 0.2, 0.95 ** (1 / count))] * count
    shared, own = rng.normal(0, 0.3, (RUNS, sessions, 1)), rng.normal(0, 0.4, (RUNS, sessions, count))
    biases = shared + own + rng.normal(0, 0.2, (RUNS, 1, 1))
    half = half_widths(terms[0], sessions, biases.std(axis=1, ddof=1) / 0.5)
    inside = (np.abs(biases.mean(axis=1) + 0.4) + half <= 1.5).all(axis=1).mean()
    bound = joint_chance(HOLDS, sessions, [0.4] * count, terms)
    assert inside - 0.15 < bound < inside + 4 * math.sqrt(0.25 / RUNS)
    outside = (np.abs(biases.mean(axis=1) + 2.2) - half > 1.5).any(axis=1).mean()
    assert joint_chance(FAILS, sessions, [2.2] * count, terms) < outside


def test_one_band_is_the_plain_chance():
    terms = spread_of(1.5, 0.5, 0.3, 0.95)
    for answer, error in ((HOLDS, 0.4), (FAILS, 2.3)):
        assert joint_chance(answer, 7, [error], [terms]) == float(chance(answer, 7, error, terms))


def test_sessions_that_do_not_differ():
    assert float(chance(HOLDS, 3, 0.5, spread_of(1.5, 0.0, 0.0, 0.95))) == pytest.approx(1, abs=1e-9)
    assert float(chance(FAILS, 3, 0.5, spread_of(1.5, 0.0, 0.0, 0.95))) == pytest.approx(0, abs=1e-9)
    assert sessions_needed(HOLDS, 0.8, [0.5], [spread_of(1.5, 0.0, 0.0, 0.95)]) == LEAST_SESSIONS


def test_an_error_seen_already_holds_the_reference_error():
    terms = spread_of(1.5, 0.5, 0.3, 0.95)
    assert float(chance(HOLDS, 8, 0.4, terms, seen=True)) > float(chance(HOLDS, 8, 0.4, terms))
    # averaged over the reference's error, the first is the second
    z, weight = np.polynomial.hermite_e.hermegauss(60)
    mean = float(chance(HOLDS, 8, 0.4 + 0.3 * z, terms, seen=True) @ weight) / math.sqrt(2 * math.pi)
    assert mean == pytest.approx(float(chance(HOLDS, 8, 0.4, terms)), abs=1e-6)


def test_stopping_at_the_first_settled_answer_is_wrong_too_often():
    """Said in the caution of a plan: 2.5 % wrong at the limit if checked once, far more if each time."""
    rng, terms = np.random.default_rng(3), spread_of(1.5, 0.88, 0.0, 0.95)
    biases = rng.normal(1.5, 0.88, (RUNS, 13))
    settled = []
    for count in range(3, 14):
        part = biases[:, :count]
        settled.append(np.abs(part.mean(axis=1)) + half_widths(terms, count, part.std(axis=1, ddof=1) / 0.88) <= 1.5)
    assert settled[-1].mean() == pytest.approx(0.025, abs=4 * math.sqrt(0.025 / RUNS))
    assert np.any(settled, axis=0).mean() > 0.08


@pytest.mark.parametrize(("sessions", "sd", "settled"), [(8, 0.8, 0.295), (20, 0.4, 0.523), (40, 0.8, 0.497)])
def test_a_rectangle_is_planned_as_it_is_judged(rng, sessions, sd, settled):
    """A reference of ±1 %, perfect device: the plan's share beside simulated verdicts, within 0.005 + noise."""
    terms = spread_of(1.5, sd, (1.0,), 0.95)
    expected = float(chance(HOLDS, sessions, 0.0, terms))
    assert expected == pytest.approx(settled, abs=0.004)
    runs = 20000
    biases = rng.normal(0, sd, (runs, sessions)) + rng.uniform(-1, 1, (runs, 1))
    half = half_widths(terms, sessions, biases.std(axis=1, ddof=1) / sd)
    found = (np.abs(biases.mean(axis=1)) + half <= 1.5).mean()
    assert abs(found - expected) < 0.005 + 2 * math.sqrt(0.25 / runs)
