"""What else widens a filter than averaging: readings between whole seconds, and clocks that drift apart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.engine import spread, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import BETWEEN_EVIDENCE, BETWEEN_FITS
from agree.estimators.response.linear.two_stages import refitted
from agree.estimators.response.transfer import Fitted, Seen

PARTS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)  # of a second that a reading ends after one of the other trace
LEAST_TURN = 1e-3    # of what a reading half-way between seconds leaves at 0.5 Hz: nothing
ROUGH, FINE = 1e-3, 1e-5   # how near the fit of each part, and of the best one, in s and in misfit
ERRORS = 2.0         # standard errors by which a drift may be larger than it was found


def between_seconds(data: Seen, found: Fitted) -> list[Fitted]:
    """The filter, and refitted for each of `PARTS` and the best part beside them; the filter first unless one is clear.

    Notes
    -----
    A reading that ends a part f of a second after one of the other trace takes 1 - f of one second and f of the next,
    if power does not change within a second, and less of that if it does. So the ratio of spectra is that of the filter
    times 1 - f + f exp(-2 pi i frequency). It is divided out, and the filter fitted anew.
    """
    turn = np.exp(-2j * np.pi * data.frequency)

    def at(part: float, near: float = ROUGH) -> Fitted:
        mixed = 1 - part + part * turn
        mixed = np.where(np.abs(mixed) < LEAST_TURN, LEAST_TURN, mixed)
        other = data._replace(ratio=data.ratio / mixed, weight=data.weight * np.abs(mixed)**2)
        return refitted(other, found._replace(delay=found.delay - part), near)._replace(part=part)

    made = [found, *map(at, PARTS)]
    k = min(range(len(made)), key=lambda one: made[one].misfit)
    if 0 < k < len(made) - 1:
        before, here, after = (one.misfit for one in made[k - 1:k + 2])
        bend = before - 2 * here + after
        if bend > 0:  # the lowest point of the parabola through three
            made.append(at(made[k].part + (PARTS[1] - PARTS[0]) * (before - after) / (2 * bend)))
    k = min(range(len(made)), key=lambda one: made[one].misfit)
    best = made[k] = at(made[k].part, FINE) if k else found
    clear = found.misfit - best.misfit > BETWEEN_EVIDENCE * max(1.0, best.misfit / (2 * data.frequency.size))
    return [best, *(one for one in made if one is not best)] if clear else made


def as_good(data: Seen, made: Sequence[Fitted]) -> tuple[Fitted, ...]:
    """The first filter, and all that fit as well as it."""
    first = made[0].misfit
    more = BETWEEN_FITS * max(1.0, first / (2 * data.frequency.size))
    return tuple(one for one in made if one.misfit - first <= more)


def drift_span(delay_phi: FloatArray) -> float:
    """How far the delay may have drifted from the first second to the last, s: what is found and two standard errors.

    Parameters
    ----------
    delay_phi : (n,) array, s
        Influence of each second on the delay: where the delay is larger by d than its mean, it is d on average.

    Notes
    -----
    The least-squares slope of the influences on time, from -1/2 to 1/2, is the mean of 12 times their product.
    """
    time = (np.arange(delay_phi.size) + 0.5) / delay_phi.size - 0.5
    products = 12 * time * delay_phi
    slope = float(products.mean())
    return abs(slope) + ERRORS * spread(products - 12 * time**2 * slope, "serial").standard_error


def undrifted(kind: str, size: float, span: float) -> float:
    """Return the size of the filter, s, that with a drift of the delay by `span` s looks like one of `size`.

    A drift is a mean over `span` s: it adds span^2/12 to the variance of the weights, which is (size^2 - 1)/12 for a
    running mean and k/(1 - k)^2 with k = exp(-1/size) for a lag. The lower limit of a small size may lie below 0: that
    of no filter is returned then.

    Examples
    --------
    >>> round(undrifted("running mean", 5.0, 4.0), 6), round(undrifted("first order", 2.0, 1.0), 3)
    (3.0, 1.979)
    """
    if kind == "running mean":
        return math.sqrt(max(max(size, 0.0)**2 - span**2, 1.0))
    if not 0 < size < math.inf:
        return max(size, 0.0)
    keep = math.exp(-1 / size)
    left = keep / (1 - keep)**2 - span**2 / 12
    # k/(1 - k)^2 = 1/(4 sinh^2(1/(2 size)))
    return 1 / (2 * math.asinh(1 / (2 * math.sqrt(left)))) if left > 0 else 0.0


def with_smear(size: Estimate, delay: Estimate, least: float, delay_phi: FloatArray, ways: Sequence[Fitted],
               ) -> tuple[Estimate, Estimate]:
    """Limits of size and delay wide enough for readings between seconds, all `ways` that fit, and a drift."""
    found = ways[0]
    mean = found.kind in ("running mean", "mean and lag")
    # Two lags in a row are no filter of one size, but their longer one is what a single lag may be.
    own = [one.size for one in ways if (one.kind in ("running mean", "mean and lag")) == mean]
    apart = [one.delay + one.part - found.delay - found.part for one in ways if one.kind == found.kind]
    low = undrifted("running mean" if mean else "first order", size.low + min(own) - found.size, drift_span(delay_phi))
    beside = "readings between seconds"
    return (replace(size, low=min(max(low, least), size.low), high=size.high + max(own) - found.size,
                    method=f"{size.method}, {beside} and drift allowed for"),
            replace(delay, low=delay.low + min(apart), high=delay.high + max(apart),
                    method=f"{delay.method}, {beside} allowed for"))


def second_with_smear(second: Estimate, delay_phi: FloatArray, ways: Sequence[Fitted]) -> Estimate:
    """Limits of the second size, a lag, wide enough for the same."""
    sizes = [one.second for one in ways if one.kind == ways[0].kind]
    low = undrifted("first order", second.low + min(sizes) - ways[0].second, drift_span(delay_phi))
    return replace(second, low=min(low, second.low), high=second.high + max(sizes) - ways[0].second,
                   method=f"{second.method}, readings between seconds and drift allowed for")


def by_chance(item: Estimate) -> tuple[float, float]:
    """Limits without what `with_smear` allows for: the weights of a filter are to resemble the trace as it is."""
    if not (math.isfinite(item.standard_error) and item.df > 0):
        return item.low, item.high
    half = t_quantile(item.level, item.df) * item.standard_error
    return item.value - half, item.value + half
