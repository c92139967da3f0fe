"""The warm-up that would fit window means best, which a drift is compared with; warm-ups are found in faults/."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.diagnosis.windows.frame import Frame
from agree.diagnosis.windows.gains import Gains
from agree.faults.slow.warm_up import SETTLE_S, course


def best_warm_up(data: Frame, own: Gains, base: FloatArray, error: FloatArray) -> FloatArray | None:
    """Column (n,), free of gains and slow faults, of the warm-up that explains most beside a base (k, n).

    In W or in %, straight or dying away, from the start of each session and over within the shortest; None where
    all are too short.
    """
    basis = np.linalg.qr(base.T)[0].T if base.size else base.reshape(0, error.size)
    rest = error - basis.T @ (basis @ error)
    seconds = 3600 * data.hours
    shortest = min((seconds[low:high].max() for low, high in own.bounds if high > low), default=0.0)
    best, found = 0.0, None
    for end in (end for end in SETTLE_S if end <= shortest):
        for straight in (False, True):
            shape = course(seconds, end, straight=straight)[0]
            for column in (own.free(shape), own.free(shape * data.power)):
                left = column - basis.T @ (basis @ column)
                square = float(left @ left)
                gain = float(left @ rest) ** 2 / square if square > 1e-6 * float(column @ column) else 0.0
                if gain > best:
                    best, found = gain, column
    return found
