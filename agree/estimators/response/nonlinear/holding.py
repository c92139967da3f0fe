"""A device that goes on with its last reading for some seconds after pedalling ends, and then falls to 0."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.estimators.response.kernels import Kernel


class Holding(NamedTuple):
    """The last reading before each run of 0 stands for its first seconds; then a linear filter."""

    seconds: int
    kernel: Kernel

    @property
    def start(self) -> int:
        """First second, after a reading, that holds some of it."""
        return self.kernel.start

    @property
    def weights(self) -> FloatArray:
        """Weights of the filter, and none for the seconds by which a reading may be held."""
        row: FloatArray = np.r_[self.kernel.weights, np.zeros(self.seconds)]
        return row
