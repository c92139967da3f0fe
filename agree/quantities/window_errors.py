"""Errors of means over windows along one session, as pictures show them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.quantities.overlay import Overlay


class WindowErrors(NamedTuple):
    """Middle of each window, min, and error of its means, in the quantity's unit; NaN where under half is recorded."""

    minutes: FloatArray
    error: FloatArray


def window_errors(overlay: Overlay, device: FloatArray, window_s: int) -> WindowErrors:
    """Return the errors of a device's readings against an overlay's reference, window by window."""
    error = device - overlay.reference
    parts = [error[k:k + window_s] for k in range(0, error.size, window_s)]
    means = [float(np.nanmean(part)) if np.isfinite(part).sum() >= window_s / 2 else np.nan for part in parts]
    return WindowErrors((np.arange(len(means)) + 0.5) * window_s / 60, np.array(means))
