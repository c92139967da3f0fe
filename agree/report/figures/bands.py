"""Where in the range: readings and power bands against the claim; and over how long an average."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from agree.assessment.claim_check import ClaimCheck
from agree.assessment.single_readings import Readings
from agree.core.checks import FloatArray
from agree.report.drawing.fonts import width_of
from agree.report.figures.look import (
    ALLOWED,
    CAPTION,
    DOTTED,
    INK,
    INSIDE,
    LIMIT,
    OUTSIDE,
    RULE,
    SMALL,
    SOLID,
    axis_name,
    bar,
    colour_of,
    frame,
    held,
    mark,
    mark_within,
    round_ticks,
    tick_labels,
    width_in_pt,
)
from agree.report.figures.marks import Marks
from agree.report.story.rows import band_rows
from agree.verdict.rule import FAILS, HOLDS, OPEN

LOWEST_W = 20.0      # below, the per-cent error of a single reading means nothing
MOST_CLAIMS = 6.0
DOT = 1.9


def dots(ax: Axes, x: FloatArray, y: FloatArray, readings: Readings, which: NDArray[Any],
         marks: Marks | None = None) -> None:
    """Draw single readings, those counted in `which`: small discs inside the claim, small diamonds outside."""
    inside = readings.inside[which]
    many = x.size > 300
    for chosen, shape, color in ((inside > 0, "o", INSIDE), (~(inside > 0), "D", OUTSIDE)):
        ax.plot(x[chosen], y[chosen], linestyle="none", marker=shape, markersize=DOT * (0.8 if many else 1.0),
                color=color, alpha=0.55 if many else 0.85, markeredgewidth=0, zorder=2,
                gid=None if marks is None else marks.add(which[chosen]))


def draw_bands(ax: Axes, check: ClaimCheck, readings: Readings, *, marks: Marks | None = None) -> int:
    """Draw single readings and each band's mean error with the interval that decides; return how many lie beyond."""
    rows = band_rows(check)
    strong = readings.reference >= LOWEST_W
    x, error = readings.reference[strong], readings.percent[strong]
    limits = [row.limit_percent for row in rows if math.isfinite(row.limit_percent)]
    edge = max(limits, default=1.0)
    ends = [v for row in rows for v in (row.estimate.low, row.estimate.high) if abs(v) <= MOST_CLAIMS * edge]
    ends += [held(row.estimate.value, -MOST_CLAIMS * edge, MOST_CLAIMS * edge) for row in rows]
    if error.size:
        ends += [float(v) for v in np.percentile(error, (1, 99))]
    low, high = min([-1.2 * edge, *ends]), max([1.2 * edge, *ends])
    room = 0.05 * (high - low)
    first = min([row.low for row in rows], default=float(x.min()) if x.size else 0.0)
    last = max([row.high for row in rows], default=float(x.max()) if x.size else 1.0)
    ax.set_ylim(low - room, high + room)
    ax.set_xlim(first, last)
    _claim(ax, check, first, last)
    beyond = (error < low - room) | (error > high + room) | (x < first) | (x > last)
    dots(ax, x[~beyond], error[~beyond], readings, np.flatnonzero(strong)[~beyond], marks)
    for row in rows:
        color, judged = colour_of(row.verdict), row.verdict in (HOLDS, FAILS, OPEN)
        middle = (row.low + row.high) / 2
        at = held(row.estimate.value, *ax.get_ylim())
        ax.plot([row.low, row.high], [at, at], color=color if judged else RULE, linewidth=1.1, **SOLID, zorder=3)
        if judged:
            bar(ax, middle, row.estimate, color=color, width=1.8)
            mark_within(ax, row.estimate.value, middle, row.verdict)
    frame(ax)
    if rows:
        _edges(ax, sorted({edge for row in rows for edge in (row.low, row.high)}))
    else:
        round_ticks(ax, "x", 6, sign=False)
    round_ticks(ax, "y", 6)
    axis_name(ax, "y", "error, %")
    axis_name(ax, "x", "power of the reference, W")
    return int(beyond.sum())


