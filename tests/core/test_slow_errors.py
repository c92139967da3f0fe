"""Slow errors: the mixture over spectra against a slow twin, and what it covers."""

import math

import numpy as np
import pytest
from scipy import integrate, special
from scipy.optimize import brentq
from scipy.signal import lfilter

from agree.core.interval.engine import cosine_transform, spread, t_quantile
from agree.core.interval.slow_errors import COEFFICIENTS, EVEN, RATIOS, TIMES, slow_variance


def twin(c):
    """The half-width of the mixture at 95 % by integrals over the scale, spectrum by spectrum."""
    j = np.arange(1, c.size + 1)
    cells = [(EVEN, np.ones(c.size), 1.0)]
    for r in RATIOS:
        for tau in TIMES:
            slow = 1 / (1 + (np.pi * j * tau) ** 2)
            shape, zero = (slow, 1.0) if math.isinf(r) else (1 + r * slow, 1 + r)
            cells.append(((1 - EVEN) / len(RATIOS) / len(TIMES), shape, zero))

    def density(log_v, shape):  # of the coefficients at scale v, prior 1/v
        return math.exp(-np.log(shape).sum() / 2 - c.size / 2 * log_v - (c * c / shape).sum() / 2 / math.exp(log_v))

    grid = np.linspace(-12, 12, 1601)
    log_v = [[density(v, shape) for v in grid] for _, shape, _ in cells]
    total = [w * integrate.trapezoid(row, grid) for (w, _, _), row in zip(cells, log_v, strict=True)]

    def inside(half):
        return sum(w * integrate.trapezoid([d * math.erf(half / math.sqrt(2 * zero * math.exp(v)))
                                            for v, d in zip(grid, row, strict=True)], grid)
                   for (w, _, zero), row in zip(cells, log_v, strict=True)) / sum(total)

    return brentq(lambda half: inside(half) - 0.95, 1e-3, 1e3, rtol=1e-6)


@pytest.mark.parametrize("slow", [0.0, 3.0])
def test_variance_gives_the_interval_of_the_mixture(slow):
    rng = np.random.default_rng(3)
    c = rng.normal(size=COEFFICIENTS) * (1 + slow / np.arange(1, COEFFICIENTS + 1))
    half = t_quantile(0.95, 8) * math.sqrt(slow_variance(c, 8))
    assert half == pytest.approx(twin(c), rel=1e-4)


@pytest.mark.parametrize("scale", [1e-150, 1.0, 1e150])
def test_scale_and_sign(rng, scale):
    c = rng.normal(size=COEFFICIENTS)
    assert slow_variance(-scale * c, 8) / scale**2 == pytest.approx(slow_variance(c, 8), rel=1e-12)


def test_nothing_varies():
    assert slow_variance(np.zeros(COEFFICIENTS), 8) == 0


@pytest.mark.parametrize(("tau", "width"), [(5, 1.35), (300, 3.0)])
def test_an_hour_of_slow_errors_is_covered(tau, width):
    """In 10-s means; 700 runs, Monte-Carlo error 0.8 %. Eight cosines alone cover 84 % at 300 s."""
    rng = np.random.default_rng(tau)
    rho = math.exp(-10 / tau)
    noise = rng.normal(size=(700, 1360)) * math.sqrt(1 - rho * rho)
    rows = lfilter([1], [1, -rho], noise, axis=1)[:, 1000:]
    half = np.array([2.306 * spread(row, "serial", cautious=True).standard_error for row in rows])
    plain = np.array([2.306 * spread(row, "serial").standard_error for row in rows])
    assert (np.abs(rows.mean(axis=1)) <= half).mean() >= 0.945
    assert half.mean() / plain.mean() <= width


def test_fewer_coefficients_than_asked():
    phi = np.random.default_rng(1).normal(size=12)
    assert spread(phi, "serial", cautious=True).standard_error == pytest.approx(
        math.sqrt(slow_variance(cosine_transform(phi - phi.mean(), 11), 8) / 12))


def test_what_goes_with_a_fixed_series_is_no_chance(rng):
    """The factor integrated out by a slow twin; any multiple of the fixed series gives the same."""
    c, p = rng.normal(size=COEFFICIENTS), rng.normal(size=COEFFICIENTS) / np.arange(1, COEFFICIENTS + 1)
    found = slow_variance(c, 8, p)
    assert slow_variance(c + 7 * p, 8, p) == pytest.approx(found, rel=1e-9)
    assert slow_variance(1e3 * p, 8, p) == 0
    j = np.arange(1, COEFFICIENTS + 1)
    rows = []
    for prior, r, tau in [(EVEN, 0.0, 0.1), *(((1 - EVEN) / len(RATIOS) / len(TIMES), r, tau) for r in RATIOS
                                              for tau in TIMES)]:
        slow = 1 / (1 + (np.pi * j * tau) ** 2)
        shape, zero = (slow, 1.0) if math.isinf(r) else (1 + r * slow, 1 + r)
        # Rotated so that the fixed series is the first axis, the rest is free of it.
        turn = np.linalg.qr(np.c_[p / np.sqrt(shape), np.eye(COEFFICIENTS)[:, 1:]])[0]
        free = (turn.T @ (c / np.sqrt(shape)))[1:]
        rows.append((math.log(prior) - np.log(shape).sum() / 2 - np.log((p * p / shape).sum()) / 2
                     - free.size / 2 * math.log(free @ free), math.sqrt(free @ free / free.size * zero)))
    weight, scale = np.array(rows).T
    weight = np.exp(weight - weight.max()) / np.exp(weight - weight.max()).sum()
    half = brentq(lambda x: weight @ special.stdtr(COEFFICIENTS - 1, x / scale) - 0.975, 1e-3, 1e3, rtol=1e-10)
    assert t_quantile(0.95, 8) * math.sqrt(found) == pytest.approx(half, rel=1e-8)


@pytest.mark.parametrize("cautious", [True, False])
def test_power_that_does_not_vary_holds_nothing(rng, cautious):
    phi = rng.normal(size=900)
    plain = spread(phi, "serial", cautious=cautious)
    flat = spread(phi, "serial", cautious=cautious, fixed=np.full(900, 200.0) * (1 + 1e-12 * phi))
    assert flat == plain
    held = spread(phi + 3 * (ramp := np.linspace(-1, 1, 900)), "serial", cautious=cautious, fixed=200 + 80 * ramp)
    assert held.standard_error < 2 * plain.standard_error < spread(phi + 3 * ramp, "serial").standard_error


def test_a_drift_along_a_ramp_is_still_named(rng):
    """Power and error rise together: a scale, or a drift; it cannot be told which."""
    ramp = np.linspace(-1, 1, 1800)
    assert spread(rng.normal(0, 0.1, 1800) + ramp, "serial", cautious=True, fixed=200 + 80 * ramp).drift
    waves = np.sin(np.arange(1800) / 60)
    assert not spread(rng.normal(0, 0.1, 1800) + waves, "serial", cautious=True, fixed=200 + 80 * waves).drift
