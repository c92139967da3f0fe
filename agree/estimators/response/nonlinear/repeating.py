"""A device that reads the power every n seconds, and repeats that until its next reading."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.held_readings import held
from agree.estimators.response.kernels import Kernel


class Repeating(NamedTuple):
    """A linear filter, whose value in some seconds stands for all until the next one of these.

    `at` holds for each second the one whose reading it repeats; below 0 it is unknown. After pedalling ends the last
    reading may stand for `held_s` seconds more.
    """

    every: int
    kernel: Kernel
    at: NDArray[np.intp]
    held_s: int = 0

    @property
    def start(self) -> int:
        """First second, after a reading, that holds some of it."""
        return self.kernel.start

    @property
    def weights(self) -> FloatArray:
        """Weights of the filter that delays energy as this one does on the average of all seconds."""
        row = np.convolve(self.kernel.weights, np.full(self.every, 1 / self.every))
        whole: FloatArray = np.r_[row, np.zeros(self.held_s)]
        return whole

    def cut(self, begin: int, size: int) -> Repeating:
        """The same for a part of the recording."""
        return self._replace(at=self.at[begin:begin + size] - begin)

    def between(self, shown: FloatArray, nearest: FloatArray) -> FloatArray:
        """What the sharper trace read: on a line from one reading `shown` to the next amid work, else the nearest."""
        first = np.unique(self.at[self.at >= 0])
        when = first - self.kernel.start - float(np.arange(self.kernel.weights.size) @ self.kernel.weights)
        at, value = np.arange(shown.size), shown[first]
        after = np.searchsorted(when, at)
        both = (after > 0) & (after < when.size)
        works = value > 0
        both[both] = works[after[both] - 1] & works[after[both]]
        return np.where(both, np.interp(at, when, value), nearest)

    def shown(self) -> NDArray[np.bool_] | None:
        """Seconds of the sharper trace that are read, if one second is read at a time; else None."""
        if self.kernel.weights.size > 1:
            return None
        made, at = np.zeros(self.at.size, bool), np.unique(self.at) - self.kernel.start
        made[at[(at >= 0) & (at < made.size)]] = True
        return made

    def repeated(self, values: FloatArray) -> FloatArray:
        """What stands in each second for those from which on a reading is repeated."""
        return held(values[np.maximum(self.at, 0)], self.held_s) if values.size else values


def repeated_at(first: NDArray[np.intp], size: int) -> NDArray[np.intp]:
    """For each second the one at which its reading came."""
    return first[np.searchsorted(first, np.arange(size), side="right") - 1]
