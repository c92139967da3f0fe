"""A coefficient of a slow regression; its standard error respects that errors of neighbouring seconds are alike."""

from __future__ import annotations

import math
from functools import cached_property
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


class Beside:
    """A base and an error, beside which coefficients of rows are found: what rests on both alone is computed once.

    Attributes
    ----------
    basis : (n, rows) array
        Columns of length 1 at right angles, of which the first k span the first k rows of the base.
    rest : (n,) array
        What the base does not explain of the error.
    """

    def __init__(self, base: FloatArray, error: FloatArray) -> None:
        self.basis, _ = np.linalg.qr(base.T)
        self.rest = self._without(error)

    @cached_property
    def _squares(self) -> FloatArray:
        """Share that the base takes of each cosine."""
        taken: FloatArray = (fft.dct(self.basis.T, norm="ortho") ** 2).sum(axis=0)
        return taken

    def _without(self, values: FloatArray) -> FloatArray:
        """Take from values what the base explains."""
        left: FloatArray = values - self.basis @ (self.basis.T @ values)
        return left

    def coefficient(self, row: FloatArray) -> Size:
        """Coefficient of a row; see the function of this name."""
        free = self._without(self._without(row))  # twice: what is left of a row nearly in the base is rounded
        size = math.sqrt(float(free @ free))
        if size < 1e-9 * math.sqrt(float(row @ row)) or size == 0:
            return Size(0.0, math.inf)
        free /= size
        length, value = float(free @ row), float(free @ self.rest)
        error, own = fft.dct(np.stack([self.rest - value * free, free]), norm="ortho") ** 2
        left = ndimage.uniform_filter1d(np.maximum(1 - own - self._squares, 0), 2 * BAND + 1)
        level = ndimage.uniform_filter1d(error, 2 * BAND + 1) / np.maximum(left, 1 / (2 * BAND + 1))
        return Size(value / length, math.sqrt(float(own @ level)) / abs(length))


def coefficient(row: FloatArray, base: FloatArray, error: FloatArray) -> Size:
    """Coefficient of a row beside the base.

    Its variance is sum c_j^2 S_j, with c_j the type-II cosine coefficients of the row's free part over its square, and
    S_j the mean square of those of the residual at j - 8 to j + 8, divided by the share the fit has left of them. So
    the error may be correlated: what else changes over as long as the row does is told by neighbouring frequencies.
    """
    return Beside(base, error).coefficient(row)
