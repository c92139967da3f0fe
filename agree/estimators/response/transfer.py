"""Transfer between two traces of one effort, each with noise of its own: what a kind of smoothing leaves unexplained.

Changes from second to second, x of one trace and y of the other, have the cross-spectrum Sxy = b F D S with a filter F
on the second, a delay D, S the spectrum of true power, and noise in neither: it is not shared. A noisy x lowers Sxy/Sxx
by its signal share c, y's noise only lowers the coherence C:

    Sxy/Sxx = b F D c,   C = c/(1 + noise of y/signal of y),   C <= c <= 1.

If the noise of y is a constant multiple (1 - k)/k of b^2 that of x, whatever their common colour, then with s = 1/c - 1

    (1 + s) (1 + s (1 - k)/(k |F|^2)) = 1/C;   k = 0: all noise in y, k = 1: all in x.

So noise bends the ratio no further than the coherence shows, and turns neither its sign nor its phase: a filter does.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

from agree.core.checks import FloatArray
from agree.core.thresholds import LINES_SD, TOGETHER, TOGETHER_OVER_S
from agree.estimators.response.linear.lowpass import FLOOR, lowpass, share_of, signal_share
from agree.estimators.response.simplex import lowest

ComplexArray = NDArray[np.complex128]
BINS = 128           # frequencies at which the spectra are judged
LEAST_IN_BIN = 8
SMOOTHED = 17        # bins over which noise is smoothed
LAGS_S = 45          # a mean over 60 s goes together with what it is made of at 30 s on either side of its middle
DELAYS_S = np.arange(-31.0, 31.25, 0.5)   # about the lag of largest covariance
SIZES = {"none": np.ones(1), "running mean": np.r_[1.25:8:0.25, 8:31:0.5, 31:61],
         "first order": np.r_[0.1:2:0.1, 2:6:0.25, 6:15.5:0.5, 16:31:1, 32:62:2]}
SHARES = np.array([0.0, 0.1, 0.5, 0.9, 1.0])
STEP = 1e-3
LEAST_COHERENCE = 1e-3


class Cross(NamedTuple):
    """Changes of two traces, each in a unit of its own, and the lag (whole s) by which the second was set forward."""

    x: FloatArray
    y: FloatArray
    lag: int
    known: int
    correlation: float


class Seen(NamedTuple):
    """Sxy/Sxx by frequency, its weight, 1/coherence - 1, and the spectrum left in the second trace."""

    frequency: FloatArray
    ratio: ComplexArray
    weight: FloatArray
    noise: FloatArray
    left: FloatArray


class Fitted(NamedTuple):
    """A filter of the first trace that resembles the second: kind, size (s), delay (s), and what it leaves.

    `second` is the size of a second stage, s: the shorter one of two lags, or the lag after a mean. `part` is what a
    reading takes of the second after its own, beside the delay: it lies so far between them. `blend` is the share of
    that which is mixed; the rest is only later by as much.
    """

    kind: str
    size: float
    delay: float
    misfit: float
    scale: float
    share: float      # k above
    second: float = 0.0
    part: float = 0.0
    blend: float = 1.0


def cross(first: FloatArray, second: FloatArray) -> Cross:
    """Changes from second to second of both, the second set forward by the lag at which they go together best.

    Where changes from second to second do not go together, those over 15 s tell the lag. Unknown seconds are bridged
    by straight lines, so that the change over a gap is kept.
    """
    rows = np.stack([first, second])
    whole = np.asarray(np.isfinite(rows).all(axis=0))
    at = np.arange(first.size)
    known = int((whole[1:] & whole[:-1]).sum())
    if known <= 2 * LAGS_S:  # too few to look for a lag
        return Cross(rows[0], rows[1], 0, known, 0.0)
    changes = np.diff([np.interp(at, at[whole], row[whole]) for row in rows])
    scale = np.abs(changes).max(axis=1, keepdims=True)
    changes = np.divide(changes, scale, out=np.zeros_like(changes), where=scale > 0)
    changes -= changes.mean(axis=1, keepdims=True)
    n = changes.shape[1]
    size = fft.next_fast_len(n + LAGS_S, real=True)  # no lag that is looked at goes round
    spectrum = fft.rfft(changes, size)
    lags = np.r_[0:LAGS_S + 1, -LAGS_S:0]
    joint = spectrum[1] * spectrum[0].conj()

    def largest(shared: NDArray[Any], power: float) -> tuple[int, float]:
        product = fft.irfft(shared, size)[lags]
        return int(lags[np.argmax(product)]), float(product.max()) / power if power else 0.0

    lag, correlation = largest(joint, float(np.sqrt(np.prod(np.square(changes).sum(axis=1)))))
    if correlation * math.sqrt(known) < TOGETHER:
        # A mean over a minute hides what goes on from second to second beneath noise, but not what lasts. Changes over
        # a span count as one for each span.
        over = np.abs(fft.rfft(np.ones(TOGETHER_OVER_S), size)) ** 2
        summed = [ndimage.uniform_filter1d(row, TOGETHER_OVER_S) * TOGETHER_OVER_S for row in changes]
        wide, alike = largest(joint * over, float(np.sqrt(np.prod([row @ row for row in summed]))))
        lag, correlation = max((lag, correlation), (wide, alike / math.sqrt(TOGETHER_OVER_S)), key=lambda one: one[1])
    forward = np.roll(np.pad(changes[1], LAGS_S), -lag)[LAGS_S:LAGS_S + n]
    return Cross(changes[0], forward, lag, known, correlation)


def seen(pair: Cross) -> Seen:
    """Ratio of spectra in bins of equally many frequencies, with what is needed to judge a filter by it."""
    x, y = fft.rfft(np.stack([pair.x, pair.y]))
    each = max(LEAST_IN_BIN, x.size // BINS)
    count = (x.size - 1) // each
    frequency, xx, yy, xy = (
        column[1:1 + count * each].reshape(count, each).mean(axis=1)
        for column in (np.arange(x.size) / pair.x.size, np.abs(x)**2, np.abs(y)**2, x.conj() * y))
    tiny = float(np.finfo(float).tiny)
    xx, yy = np.maximum(xx, FLOOR * xx.mean() + tiny), np.maximum(yy, FLOOR * yy.mean() + tiny)
    coherence = np.minimum(np.abs(xy)**2 / (xx * yy), 1 - FLOOR)
    # |Sxy|^2 is too large by chance, the residual spectrum too small: one frequency in `each`.
    left = yy * (1 - coherence) * each / (each - 1)
    fair = np.clip((coherence - 1 / each) / (1 - 1 / each), LEAST_COHERENCE, 1 - FLOOR)
    # Smoothed, since what bends the ratio by chance must not be taken for noise that does.
    smooth, left = (_smoothed(column) for column in (1 / fair - 1, left))
    # Intervals that repeat have power at some frequencies alone: most of the trace there, little of it between.
    lines = min(float(np.std(np.log(power / _smoothed(power)))) for power in (xx, yy)) > LINES_SD
    noise = left / np.maximum(yy * fair, LEAST_COHERENCE * left) if lines else smooth
    return Seen(frequency, xy / xx, 2 * each * xx / left, noise, left)


def _smoothed(column: FloatArray) -> FloatArray:
    result: FloatArray = np.exp(ndimage.uniform_filter1d(np.log(column), SMOOTHED, mode="nearest"))
    return result


def misfits(data: Seen, kind: str, sizes: FloatArray, early: FloatArray, second: FloatArray | None = None,
            ) -> FloatArray:
    """Weighted squares that filters leave at `DELAYS_S` less `early` and at `SHARES`, (sizes, delays, shares)."""
    turn = 2 * np.pi * data.frequency
    h = lowpass(kind, sizes[:, None], data.frequency, 0.0 if second is None else second[:, None])
    power = h.real**2 + h.imag**2
    shared = data.weight * data.ratio * np.exp(-1j * early[:, None] * turn) * h.conj()
    # The real part of e^(i angle) times what is shared, as products of real columns; delays are as many either way.
    angle = DELAYS_S[DELAYS_S.size // 2:, None] * turn
    cosine, sine = np.cos(angle), np.sin(angle)
    real, imaginary, whole = shared.real.copy(), shared.imag.copy(), _whole(data)
    result = np.empty((sizes.size, DELAYS_S.size, SHARES.size))
    for k, share in enumerate(SHARES.tolist()):  # one by one they stay in the processor's cache
        part = signal_share(data.noise, power, share) if 0 < share < 1 else 1 / (1 + share * data.noise)
        even, odd = cosine @ (part * real).T, sine @ (part * imaginary).T
        along = np.maximum(np.concatenate([(even + odd)[:0:-1], even - odd]), 0)
        result[:, :, k] = (whole - along**2 / (part * part * power @ data.weight)).T
    return result


def _whole(data: Seen) -> float:
    return float(data.weight @ (data.ratio.real**2 + data.ratio.imag**2))


def misfit_of(data: Seen, kind: str) -> Callable[[float, float, float], tuple[float, float]]:
    """Return what gives, by size, delay and share, the weighted squares left and the scale b that leaves least.

    A deviance: minus twice the log-likelihood (Whittle) above that of any transfer at all. It is called some hundred
    times for each fit, so all that does not change is made before, and products are of real columns.
    """
    turn, weight, whole = 2 * np.pi * data.frequency, data.weight, _whole(data)
    real, imaginary, shared_of = weight * data.ratio.real, weight * data.ratio.imag, share_of(data.noise)
    sine, half = 1 / np.sin(np.where(turn == 0, 1e-9, turn) / 2), np.where(turn == 0, 1e-9, turn) / 2
    cosine, along_turn, ones = np.cos(turn), np.sin(turn), np.ones(turn.size)

    def at(size: float, delay: float, share: float) -> tuple[float, float]:
        angle = delay * turn
        c, s = np.cos(angle), np.sin(angle)
        shared = real * c
        shared -= imaginary * s
        if kind == "running mean":
            h = size * half
            np.sin(h, out=h)
            h *= sine
            h /= size
            power = h * h
        elif kind == "first order":
            keep = math.exp(-1 / size)
            power = (1 - keep)**2 / (1 - 2 * keep * cosine + keep * keep)
            # conj(h) = power (1 - keep e^(-i turn))/(1 - keep)
            shared *= 1 - keep * cosine
            shared -= (real * s + imaginary * c) * (keep * along_turn)
            h = power / (1 - keep)
        else:
            h = power = ones
        if share:
            part = shared_of(power, share)
            power = part * part * power
            h = part * h
        along = max(float(shared @ h), 0.0)
        square = float(weight @ power)
        return whole - along**2 / square, along / square

    return at


def best(data: Seen, kind: str, size: float | None = None) -> Fitted:
    """Size, delay and share of noise that leave least, on a grid and then by simplex; a given size is kept."""
    sizes = SIZES[kind] if size is None else np.array([size])
    early = sizes if kind == "first order" else np.zeros(sizes.size)  # a lag delays by its time constant
    grid = misfits(data, kind, sizes, early)
    i, j, k = np.unravel_index(np.argmin(grid), grid.shape)
    return nearest(data, kind, np.array([DELAYS_S[j] - early[i], SHARES[k], sizes[i]]), sizes)


def nearest(data: Seen, kind: str, start: FloatArray, sizes: FloatArray, near: float = 1e-5) -> Fitted:
    """Delay, share of noise and size that leave least near a start, by simplex; a single size is kept."""
    free = 3 if sizes.size > 1 else 2
    misfit = misfit_of(data, kind)

    low, high, only = float(sizes[0]) / 4, 1.5 * float(sizes[-1]), float(sizes[0])

    def full(at: Sequence[float] | FloatArray) -> tuple[float, float, float]:
        return float(at[0]), min(max(float(at[1]), 0.0), 1.0), float(at[2]) if free == 3 else only

    def left(at: Sequence[float]) -> float:
        share, wide = at[1], at[2] if free == 3 else only
        if not low <= wide <= high:
            return math.inf
        if 0 <= share <= 1:
            return misfit(wide, at[0], share)[0]
        return misfit(wide, at[0], 0.0 if share < 0 else 1.0)[0] + (-share if share < 0 else share - 1)

    corners = np.vstack([np.zeros(3), np.diag([0.2, 0.3 if start[1] < 0.5 else -0.3, 0.04 * start[2] + 0.04])])
    place = full(lowest(left, start[:free] + corners[:free + 1, :free], xtol=near, ftol=near, most=600))
    return Fitted(kind, place[2], place[0], *misfit(place[2], place[0], place[1]), place[1])


def late(frequency: FloatArray, found: Fitted) -> ComplexArray:
    """Response of the delay, and of the part of a second by which readings lie between seconds."""
    turn = np.exp(-2j * np.pi * frequency)
    part, blend = found.part, found.blend
    mixed = blend * (1 - part + part * turn) + ((1 - blend) * turn**part if blend < 1 else 0.0)
    result: ComplexArray = turn**found.delay * mixed
    return result


def whitened(pair: Cross, data: Seen, found: Fitted) -> tuple[ComplexArray, Callable[[Fitted], ComplexArray],
                                                              FloatArray]:
    """Spectrum of the first trace, what makes the second of it by a model, and what is left in time, all whitened."""
    n = pair.x.size
    x, y = fft.rfft(np.stack([pair.x, pair.y]))
    frequency = np.arange(x.size) / n
    noise, left = (np.interp(frequency, data.frequency, row) for row in (data.noise, np.log(data.left)))
    white = np.exp(-left / 2)
    after = late(frequency, found)

    def model(one: Fitted) -> ComplexArray:
        h = lowpass(one.kind, one.size, frequency, one.second)
        result: ComplexArray = one.scale * signal_share(noise, np.abs(h)**2, one.share) * h * after
        return result

    return x * white, model, fft.irfft((y - model(found) * x) * white, n)


def influence(pair: Cross, data: Seen, found: Fitted, turned: Sequence[tuple[Fitted, Fitted, float]]) -> FloatArray:
    """Influence of each second on what is turned, the sizes, and on the delay, (sizes + 1, n).

    `turned` holds a fit with more and one with less of a size, and how much more.

    The normal equations of the weighted fit, in time: products of the whitened remainder with whitened derivatives.
    """
    n = pair.x.size
    x, model, left = whitened(pair, data, found)
    here = model(found)
    slopes = [(model(more) - model(less)) / apart for more, less, apart in turned]
    slopes += [-2j * np.pi * np.arange(x.size) / n * here, here]
    # Where k is at its bound it is still unknown: else the interval would be too narrow there.
    share = float(np.clip(found.share, STEP, 1 - STEP))
    up, down = (model(found._replace(share=share + sign * STEP)) for sign in (1, -1))
    slopes.append((up - down) / (2 * STEP))
    rows = fft.irfft(np.stack(slopes) * x, n)
    rows /= (unit := np.maximum(np.sqrt(np.square(rows).sum(axis=1, keepdims=True)), float(np.finfo(float).tiny)))
    phi = n * np.linalg.pinv(rows @ rows.T, rcond=1e-12) @ (rows * left) / unit
    result: FloatArray = phi[:len(turned) + 1]
    return result
