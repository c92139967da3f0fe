"""A delay by a part of a second: fitted as what lies within a second allows, and what a response leaves, judged."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy import fft

from agree.core.checks import FloatArray
from agree.core.thresholds import BURSTS_PART, PURE_LAG_S, WITHIN
from agree.estimators.response import transfer
from agree.estimators.response.linear.lowpass import lowpass, share_of, signal_share
from agree.estimators.response.simplex import lowest
from agree.estimators.response.transfer import Cross, Fitted, Seen

BLENDS = (0.1, 0.9)      # where the fit starts
SHORT_S = 2.0            # a filter no longer than this, or none, leaves about all that lies within a second
NEAR_LAGS = range(-4, 5)  # s: products of change and error whose spread is looked at


def delayed(data: Seen, plain: Fitted) -> Fitted:
    """Delay that leaves least, beside how much its part of a second mixes neighbours.

    Parameters
    ----------
    data : Seen
        The smoother trace over the other one.
    plain : Fitted
        The delay that leaves least if it mixes none.

    Notes
    -----
    Readings that begin a part p of a second later take 1 - p of one reading and p of the next, if power has no memory
    within a second: the filter 1 - p + p exp(-2 pi i f). If power changes smoothly, they are the same curve read later:
    exp(-2 pi i f p), which smoothes nothing. Of either a share is taken, b of the first and 1 - b of the second, since
    one reading a second does not say which.
    """
    turn = 2 * np.pi * data.frequency
    along_turn = 1j * turn
    around, weighted = np.exp(-along_turn), data.weight * data.ratio
    weight, whole, shared_of = data.weight, float(data.weight @ np.abs(data.ratio)**2), share_of(data.noise)

    def at(delay: float, share: float, blend: float) -> tuple[float, float]:
        part = delay - math.floor(delay)
        h = part * around
        h += 1 - part
        h *= np.exp(part * along_turn)
        h *= blend
        h += 1 - blend
        power = h.real * h.real
        power += h.imag * h.imag
        shared = np.exp(delay * along_turn)
        shared *= weighted
        shared *= np.conj(h, out=h)
        signal = shared_of(power, share)
        along = max(float(shared.real @ signal), 0.0)
        square = float(weight @ (signal * signal * power))
        return whole - along**2 / square, along / square

    def inside(place: Sequence[float] | FloatArray) -> tuple[float, float, float]:
        return float(place[0]), min(max(float(place[1]), 0.0), 1.0), min(max(float(place[2]), 0.0), 1.0)

    def left(place: Sequence[float]) -> float:
        outside = max(abs(place[1] - 0.5) - 0.5, 0.0) + max(abs(place[2] - 0.5) - 0.5, 0.0)
        return at(*inside(place))[0] + outside

    tried = []
    for blend in BLENDS:
        start = np.array([plain.delay, plain.share, blend])
        steps = np.diag([0.1, 0.3 if plain.share < 0.5 else -0.3, 0.4 if blend < 0.5 else -0.4])
        place = inside(lowest(left, start + np.vstack([np.zeros(3), steps]), xtol=1e-4, ftol=1e-4, most=300))
        tried.append((*at(*place), *place))
    misfit, scale, delay, share, blend = min(tried)
    if plain.misfit <= misfit:
        return plain
    before = math.floor(delay)
    return Fitted("none", 1.0, float(before), misfit, scale, share, part=delay - before, blend=blend)


def judged(pair: Cross, data: Seen, found: Fitted) -> float:
    """What a model leaves, over what chance leaves: near 1 if it describes the difference.

    Parameters
    ----------
    pair : Cross
        Both traces.
    data : Seen
        Their spectra.
    found : Fitted
        The model.

    Notes
    -----
    A delay by a part of a second leaves what lies within a second, which no reading each second holds. It is largest
    where power changes most. Where that is in a few sprints, products of changes and errors vary more than those of
    even noise do, and so many times more may be left by chance, of no filter and of a short one; not where the part is
    so small that it may stand for a filter at low power alone. And how neighbours mix is known to `WITHIN` only of what
    the two ways of `delayed` differ by.
    """
    turn = 2 * np.pi * data.frequency
    filtered = lowpass(found.kind, found.size, data.frequency, found.second)
    h = filtered * transfer.late(data.frequency, found)
    between = PURE_LAG_S <= found.part <= 1 - PURE_LAG_S
    unknown = WITHIN * found.scale * np.abs(filtered * (
        np.exp(-1j * turn * found.part) - (1 - found.part + found.part * np.exp(-1j * turn)))) if between else 0.0
    weight = data.weight / (1 + data.weight * np.square(unknown) / 2)
    least = math.inf
    for share in (*transfer.SHARES, found.share):
        made = signal_share(data.noise, np.abs(h)**2, share) * h
        along = max(float(np.real(weight * data.ratio * made.conj()).sum()), 0.0)
        least = min(least, float(weight @ np.abs(data.ratio)**2) - along**2 / float(weight @ np.abs(made)**2))
    short = BURSTS_PART <= found.part <= 1 - BURSTS_PART and found.size <= SHORT_S and not found.second
    return least / (2 * turn.size) / (bursts(pair, data, found) if short else 1.0)


def bursts(pair: Cross, data: Seen, found: Fitted) -> float:
    """By how much products of changes and errors vary more than if errors were as large at any time; at least 1."""
    sharp, _, error = transfer.whitened(pair, data, found)
    x, e = np.square(fft.irfft(sharp, pair.x.size)), np.square(error)
    mean = float(x.mean() * e.mean())
    return max(float(np.mean([np.roll(x, lag) @ e for lag in NEAR_LAGS])) / x.size / mean, 1.0) if mean > 0 else 1.0
