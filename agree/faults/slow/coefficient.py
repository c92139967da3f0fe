"""A coefficient of a slow regression; its standard error respects that errors of neighbouring seconds are alike."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy import fft, ndimage

from agree.core.checks import FloatArray

BAND = 8  # cosines on either side over which the noise of one is averaged


class Size(NamedTuple):
    """A coefficient with its standard error."""

    value: float
    se: float

    @property
    def t(self) -> float:
        """Value in standard errors."""
        return abs(self.value) / self.se if self.se > 0 else math.inf if self.value else 0.0


def coefficient(row: FloatArray, base: FloatArray, error: FloatArray) -> Size:
    """Coefficient of a row beside the base.

    Its variance is sum c_j^2 S_j, with c_j the type-II cosine coefficients of the row's free part over its square, and
    S_j the mean square of those of the residual at j - 8 to j + 8, divided by the share the fit has left of them. So
    the error may be correlated: what else changes over as long as the row does is told by neighbouring frequencies.
    """
    basis, _ = np.linalg.qr(np.vstack([base, row]).T)
    free, basis = basis[:, -1], basis[:, :-1]
    length = float(free @ row)
    if abs(length) < 1e-9 * math.sqrt(float(row @ row)):
        return Size(0.0, math.inf)
    rest = error - basis @ (basis.T @ error)
    value = float(free @ rest)
    squares = fft.dct(np.vstack([rest - value * free, free, basis.T]), norm="ortho") ** 2
    left = ndimage.uniform_filter1d(np.maximum(1 - squares[1:].sum(axis=0), 0), 2 * BAND + 1)
    level = ndimage.uniform_filter1d(squares[0], 2 * BAND + 1) / np.maximum(left, 1 / (2 * BAND + 1))
    return Size(value / length, math.sqrt(float(squares[1] @ level)) / abs(length))
