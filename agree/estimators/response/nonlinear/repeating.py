"""A device that reads the power every n seconds, and repeats that until its next reading."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.estimators.response.kernels import Kernel


class Repeating(NamedTuple):
    """A linear filter, whose value in some seconds stands for all until the next one of these.

    `at` holds for each second the one whose reading it repeats; below 0 it is unknown.
    """

    every: int
    kernel: Kernel
    at: NDArray[np.intp]

    @property
    def start(self) -> int:
        """First second, after a reading, that holds some of it."""
        return self.kernel.start

    @property
    def weights(self) -> FloatArray:
        """Weights of the filter that delays energy as this one does on the average of all seconds."""
        row: FloatArray = np.convolve(self.kernel.weights, np.full(self.every, 1 / self.every))
        return row

    def cut(self, begin: int, size: int) -> Repeating:
        """The same for a part of the recording."""
        return self._replace(at=self.at[begin:begin + size] - begin)

    def repeated(self, values: FloatArray) -> FloatArray:
        """What stands in each second for those from which on a reading is repeated."""
        return values[np.maximum(self.at, 0)] if values.size else values


def repeated_at(first: NDArray[np.intp], size: int) -> NDArray[np.intp]:
    """For each second the one at which its reading came."""
    return first[np.searchsorted(first, np.arange(size), side="right") - 1]
