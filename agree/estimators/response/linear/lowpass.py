"""Responses of filters by frequency, and what of a ratio of spectra is signal behind them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from agree.core.checks import FloatArray

FLOOR = 1e-9         # least incoherent share: traces that are exact filters of one another


def lowpass(kind: str, size: Any, frequency: FloatArray, second: Any = 0.0) -> Any:
    """Response of a centred mean over `size` s, of a first-order lag with this time constant, or of two in a row."""
    if kind in ("two lags", "mean and lag"):
        return lowpass("first order" if kind == "two lags" else "running mean", size, frequency) * lowpass(
            "first order", second, frequency)
    turn = 2 * np.pi * frequency
    if kind == "running mean":
        half = np.where(turn == 0, 1e-9, turn) / 2
        return np.sin(size * half) / (size * np.sin(half)) + 0j
    if kind == "first order":
        keep = np.exp(-1 / size)
        return (1 - keep) / (1 - keep * np.exp(-1j * turn))
    return np.ones_like(turn) + 0j


def signal_share(noise: FloatArray, power: Any, share: Any) -> Any:
    """Return c of the module `transfer` from 1/coherence - 1, abs(F)^2 and k."""
    other = (1 - share) / np.maximum(power, FLOOR)
    both = share + other
    return 1 / (1 + 2 * share * noise / (both + np.sqrt(both * both + 4 * share * other * noise)))


def share_of(noise: FloatArray) -> Callable[[FloatArray, float], FloatArray]:
    """Return `signal_share` by power and k alone, with nothing made twice: it is called some hundred times a fit."""
    twice, four = 2 * noise, 4 * noise
    none_of_it, all_of_it = np.ones(noise.size), 1 / (1 + noise)

    def at(power: FloatArray, share: float) -> FloatArray:
        if share in (0, 1):  # most fits end there
            return all_of_it if share else none_of_it
        other = np.maximum(power, FLOOR)
        np.divide(1 - share, other, out=other)
        both = other + share
        other *= four
        other *= share
        root = both * both
        root += other
        np.sqrt(root, out=root)
        root += both
        np.divide(share * twice, root, out=root)
        root += 1
        return np.reciprocal(root, out=root)

    return at
