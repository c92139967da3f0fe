"""Zeros that may be a stop which the other recorder did not count: they are evidence against no device.

Where a clock loses seconds at stops, one more stop may lie where power tells no lag, or a stop may be put some seconds
beside its place. Then one trace reads 0 while the other works, as if it had failed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.results.note import Note
from agree.core.thresholds import BESIDE_STEP_S, LEAST_END_S, LEAST_UNTOLD_S, TURNING_RPM
from agree.faults.detect import Found
from agree.pairing.clocks.retime import Change

ZEROS = ("dropout", "late_start", "early_end")


class Cadences(NamedTuple):
    """Cadence in each second of the pairs, 1/min, as each recording has it; None without."""

    reference: FloatArray | None
    device: FloatArray | None

    def turns(self, fault: Found) -> bool:
        """Whether the trace that reads 0 has a cadence there: then it is a fault, and no stop."""
        own = self.device if fault.side == "device" else self.reference
        some = np.zeros(0) if own is None else own[fault.start:fault.stop]
        some = some[np.isfinite(some)]
        return bool(some.size) and float(np.median(some)) >= TURNING_RPM


class _Step(NamedTuple):
    """Seconds of the pairs that one clock lost, and whose clock."""

    start: int
    stop: int
    loser: str

    def may_hold(self, fault: Found) -> bool:
        """Whether zeros may be of this stop: they lie beside it, and are no longer than it may be misplaced."""
        return (fault.start <= self.stop + BESIDE_STEP_S and fault.stop >= self.start - BESIDE_STEP_S
                and fault.stop - fault.start <= self.stop - self.start + BESIDE_STEP_S)


class Untold(NamedTuple):
    """Seconds that may be a stop, and notes on them."""

    seconds: NDArray[np.int64]
    notes: tuple[Note, ...]


def untold_stops(found: Sequence[Found], changes: Sequence[Change], first: int, size: int, cadences: Cadences
                 ) -> Untold:
    """Return the zeros that may be a stop, and what is said of them.

    Parameters
    ----------
    found : sequence of Found
        Faults, in seconds of the pairs.
    changes : sequence of Change
        Steps of the clocks, on the reference's mended grid.
    first, size : int
        Place of the first pair on that grid, and number of pairs.
    cadences : Cadences
        Of both recordings.

    Returns
    -------
    Untold
        Zeros beside a step, since it may be so far beside its place; and those elsewhere of a trace whose other clock
        loses seconds in this ride, if they are no more than its steps.
    """
    steps = [_Step(change.start - abs(change.size) - first, change.start - first,
                   "device" if change.size < 0 else "reference") for change in changes]
    zeros = [fault for fault in found if fault.kind in ZEROS and fault.side != "either"]
    beside = [fault for fault in zeros if any(step.may_hold(fault) for step in steps)]
    notes: list[Note] = []
    for side in ("reference", "device"):
        apart = [fault for fault in zeros if fault.side == side and fault not in beside and not cadences.turns(fault)]
        if not 0 < len(apart) <= sum(step.loser != side for step in steps):  # more would be missed than were found
            continue
        beside += apart
        within = [fault for fault in apart if fault.start > LEAST_END_S and fault.stop < size - LEAST_END_S]
        notes += [_note(side, within)] if within else []  # at an end no lag hangs on it
    return Untold(np.concatenate([np.zeros(0, np.int64), *(np.arange(fault.start, fault.stop) for fault in beside)]),
                  tuple(notes))


def _note(side: str, faults: list[Found]) -> Note:
    """Say of zeros of one trace that they may be stops; a short one beside others is no more than a place in doubt."""
    longest = max(fault.stop - fault.start for fault in faults)
    return Note(kind="pair_stops_untold", severity="answer" if longest >= LEAST_UNTOLD_S else "trust", values={
        "role": side, "loser": "reference" if side == "device" else "device", "times": len(faults),
        "seconds": sum(fault.stop - fault.start for fault in faults), "at_s": float(faults[0].start)})
