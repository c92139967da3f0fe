"""Pictures of a climb: the device's error beside what the climb can show, and what its power is spent on."""

from __future__ import annotations

import math

from matplotlib.axes import Axes

from agree.core.interval.estimate import Estimate
from agree.physics.climb_check import ClimbCheck
from agree.report.figures.look import (
    CAPTION,
    INK,
    INSIDE,
    OUTSIDE,
    allowed,
    axis_name,
    bar,
    frame,
    mark_within,
    round_ticks,
    tick_labels,
    words,
)

WIDEST = 3.0  # of the largest error or limit, that the axis shows
PARTS = {"lift": "lifting", "rolling": "rolling", "air": "air", "bearings": "bearings", "drivetrain": "drivetrain"}


def draw_error_and_limit(ax: Axes, check: ClimbCheck) -> None:
    """The device's error with its interval, and that of a device without error: what the climb can show at best."""
    limit = math.nan if check.claim is None else float(check.claim.percent or math.nan)
    known = check.smallest_percent
    best = Estimate(value=0.0, low=-known, high=known, level=check.power_W.level, method=check.power_W.method)
    rows = [("without error", best, "")]
    if check.error_percent is not None:
        rows.insert(0, ("this device", check.error_percent, check.verdict))
    ends = [abs(x) for _, item, _ in rows for x in (item.low, item.high) if math.isfinite(x)]
    most = max(abs(item.value) for _, item, _ in rows)
    reach = 1.15 * min(max([*ends, 1.2 * limit if math.isfinite(limit) else 0.0]), WIDEST * max(most, known, 1.0))
    ax.set_xlim(-reach, reach)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    frame(ax, left=False)
    allowed(ax, limit, upright=False)
    for k, (name, item, verdict) in enumerate(rows):
        bar(ax, k, item, upright=False, ends=True, color=INK if verdict or k == 0 else CAPTION)
        mark_within(ax, item.value, k, verdict, upright=False)
        words(ax, -reach, k - 0.3, f"{name}", color=CAPTION, va="center")
    round_ticks(ax, "x", 7)
    axis_name(ax, "x", "error, %")


def draw_parts(ax: Axes, check: ClimbCheck) -> None:
    """What the power of the climb, or of the steeper of two, is spent on, W."""
    parts = check.climbs[-1].parts()
    low, high = min(0.0, *parts.values()), max(parts.values())
    room = 0.18 * (high - low)
    ax.set_xlim(low - (room if low < 0 else 0), high + room)
    ax.set_ylim(len(parts) - 0.4, -0.6)
    frame(ax)
    colours = [OUTSIDE if watts < 0 else INSIDE for watts in parts.values()]
    ax.barh(range(len(parts)), list(parts.values()), height=0.55, color=colours, edgecolor=INK, linewidth=0.4)
    for k, watts in enumerate(parts.values()):
        words(ax, max(watts, 0.0) + 0.02 * (high - low), k, f"{watts:.0f} W", va="center")
    tick_labels(ax, "y", list(range(len(parts))), [PARTS[name] for name in parts])
    round_ticks(ax, "x", 5, sign=False)
    axis_name(ax, "x", "power at the crank, W")