def _claim(ax: Axes, check: ClaimCheck, first: float, last: float) -> None:
    levels = np.linspace(max(first, 1.0), max(last, first + 1.0), 240)
    share = 100 * check.claim.limit_w(levels) / levels
    share = np.where(levels >= (check.claim.above_watts or 0.0), share, np.nan)
    low, high = ax.get_ylim()
    ax.fill_between(levels, np.maximum(-share, low), np.minimum(share, high), facecolor=ALLOWED, edgecolor="none",
                    linewidth=0, zorder=0)
    for sign in (-1, 1):
        edge = np.where((sign * share > low) & (sign * share < high), sign * share, np.nan)
        ax.plot(levels, edge, color=LIMIT, linewidth=0.9, **SOLID, zorder=1)
    ax.axhline(0, color=CAPTION, linewidth=0.6, **DOTTED, zorder=1)


def _edges(ax: Axes, edges: list[float]) -> None:
    """Put ticks at the edges of the bands, leaving out those that would touch."""
    scale = width_in_pt(ax) / max(edges[-1] - edges[0], 1e-9)
    kept: list[float] = []
    for edge in [edges[0], edges[-1], *edges[1:-1]]:
        half = width_of(f"{edge:g}", SMALL) / 2 + 2.5
        if all(abs(edge - other) * scale >= half + width_of(f"{other:g}", SMALL) / 2 + 2.5 for other in kept):
            kept.append(edge)
    tick_labels(ax, "x", sorted(kept), [f"{edge:g}" for edge in sorted(kept)])


def draw_averaging(ax: Axes, check: ClaimCheck) -> None:
    """Draw the share of readings inside the claim against the time they are averaged over."""
    reading = next(item for item in check.readings if item.meaning == "readings")
    shares = [row for row in reading.details.get("shares", []) if row["share"] is not None]
    needed = 100 * reading.limit
    widths = [float(row["window_s"]) for row in shares] or [1.0, 300.0]
    ax.set_xlim(math.log10(min(widths)) - 0.12, math.log10(max(widths)) + 0.12)
    ax.set_ylim(-3, 103)
    ax.axhspan(needed, 100, facecolor=ALLOWED, edgecolor="none", linewidth=0, zorder=0)
    ax.axhline(needed, color=LIMIT, linewidth=0.9, **SOLID, zorder=1)
    ax.axvline(math.log10(check.window_s), color=INK, linewidth=0.7, **SOLID, zorder=1)
    values = [100 * row["share"]["value"] for row in shares]
    ax.plot([math.log10(w) for w in widths[:len(values)]], values, color=RULE, linewidth=0.7, **SOLID, zorder=2)
    for width, row in zip(widths, shares, strict=False):
        item = row["share"]
        verdict = HOLDS if item["low"] >= reading.limit else FAILS if item["high"] < reading.limit else OPEN
        at = math.log10(width)
        ax.plot([at, at], [100 * item["low"], 100 * item["high"]], color=colour_of(verdict), linewidth=1.6,
                **SOLID, solid_capstyle="butt", zorder=3)
        mark(ax, at, 100 * item["value"], verdict, 4.6)
    frame(ax)
    _widths(ax, widths)
    tick_labels(ax, "y", [0, 25, 50, 75, needed], ["0", "25", "50", "75", f"{needed:g}"])
    axis_name(ax, "x", "averaged over, s")
    axis_name(ax, "y", "inside, %")


def _widths(ax: Axes, widths: list[float]) -> None:
    low, high = ax.get_xlim()
    scale = width_in_pt(ax) / (high - low)
    kept: list[float] = []
    for width in sorted(widths, key=lambda w: (w not in (1, 10, 30, 300), w)):
        half = width_of(f"{width:g}", SMALL) / 2 + 2
        if all(abs(math.log10(width / other)) * scale >= half + width_of(f"{other:g}", SMALL) / 2 + 2
               for other in kept):
            kept.append(width)
    tick_labels(ax, "x", [math.log10(w) for w in sorted(kept)], [f"{w:g}" for w in sorted(kept)])
