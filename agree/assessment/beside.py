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
from agree.core.thresholds import HALF_WEIGHT_S
from agree.estimators.limits.agreement import LimitsOfAgreement, limits_of_agreement
from agree.estimators.lines.line import Line
from agree.estimators.lines.passing_bablok import passing_bablok_line
from agree.estimators.ratios import ratio_of_sums
from agree.verdict.columns import Table

if TYPE_CHECKING:
    from agree.assessment.claim_check import ClaimCheck
    from agree.estimators.response.difference import Response
    from agree.estimators.response.efforts import BestEfforts

LOWEST_PERCENT_W = 20.0  # window means below this make per-cent errors of single windows meaningless


def robust_and_limits(data: Table, window_s: int, level: float) -> tuple[LimitsOfAgreement | None, Line | None]:
    """Per-cent limits of agreement of window means, and Passing-Bablok's line; None where there are too few."""
    every, steady = data.windows(window_s), data.line_windows(window_s)
    strong = every.reference >= LOWEST_PERCENT_W
    limits: LimitsOfAgreement | None = None
    line: Line | None = None
    try:
        limits = limits_of_agreement(
            every.reference[strong], every.device[strong], scale="percent", level=level, sampling=data.sampling,
            session=every.session[strong])
        x, y, labels = checks.columns(steady.reference, steady.device, sampling=data.sampling, session=steady.session)
        line = passing_bablok_line(x, y, labels, level=level, sampling=data.sampling,
                                   half_weight_n=HALF_WEIGHT_S / window_s)
    except InputError:  # too few windows or a power that does not vary: said in the report as absent
        pass
    return limits, line


def with_faults(data: Table, level: float) -> Estimate:
    """Mean error over every second that has both readings, faulty ones included."""
    columns: list[list[Any]] = [[], [], []]
    for k, item in enumerate(data.pairs):
        x, y = item.matched_reference, item.matched_device
        both = np.isfinite(x) & np.isfinite(y)
        for column, values in zip(columns, (x, y, np.full(both.size, k)), strict=True):
            column.append(values[both])
    reference, device, session = (np.concatenate(column) for column in columns)
    value, phi = ratio_of_sums(device - reference, reference)
    return estimate(value, phi, level=level, sampling=data.sampling, session=session).scaled(100)


def with_seconds(check: ClaimCheck) -> ClaimCheck:
    """Return the check with difference in response and best efforts of each session, None where data do not suffice."""
    return replace(check, response=tuple(_response(item, check.level) for item in check.pairs),
                   efforts=tuple(_efforts(item, check.level) for item in check.pairs))


def _response(pairs: Pairs, level: float) -> Response | None:
    from agree.estimators.response.difference import response_difference

    try:
        return response_difference(pairs, level=level)
    except InputError:  # too short, or a power that does not vary
        return None


def _efforts(pairs: Pairs, level: float) -> BestEfforts | None:
    from agree.estimators.response.efforts import best_efforts

    try:
        return best_efforts(pairs, level=level)
    except InputError:
        return None
