"""The four questions against the claim, and sessions against the claim: intervals in rows."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.axes import Axes

from agree.assessment.claim_check import ClaimCheck
from agree.core.interval.estimate import Estimate
from agree.report.figures.look import (
    CAPTION,
    INK,
    SOLID,
    allowed,
    arrow_head,
    axis_name,
    bar,
    colour_of,
    frame,
    mark_within,
    round_ticks,
    tick_labels,
)
from agree.report.story.answer import decisive
from agree.report.story.rows import QuestionRow, SessionRow, question_rows, session_rows

MOST_CLAIMS = 6.0  # beyond so many claims an interval is cut, with an arrow head
ROOM = 1.1


def reach(items: Sequence[tuple[Estimate, float]]) -> float:
    """Half-length of an axis, in claims, that shows all of these, cut at 6 claims."""
    ends = [abs(x / limit) for item, limit in items for x in (item.low, item.high, item.value)
            if math.isfinite(x) and limit > 0]
    return ROOM * min(max([1.15, *ends]), MOST_CLAIMS)


def _ends(items: Sequence[tuple[Estimate, float]]) -> tuple[float, float]:
    """Return the lowest and the highest of claim, intervals and values, in claims."""
    ends = [x / limit for item, limit in items for x in (item.low, item.high, item.value) if math.isfinite(x)]
    return min([-1.15, *ends]), max([1.15, *ends])


def _axis(ax: Axes, check: ClaimCheck, half: tuple[float, float], rows: Sequence[float]) -> None:
    """Axis in the claim's unit where all rows have one limit, else in claims."""
    limits = {round(limit, 9) for limit in rows if math.isfinite(limit)}
    same = len(limits) == 1 and check.claim.unit == "%"
    ax.set_xlim(*half)
    allowed(ax, 1.0, upright=False)
    frame(ax, left=False)
    round_ticks(ax, "x", 6, factor=limits.pop() if same else 1.0)
    axis_name(ax, "x", "error, % (device − reference)" if same else "error in claims (1 = the limit)")


def draw_questions(ax: Axes, check: ClaimCheck) -> None:
    """Draw a row for each question: the interval that decides and its mark; for single readings where 95 % lie."""
    rows = question_rows(check)
    shown = [(row.estimate, row.limit) for row in rows if row.estimate is not None and row.unit != "share"]
    average = rows[0]
    spread = _spread(check, average)
    if spread is not None:
        shown.append((spread, average.limit))
    near = reach(shown)
    low, high = _ends(shown)
    ax.set_ylim(len(rows), 0)
    _axis(ax, check, (max(low, -near) * 1.06, min(high, near) * 1.06), [limit for _, limit in shown])
    for k, row in enumerate(rows):
        if row.unit == "share":
            if spread is not None:
                bar(ax, k + 0.5, spread, upright=False, color=CAPTION, width=0.8, scale=1 / average.limit, ends=True)
        elif row.estimate is not None and row.limit > 0:
            bar(ax, k + 0.5, row.estimate, upright=False, color=colour_of(row.verdict), width=3.0 if row.asked else 1.8,
                scale=1 / row.limit)
            mark_within(ax, row.estimate.value / row.limit, k + 0.5, row.verdict, 5.5, upright=False)


def _spread(check: ClaimCheck, average: QuestionRow) -> Estimate | None:
    """Return where 95 % of single readings lie, as an interval."""
    limits = check.limits
    if limits is None or average.unit != "%" or not average.limit > 0:
        return None
    return Estimate(value=limits.bias.value, low=limits.lower.value, high=limits.upper.value, level=limits.coverage,
                    method="limits of agreement")


def chosen_sessions(check: ClaimCheck, most: int) -> list[SessionRow]:
    """Return all sessions, or those furthest from the mean where there are more than `most`."""
    rows = list(session_rows(check))
    if len(rows) <= most:
        return rows
    average = next(item for item in check.readings if item.meaning == "average").estimate
    centre = average.value if average is not None else 0.0
    far = sorted(rows, key=lambda row: -abs(row.estimate.value - centre) if row.estimate is not None else 0.0)
    kept = {row.number for row in far[:most]}
    return [row for row in rows if row.number in kept]


def draw_sessions(ax: Axes, check: ClaimCheck, rows: Sequence[SessionRow] | None = None) -> None:
    """Draw each session by itself, thin; below, all of them and the next one with the intervals that decide."""
    rows = list(session_rows(check)) if rows is None else rows
    average, following = (next(item for item in check.readings if item.meaning == name)
                          for name in ("average", "next_session"))
    joint = [(item, decisive(item, check.decision_rule)) for item in (average, following)]
    limit = average.limit
    if not limit > 0:
        frame(ax, left=False, bottom=False)
        return
    shown = [(row.estimate, limit) for row in rows if row.estimate is not None]
    shown += [(item, limit) for _, item in joint if item is not None]
    near = reach(shown)
    low = min([-1.15, *(item.low / limit for item, _ in shown if math.isfinite(item.low))])
    high = max([1.15, *(item.high / limit for item, _ in shown if math.isfinite(item.high))])
    ax.set_ylim(len(rows) + 2, 0)
    _axis(ax, check, (max(low, -near) * 1.06, min(high, near) * 1.06), [limit])
    ax.axhline(len(rows), color=CAPTION, linewidth=0.6, **SOLID, zorder=1)
    for k, row in enumerate(rows):
        if row.estimate is not None:
            bar(ax, k + 0.5, row.estimate, upright=False, color=INK, width=0.8, scale=1 / limit)
            _dot(ax, row.estimate.value / limit, k + 0.5)
    for k, (reading, item) in enumerate(joint):
        if item is not None:
            at = len(rows) + k + 0.5
            bar(ax, at, item, upright=False, color=colour_of(reading.verdict), width=3.0 if k == 0 else 1.8,
                scale=1 / limit)
            mark_within(ax, item.value / limit, at, reading.verdict, 5, upright=False)


def _dot(ax: Axes, value: float, at: float) -> None:
    """Put the dot of one session, or an arrow head where it lies beyond the axis."""
    low, high = ax.get_xlim()
    if low <= value <= high:
        ax.plot([value], [at], marker="o", markersize=3.8, color=INK, markeredgecolor=INK, linestyle="none", zorder=5)
    elif not math.isnan(value):
        arrow_head(ax, low if value < low else high, at, "<" if value < low else ">", INK, upright=False)


def named_questions(ax: Axes, check: ClaimCheck) -> None:
    """Name the rows of the questions on the left, where the picture stands alone."""
    rows = question_rows(check)
    tick_labels(ax, "y", [k + 0.5 for k in range(len(rows))], [row.words for row in rows])
    ax.tick_params(axis="y", labelleft=True, left=False)


def named_sessions(ax: Axes, check: ClaimCheck, rows: Sequence[SessionRow]) -> None:
    """Name the rows of sessions on the left, where the picture stands alone."""
    tick_labels(ax, "y", [k + 0.5 for k in range(len(rows) + 2)],
                [*(f"{row.number} {row.date}".strip() for row in rows), f"all {len(check.pairs)}", "the next one"])
    ax.tick_params(axis="y", labelleft=True, left=False)
