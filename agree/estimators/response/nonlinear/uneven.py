"""A lag with one time constant upwards and another one downwards."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.estimators.response.kernels import LEFT_OVER, Kernel

PIECE_S = 128       # seconds that are worked out at once with those of all other pieces
FORGOTTEN = 1e-5    # share of what was before a piece that may be left of it


class Uneven(NamedTuple):
    """Value at t: y + (x - y) (1 - exp(-1/c)), y the value before and x the reading at t - `delay_s`.

    c is `up_s` where x is above y, else `down_s`.
    """

    up_s: float
    down_s: float
    delay_s: float

    @property
    def start(self) -> int:
        """First second, after a reading, that holds some of it."""
        return math.floor(self.delay_s)

    @property
    def weights(self) -> FloatArray:
        """Weights of the even lag that delays energy by as much as is usual of this one."""
        # A swing up and down of equal size is followed at both speeds in turn.
        keep = math.exp(-1 / math.sqrt(self.up_s * self.down_s))
        longest = math.exp(-1 / max(self.up_s, self.down_s))
        row = keep ** np.arange(math.ceil(math.log(LEFT_OVER) / math.log(longest)))
        part = self.delay_s - self.start
        whole: FloatArray = np.convolve(row / row.sum(), [1 - part, part] if part else [1.0])
        return whole

    def through(self, values: FloatArray) -> FloatArray:
        """A trace without gaps, answered; the first and the last reading stand for those beyond the ends."""
        late = moved_by(values, self.delay_s)
        if not late.size:
            return late
        before = math.ceil(-math.log(FORGOTTEN) * max(self.up_s, self.down_s))
        count = -(-late.size // PIECE_S)
        padded = np.pad(late, (before, count * PIECE_S - late.size), mode="edge")
        rows = padded[np.arange(before + PIECE_S)[:, None] + PIECE_S * np.arange(count)]
        return self.along(rows)[before:].T.ravel()[:late.size]

    def along(self, rows: FloatArray) -> FloatArray:
        """Columns of readings, already late, each answered from a rest at its first one, (seconds, columns)."""
        up, down = (-math.expm1(-1 / size) for size in (self.up_s, self.down_s))
        larger = np.maximum if up > down else np.minimum  # of the two steps, that of the side the reading is on
        made = np.empty_like(rows)
        made[0] = now = rows[0]
        far, other = np.empty_like(now), np.empty_like(now)
        for k in range(1, rows.shape[0]):  # some hundred times in each of a thousand fits: nothing is made anew
            np.subtract(rows[k], now, out=far)
            np.multiply(far, down, out=other)
            np.multiply(far, up, out=far)
            larger(far, other, out=far)
            now = np.add(now, far, out=made[k])
        return made


def moved_by(values: FloatArray, delay_s: float) -> FloatArray:
    """A trace without gaps, later by a delay (s), which need not be whole; its ends are kept."""
    at = np.arange(values.size)
    whole = math.floor(delay_s)
    part = delay_s - whole
    near, far = (values[np.clip(at - whole - more, 0, max(values.size - 1, 0))] for more in (0, 1))
    return (1 - part) * near + part * far if part else near


def even(delay_s: float, size: float) -> Kernel:
    """Weights of a lag that is the same both ways."""
    made = Uneven(size, size, delay_s)
    return Kernel(made.start, made.weights)
