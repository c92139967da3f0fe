"""The step that would fit window means best: what a drift is compared with; steps themselves are found in faults/."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.diagnosis.windows.frame import Frame
from agree.diagnosis.windows.gains import Gains

STEP_WINDOWS = 10  # least windows on either side


def best_step(data: Frame, own: Gains, base: FloatArray, error: FloatArray) -> FloatArray | None:
    """Column (n,), free of gains and slow faults, of the step in W or in % that explains most; None without a place.

    With e the error free of the base, Z its orthonormal rows, R the sum from a place to the end of its session and a
    the power or 1, a step gains R(ae)^2 / (R(a^2) - R(ap)^2/Q + R(av)^2 - sum R(aZ)^2 - sum R(ab)^2), with p, Q and v
    of `Gains` and b its slow faults: sums from the end give all places at once.
    """
    basis = np.linalg.qr(base.T)[0].T if base.size else base.reshape(0, error.size)
    rest = error - basis.T @ (basis @ error)
    several = len(own.bounds) > 1
    best: tuple[float, int, int, bool] | None = None
    for (low, high), slow, square in zip(own.bounds, own.bases, own.squares, strict=True):
        if high - low < 2 * STEP_WINDOWS:
            continue
        span = slice(low, high)
        places = slice(STEP_WINDOWS, high - low - STEP_WINDOWS + 1)
        for share in (False, True):
            a = data.power[span] if share else np.ones(high - low)
            # Of several sessions the direction of all gains is in the base, or it is as free as any other.
            left = _after(a * a) - sum(_after(a * row) ** 2 for row in [*basis[:, span], *slow])
            if several and square > 0:
                left += _after(a * own.along[span]) ** 2 - _after(a * own.power[span]) ** 2 / square
            whole = _after(a * a)
            gain = np.where(left > 1e-6 * whole, _after(a * rest[span]) ** 2 / np.maximum(left, 1e-300), 0.0)[places]
            if best is None or gain.max() > best[0]:
                best = float(gain.max()), low + STEP_WINDOWS + int(gain.argmax()), high, share
    if best is None or best[0] <= 0:
        return None
    _, place, stop, share = best
    column = np.zeros(error.size)
    column[place:stop] = data.power[place:stop] if share else 1.0
    return own.free(column)


def _after(values: FloatArray) -> FloatArray:
    total: FloatArray = np.cumsum(values[::-1])[::-1]
    return total
