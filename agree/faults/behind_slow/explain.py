"""Faults of a sharp trace that a slow one bears out, and the trace with what it should have read in their place."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import CLAIM_LEAST_S, GROSS_ZEROS, SLOW_JUMP_S, SLOW_REACH_S, WORKING_W
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter
from agree.faults.behind_slow.candidates import Maybe, maybe_faulty
from agree.faults.behind_slow.joint import Choice, Chosen, in_doubt, most_likely
from agree.faults.behind_slow.refuted import without_refuted
from agree.faults.view import Mask, moved, usual_ratio

KINDS = ("dropout", "spike", "partial")  # those that are weighed so


class Explained(NamedTuple):
    """Which trace is the sharp one, that trace with its faults put right, and the faults.

    What is less likely a fault than not is put right in part. `left` is what is left of the slow trace (a deviance, for
    each second that tells: beside a longer filter there are fewer), and `unsure` by which shares its ratio to the sharp
    one may be lower and higher, as other faults are as likely.
    """

    role: str
    trace: FloatArray
    faults: tuple[Chosen, ...]
    left: float
    unsure: tuple[float, float]

    @property
    def changed(self) -> Mask:
        """Seconds that were put right."""
        found = np.zeros(self.trace.size, bool)
        for one in self.faults:
            found[one.run.start:one.run.stop] = True
        return found


def slow(made: Filter) -> bool:
    """Whether the filter is so long that a second of the sharper trace hardly shows in the other one."""
    return isinstance(made.kernel, Kernel) and made.reach[1] - made.reach[0] >= SLOW_REACH_S


def kind_of(run: Maybe) -> str:
    """Kind of fault of a run: one of 1 or 2 s is partial too."""
    return "partial" if run.kind == "short" else run.kind


def explain(reference: FloatArray, device: FloatArray, made: Filter, kinds: Collection[str], *,
            doubted: bool = False) -> Explained | None:
    """Faults of the sharper trace that the slow one bears out; None if neither is slow.

    Parameters
    ----------
    reference, device : (n,) array, W
        Readings as recorded, NaN where unknown.
    made : Filter
        The filter between the two.
    kinds : collection of str
        Kinds to look for.
    doubted : bool
        Whether `unsure` is to tell all ratios that are about as likely, and not only those that were met with.
    """
    if not slow(made) or not isinstance(made.kernel, Kernel):
        return None
    role = "device" if made.smoother == "reference" else "reference"
    sharp, smooth = (device, reference) if role == "device" else (reference, device)
    smooth = np.where(jumps(smooth), np.nan, smooth)
    late = moved(smooth, -round(made.mean_delay))
    both = (sharp > WORKING_W) & (late > WORKING_W)
    usual = np.nan_to_num(late) / usual_ratio(late[both] / sharp[both])
    some = without_refuted([one for one in maybe_faulty(sharp, usual) if kind_of(one) in kinds], sharp, smooth,
                           made.kernel)
    found = most_likely(sharp, smooth, made.kernel, some)
    if doubted and sum(one.stop - one.start for one in some) > GROSS_ZEROS * (sharp > WORKING_W).sum():
        found = in_doubt(sharp, smooth, made.kernel, some, found)
    runs = _worth(found.runs, sharp)
    trace = sharp.copy()
    for one in runs:
        trace[one.run.start:one.run.stop] += one.sure * one.size * one.run.adds
    return Explained(role, np.maximum(trace, 0.0), tuple(one for one in runs if one.faulty),
                     found.left / max(found.seconds, 1), _unsure(found, runs, sharp))


def _worth(runs: tuple[Chosen, ...], sharp: FloatArray) -> list[Chosen]:
    """Faults without dropouts that are next to nothing, nor single partial seconds unless these are strewn."""
    work = sharp > WORKING_W
    least = CLAIM_LEAST_S * float(np.median(sharp[work])) if work.any() else 0.0
    brief = sum(one.run.stop - one.run.start for one in runs if one.run.kind == "short" and one.faulty)
    return [one for one in runs if (one.run.kind != "short" or brief > GROSS_ZEROS * work.sum()) and (
        one.run.kind != "dropout" or float(one.run.adds.sum()) * one.size >= least)]


def _unsure(found: Choice, runs: list[Chosen], sharp: FloatArray) -> tuple[float, float]:
    """By which shares the ratio may be another one, where faults are common and others are as likely."""
    seconds = max(found.most, sum(one.run.stop - one.run.start for one in runs if one.faulty))
    if not found.unsure or seconds <= GROSS_ZEROS * (sharp > WORKING_W).sum():
        return 0.0, 0.0
    return found.lowest / found.ratio - 1, found.highest / found.ratio - 1


def jumps(smooth: FloatArray) -> Mask:
    """Seconds of a slow trace between two jumps, which no rider makes in it: they are its own faults."""
    found = np.zeros(smooth.size, bool)
    for one in maybe_faulty(smooth, np.nan_to_num(smooth), SLOW_JUMP_S):
        found[one.start:one.stop] = True
    return found
