"""One cell of a study, a device in a condition: mean error, scatter, limits, typical error, answer to the claim."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.thresholds import MOST_LEFT_OUT
from agree.estimators.components import one_way, square_limits
from agree.estimators.trials.unweighted import mean_error, spread_and_limits, subject_errors
from agree.verdict.error_distribution import EXACT, KnownError
from agree.verdict.rule import HOLDS, OPEN, decide, widen

COVERAGE = 0.95


class Reading(NamedTuple):
    """One pair of a study as the table needs it.

    `error`: its mean error in `unit`; `own`: the interval within its recording; `limit`: the claim there, NaN if it has
    none in that unit; `known`: what is known of the reference's error; `overlap_s`, `used_s`: seconds in common, and
    those used;
    `withheld`: whether "holds" was withheld for what is wrong with the recordings.
    """

    device: str
    condition: str
    athlete: str
    effort: str
    quantity: str
    specimen: str
    error: float
    unit: str
    own: Estimate
    limit: float
    known: KnownError
    overlap_s: float
    used_s: float
    withheld: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cell(Result):
    """What one device did in one condition.

    Attributes
    ----------
    device, condition : str
    pairs, groups : int
        Pairs, and athletes or efforts whose means the intervals rest on.
    counted : {"athletes", "sessions", "recording"}
        What these groups are; "recording" where there is one pair, whose interval says nothing of other days.
    bias : Estimate
        Mean error, groups counted alike, the reference's known error included.
    sd : Estimate or None
        SD of a single pair's mean error for a new group.
    lower, upper : Estimate or None
        Limits that hold 95 % of single pairs' mean errors.
    typical : Estimate or None
        SD of a pair's mean error within an athlete; None without repeats.
    errors : tuple of float
        Mean error of each pair.
    unit : str
    verdict : str
        On the mean error; "" where the claim has no limit in this unit.
    """

    device: str
    condition: str
    pairs: int
    groups: int
    counted: str
    bias: Estimate
    sd: Estimate | None
    lower: Estimate | None
    upper: Estimate | None
    typical: Estimate | None
    errors: tuple[float, ...]
    unit: str
    verdict: str


def codes(labels: Sequence[str]) -> NDArray[np.intp]:
    """Return numbers of labels in order of their first appearance."""
    order = {label: k for k, label in enumerate(dict.fromkeys(labels))}
    return np.array([order[label] for label in labels])


def cell_of(readings: Sequence[Reading], level: float, rule: str) -> Cell:
    """Summarise the pairs of one cell.

    Athletes count alike, whatever the number of their sessions; with one athlete or none named, efforts do. Where a
    cell holds several specimens, the variance of their means is added to that of the athletes', with the fewer degrees
    of freedom: both are drawn from many. Where more than a fifth of the pairs had "holds" withheld, so has the cell.
    """
    first = readings[0]
    errors = np.array([item.error for item in readings])
    known = max((item.known for item in readings), key=lambda item: item.u, default=EXACT)
    limit = min(item.limit for item in readings)
    athletes = codes([item.athlete for item in readings])
    named = athletes.max() > 0
    groups = athletes if named else codes([item.effort for item in readings])
    count = int(groups.max()) + 1
    sd = lower = upper = typical = None
    if count > 1:
        parts = subject_errors(errors, groups)
        plain = mean_error(parts, level)
        sd, lower, upper = spread_and_limits(parts, plain, COVERAGE, level)
        bias = _with_specimens(plain, errors, codes([item.specimen for item in readings]), level)
        counted = "athletes" if named else "sessions"
    else:
        bias, counted = replace(first.own, level=level), "recording"
    typical = _typical(errors, athletes, level)
    bias = widen(bias, known)
    verdict = decide(bias, limit, rule)[0] if math.isfinite(limit) else ""
    if verdict == HOLDS and sum(item.withheld for item in readings) > MOST_LEFT_OUT * len(readings):
        verdict = OPEN
    return Cell(device=first.device, condition=first.condition, pairs=len(readings), groups=count, counted=counted,
                bias=bias, sd=sd, lower=lower, upper=upper, typical=typical,
                errors=tuple(errors.tolist()), unit=first.unit, verdict=verdict)


def _with_specimens(plain: Estimate, errors: FloatArray, specimen: NDArray[np.intp], level: float) -> Estimate:
    if specimen.max() == 0:
        return plain
    other = mean_error(subject_errors(errors, specimen), level)
    se, df = math.hypot(plain.standard_error, other.standard_error), min(plain.df, other.df)
    half = t_quantile(level, df) * se
    return Estimate(value=plain.value, low=plain.value - half, high=plain.value + half, level=level, standard_error=se,
                    df=df, method="t, between athletes and specimens")


def _typical(errors: FloatArray, group: NDArray[np.intp], level: float) -> Estimate | None:
    """SD within groups, with chi-square limits."""
    repeats = errors.size - np.unique(group).size
    if repeats < 1:
        return None
    square = one_way(errors, group).within if group.max() > 0 else float(errors.var(ddof=1))
    low, high = square_limits(square, repeats, level)
    return Estimate(value=math.sqrt(square), low=math.sqrt(low), high=math.sqrt(high), level=level, method="chi square",
                    df=float(repeats))
