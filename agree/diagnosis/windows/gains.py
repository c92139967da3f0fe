"""Columns freed from what each session has of its own, in time that grows with the number of windows only."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.over_sessions import session_shares
from agree.core.thresholds import HALF_WEIGHT_S
from agree.diagnosis.windows.frame import WINDOW_S, Frame


class Gains(NamedTuple):
    """What each session has of its own: a gain beside the mean one, and slow faults that were found in it.

    `bounds` (S + 1,) of the sessions in the windows; `bases`, orthonormal courses of the slow faults, by session;
    `power`, W, free of them (n,); `squares` its sum of squares by session (S,); `along`, of length 1, the one direction
    of all gains that differences between sessions leave (n,); `shares` of the sessions in the mean over them (S,).
    """

    bounds: list[tuple[int, int]]
    bases: tuple[FloatArray, ...]
    power: FloatArray
    squares: FloatArray
    along: FloatArray
    shares: FloatArray

    def free(self, column: FloatArray) -> FloatArray:
        """Part of a column (n,) that differences of the sessions' gains, and slow faults, do not explain.

        With p the power free of slow faults, Q its sum of squares in a session and w the share of the session, let M
        take out of each session its slow faults and its own multiple of p. Differences of gains span all multiples of
        p by session but the direction v, in proportion to p w/Q. What is free of them is M x + v (v'x) (Frisch & Waugh
        1933, Econometrica 1:387; Lovell 1963, JASA 58:993; from memory).
        """
        made = np.empty(column.size)
        for (low, high), basis, square in zip(self.bounds, self.bases, self.squares, strict=True):
            rest = column[low:high]
            if basis.size:
                rest = rest - basis.T @ (basis @ rest)
            p = self.power[low:high]
            made[low:high] = rest if len(self.bounds) == 1 or not square > 0 else rest - p * (p @ rest / square)
        if len(self.bounds) > 1:
            # `along` is free of slow faults, so that the column itself may be projected.
            made += self.along * float(self.along @ column)
        return made

    def of_sessions(self, error: FloatArray) -> FloatArray:
        """Gain of each session that fits an error (n,) best, as a fraction of power, (S,)."""
        return np.array([float(self.power[low:high] @ error[low:high]) / square if square > 0 else 0.0
                         for (low, high), square in zip(self.bounds, self.squares, strict=True)])


def gains(data: Frame) -> Gains:
    """Make ready to free columns."""
    count = len(data.slow)
    edges = np.searchsorted(data.session, np.arange(count + 1))
    bounds = list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))
    bases = tuple(_orthonormal(np.vstack(rows)) for rows in zip(data.courses, data.misfits, strict=True))
    power = data.power.copy()
    for (low, high), basis in zip(bounds, bases, strict=True):
        if basis.size:
            power[low:high] -= basis.T @ (basis @ power[low:high])
    squares = np.array([float(power[low:high] @ power[low:high]) for low, high in bounds])
    shares = session_shares(np.diff(edges).astype(float), HALF_WEIGHT_S / WINDOW_S)
    along = power * np.repeat(np.divide(shares, squares, out=np.zeros(count), where=squares > 0), np.diff(edges))
    length = float(np.sqrt(along @ along))
    return Gains(bounds, bases, power, squares, along / length if length > 0 else along, shares)


def _orthonormal(rows: FloatArray) -> FloatArray:
    """Orthonormal rows that span the same; those that add nothing are left out."""
    if not rows.size:
        return rows
    _, singular, right = np.linalg.svd(rows, full_matrices=False)
    kept: FloatArray = right[singular > 1e-9 * singular.max(initial=0.0)]
    return kept
