"""Slow errors: the mixture over spectra against a slow twin, and what it covers."""

import math

import numpy as np
import pytest
from scipy import integrate
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
