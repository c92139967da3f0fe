"""Panels of a check of trials: errors against level, subjects sorted, share within a limit, typical errors."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes

from agree.report.figures.look import (
    ALLOWED,
    CAPTION,
    INK,
    INSIDE,
    LIMIT,
    OUTSIDE,
    RULE,
    SOLID,
    allowed,
    arrow_head,
    axis_name,
    bar,
    frame,
    round_ticks,
    tick_labels,
    words,
)
from agree.trials.check import TrialsCheck
from agree.trials.curves import share_curve, usual_span

ROOM = 1.08  # of the axis beyond the furthest thing it shows
DASHED: dict[str, Any] = {"linestyle": (0, (5, 2.5)), "marker": "none"}


def _finite(values: list[float]) -> list[float]:
    return [value for value in values if np.isfinite(value)]


def _spread(ax: Axes, values: list[float], limit: float, *, upright: bool) -> None:
    """Set an axis of errors that shows these and the claim."""
    low, high = min([-limit, *_finite(values)]), max([limit, *_finite(values)])
    room = (ROOM - 1) * (high - low)
    (ax.set_ylim if upright else ax.set_xlim)(low - room, high + room)


def errors_against_level(ax: Axes, check: TrialsCheck) -> None:
    """Error of each trial against the level, the claim, limits of agreement and the line's two ends."""
    trials, limit = check.trials, check.scaled.limit
    levels = trials.reference if trials.paired else np.array([])
    error = check.scaled.error if trials.paired else np.array([])
    ends = [] if check.line is None else list(zip(check.line.end_levels, check.line.ends, strict=True))
    drawn = [check.bias, check.lower, check.upper, *(item for _, item in ends)]
    _spread(ax, [*error.tolist(), *(x for item in drawn for x in (item.low, item.high))], limit, upright=True)
    places = _finite([*levels.tolist(), *(float(at) for at, _ in ends)]) or [0.0, 1.0]
    pad = 0.04 * (max(places) - min(places) or 1.0)
    ax.set_xlim(min(places) - pad, max(places) + pad)
    allowed(ax, limit)
    inside = np.abs(error) <= limit
    for chosen, shape, color in ((inside, "o", INSIDE), (~inside, "D", OUTSIDE)):
        ax.plot(levels[chosen], error[chosen], linestyle="none", marker=shape, markersize=2.4, color=color,
                alpha=0.75, markeredgewidth=0, zorder=2)
    for item, style in ((check.bias, SOLID), (check.lower, DASHED), (check.upper, DASHED)):
        ax.axhline(item.value, color=INK, linewidth=0.9, **style, zorder=3)
        bar(ax, max(places) + pad / 2, item, width=1.6)
    for at, item in ends:
        bar(ax, float(at), item, color=CAPTION, width=1.6, ends=True)
    frame(ax)
    for axis in "xy":
        round_ticks(ax, axis, 6, sign=axis == "y")
    axis_name(ax, "x", f"reference, {trials.quantity.computed_in}")
    axis_name(ax, "y", f"error, {check.unit}")


def subjects_sorted(ax: Axes, check: TrialsCheck) -> None:
    """Subjects' mean errors from low to high, and beneath where 95 % of others are foretold."""
    means = np.sort(check.scaled.errors.means)
    low, high = usual_span(check.scaled, check.bias.value, check.mean_of)
    _spread(ax, [*means.tolist(), low, high], check.scaled.limit, upright=False)
    beneath = -max(0.12 * means.size, 1.5)
    ax.set_ylim(1.8 * beneath, means.size)
    allowed(ax, check.scaled.limit, upright=False)
    ax.plot(means, np.arange(means.size), linestyle="none", marker="o", color=INSIDE, markersize=2.6,
            markeredgewidth=0, zorder=3)
    ax.plot([low, high], [beneath, beneath], color=INK, linewidth=1.6, **SOLID, zorder=3)
    ax.plot([check.bias.value], [beneath], marker="s", color=INK, markersize=4, linestyle="none", zorder=4)
    frame(ax, left=False)
    round_ticks(ax, "x", 6)
    ax.set_yticks([])
    axis_name(ax, "x", f"error, {check.unit}")


def share_against_limit(ax: Axes, check: TrialsCheck) -> None:
    """Share of single trials within, counted with its interval and normal, against the limit."""
    curve = share_curve(check.scaled, check.level, check.reference_known)
    ax.set_xlim(float(curve.limit[0]), float(curve.limit[-1]))
    ax.set_ylim(0, 103)
    ax.axhspan(95, 100, facecolor=ALLOWED, edgecolor="none", linewidth=0, zorder=0)
    ax.axhline(95, color=LIMIT, linewidth=0.9, **SOLID, zorder=1)
    ax.axvline(check.scaled.limit, color=INK, linewidth=0.9, **SOLID, zorder=1)
    if curve.counted.size:
        ax.fill_between(curve.limit, 100 * curve.low, 100 * curve.high, facecolor=RULE, alpha=0.35, edgecolor="none",
                        linewidth=0, zorder=2)
        ax.plot(curve.limit, 100 * curve.counted, color=INSIDE, linewidth=1.2, **SOLID, zorder=3)
    ax.plot(curve.limit, 100 * curve.normal, color=CAPTION, linewidth=0.9, **DASHED, zorder=3)
    frame(ax)
    round_ticks(ax, "x", 6, sign=False)
    tick_labels(ax, "y", [0, 25, 50, 75, 95], ["0", "25", "50", "75", "95"])
    axis_name(ax, "x", f"limit, {check.unit}")
    axis_name(ax, "y", "within, %")


def typical_errors(ax: Axes, check: TrialsCheck) -> None:
    """Typical error of both methods with intervals."""
    items = [("reference", check.side_by_side.reference_error), ("device", check.side_by_side.device_error)]
    shown = [(name, item) for name, item in items if item is not None]
    ends = _finite([x for _, item in shown for x in (item.value, item.high)])
    ax.set_xlim(0, ROOM * max(ends, default=1.0))
    ax.set_ylim(max(len(shown), 1), 0)
    for k, (_, item) in enumerate(shown):
        bar(ax, k + 0.5, item, upright=False, width=1.8, ends=True)
        if np.isfinite(item.value):
            ax.plot([item.value], [k + 0.5], marker="o", color=INK, markersize=4.5, linestyle="none", zorder=5)
        else:
            arrow_head(ax, ax.get_xlim()[1], k + 0.5, ">", INK, upright=False)
    frame(ax, left=False)
    ax.tick_params(axis="y", labelleft=True, left=False)
    tick_labels(ax, "y", [k + 0.5 for k in range(len(shown))], [name for name, _ in shown])
    round_ticks(ax, "x", 5, sign=False)
    axis_name(ax, "x", f"SD of a trial, {check.trials.quantity.difference_unit}")
    if not shown:
        words(ax, ax.get_xlim()[1] / 2, 0.5, "one trial each: not known", ha="center")
