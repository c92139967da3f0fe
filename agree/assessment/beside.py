"""What is shown beside a verdict: limits, a robust line, faulty seconds, response and best efforts."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from agree.core import checks
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.thresholds import HALF_WEIGHT_S
from agree.estimators.limits.agreement import LimitsOfAgreement, limits_over
from agree.estimators.lines.line import Line
from agree.estimators.lines.passing_bablok import passing_bablok_line
from agree.estimators.ratios import ratio_of_sums
from agree.verdict.claim import Claim
from agree.verdict.columns import Table, moving_mean
from agree.verdict.meanings import average
from agree.verdict.reference import ReferenceUncertainty

if TYPE_CHECKING:
    from agree.assessment.claim_check import ClaimCheck
    from agree.estimators.response.bests.effort import BestEfforts
    from agree.estimators.response.difference import Response

LOWEST_PERCENT_W = 20.0  # window means below this make per-cent errors of single windows meaningless


def robust_and_limits(data: Table, window_s: int, level: float) -> tuple[LimitsOfAgreement | None, Line | None]:
    """Per-cent limits of agreement of window means, and Passing-Bablok's line; None where there are too few."""
    every, steady = data.windows(window_s), data.line_windows(window_s)
    strong = every.reference >= LOWEST_PERCENT_W
    limits: LimitsOfAgreement | None = None
    line: Line | None = None
    try:
        x, y, labels = checks.columns(every.reference[strong], every.device[strong], sampling=data.sampling,
                                      session=every.session[strong])
        limits = limits_over(x, y, labels, scale="percent", level=level, sampling=data.sampling,
                             half_weight_n=HALF_WEIGHT_S / window_s)
        x, y, labels = checks.columns(steady.reference, steady.device, sampling=data.sampling, session=steady.session)
        line = passing_bablok_line(x, y, labels, level=level, sampling=data.sampling,
                                   half_weight_n=HALF_WEIGHT_S / window_s)
    except InputError:  # too few windows or a power that does not vary: said in the report as absent
        pass
    return limits, line


def counted_in(data: Table, window_s: int = 30) -> Table:
    """Every second that has both readings, faulty ones included."""
    columns: list[list[Any]] = [[], [], [], [], []]
    for k, item in enumerate(data.pairs):
        x, y = item.matched_reference, item.matched_device
        both = np.isfinite(x) & np.isfinite(y)
        time = item.time[both]
        for column, values in zip(columns, (x[both], y[both], moving_mean(time, x[both], window_s), time,
                                            np.full(time.size, k)), strict=True):
            column.append(values)
    # Each column's pieces are let go as soon as they are joined.
    reference, device, power, time, session = (np.concatenate(columns.pop(0)) for _ in range(5))
    return replace(data, reference=reference, device=device, level=power, time=time, session=session)


def with_faults(data: Table, level: float) -> Estimate:
    """Mean error over every second that has both readings, faulty ones included; with the weights of `mean_error`."""
    columns = [(item.matched_reference, item.matched_device) for item in data.pairs]
    known = [np.isfinite(x) & np.isfinite(y) for x, y in columns]  # no more columns than needed: they are long
    reference = np.concatenate([x[both] for (x, _), both in zip(columns, known, strict=True)])
    error = np.concatenate([(y - x)[both] for (x, y), both in zip(columns, known, strict=True)])
    session = np.repeat(np.arange(len(known)), [int(both.sum()) for both in known])
    value, phi = ratio_of_sums(error, reference, session if data.sessions > 1 else None)
    return estimate(value, phi, level=level, sampling=data.sampling, session=session, cautious=True,
                    half_weight_n=HALF_WEIGHT_S, fixed=reference).scaled(100)


def verdict_with_faults(data: Table, claim: Claim, reference_u: ReferenceUncertainty, rule: str, level: float,
                        without: str) -> tuple[Note, ...]:
    """Verdict on the mean error with the faulty seconds counted in, where it is another than without them.

    The note holds both verdicts, and the mean error with them in the claim's unit with the interval that decides.
    """
    if not any(fault.handling == "set aside" for item in data.pairs for fault in item.faults):
        return ()
    made = average(counted_in(data), claim, reference_u, level, rule)
    if made.verdict == without or made.estimate is None:
        return ()
    size = made.estimate
    return (Note(kind="verdict_with_faults", values={
        "verdict": made.verdict, "without": without, "error": size.value, "low": size.low, "high": size.high,
        "unit": claim.unit}),)


def with_seconds(check: ClaimCheck) -> ClaimCheck:
    """Return the check with difference in response and best efforts of each session, None where data do not suffice."""
    return replace(check, response=tuple(_response(item, check.level) for item in check.pairs),
                   efforts=tuple(_efforts(item, check.level) for item in check.pairs))


def _response(pairs: Pairs, level: float) -> Response | None:
    from agree.estimators.response.as_matched import as_matched
    from agree.estimators.response.difference import response_difference

    try:
        return as_matched(response_difference(pairs, level=level), pairs)
    except InputError:  # too short, or a power that does not vary
        return None


def _efforts(pairs: Pairs, level: float) -> BestEfforts | None:
    from agree.estimators.response.efforts import best_efforts

    try:
        return best_efforts(pairs, level=level)
    except InputError:
        return None
