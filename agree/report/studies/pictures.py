"""Pictures of studies and fleets: cells and differences in rows, units sorted, their spread."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from scipy import special

from agree.core.interval.estimate import Estimate
from agree.report.figures.look import (
    ALLOWED,
    CAPTION,
    DOTTED,
    INK,
    INSIDE,
    OUTSIDE,
    RULE,
    SOLID,
    allowed,
    axis_name,
    bar,
    frame,
    mark_within,
    round_ticks,
    tick_labels,
)
from agree.study.statistics.cells import Cell
from agree.study.statistics.many_units import ManyUnits
from agree.study.statistics.table import Contrast
from agree.verdict.claim import Claim

ROOM = 1.08
MOST_CLAIMS = 8.0  # beyond so many claims an axis is cut, with arrow heads


def limit_of(claim: str, unit: str) -> float:
    """Return the claim's limit in a unit; infinite where it has none."""
    own = Claim.parse(claim)
    if unit == "%":
        return own.percent if own.percent is not None else math.inf
    return own.absolute if own.absolute is not None and own.absolute_unit == unit else math.inf


def half_axis(values: Sequence[float], limit: float) -> float:
    """Half-length of an axis that shows all values, cut at 8 claims."""
    known = [abs(value) for value in values if math.isfinite(value)]
    far = max([*known, limit if math.isfinite(limit) else 0.0, 1e-9])
    return ROOM * (min(far, MOST_CLAIMS * limit) if math.isfinite(limit) else far)


def draw_cells(ax: Axes, cells: Sequence[Cell], limit: float) -> None:
    """Draw a row for each cell: the mean error with its interval, the mark of the answer, and single pairs beneath."""
    half = half_axis([x for item in cells for x in (item.bias.low, item.bias.high, *item.errors)], limit)
    ax.set_xlim(-half, half)
    ax.set_ylim(len(cells) - 0.4, -0.6)
    allowed(ax, limit, upright=False)
    frame(ax, left=False)
    for row, item in enumerate(cells):
        inside = [error for error in item.errors if abs(error) <= half]
        ax.plot(inside, [row + 0.22] * len(inside), marker="o", markersize=2.4, markerfacecolor="none",
                markeredgecolor=CAPTION, markeredgewidth=0.6, linestyle="none", zorder=3)
        bar(ax, row - 0.08, item.bias, upright=False)
        mark_within(ax, item.bias.value, row - 0.08, item.verdict, upright=False)
    round_ticks(ax, "x", 6)
    axis_name(ax, "x", f"mean error, {cells[0].unit} (device − reference)")


def draw_differences(ax: Axes, contrasts: Sequence[Contrast]) -> None:
    """Draw a row for each difference of mean errors with its interval."""
    known = [item.difference for item in contrasts if item.difference is not None]
    half = half_axis([x for item in known for x in (item.low, item.high)], math.inf)
    ax.set_xlim(-half, half)
    ax.set_ylim(len(contrasts) - 0.4, -0.6)
    ax.axvline(0, color=CAPTION, linewidth=0.6, **DOTTED, zorder=1)
    frame(ax, left=False)
    for row, item in enumerate(contrasts):
        if item.difference is not None:
            bar(ax, row, item.difference, upright=False)
            ax.plot([item.difference.value], [row], marker="s", markersize=3.6, color=INK, linestyle="none", zorder=5)
    round_ticks(ax, "x", 6)
    axis_name(ax, "x", f"difference of mean errors, {contrasts[0].unit}")


def sorted_units(fleet: ManyUnits) -> list[int]:
    """Return the units' numbers from the lowest to the highest error."""
    return sorted(range(len(fleet.shrunken)), key=lambda k: fleet.shrunken[k].value)


def draw_units(ax: Axes, fleet: ManyUnits) -> None:
    """Draw all units sorted, each with its interval, in the corridor of the claim; flagged ones in colour."""
    order = sorted_units(fleet)
    half = half_axis([x for item in fleet.shrunken for x in (item.low, item.high)], fleet.limit)
    ax.set_xlim(-1, len(order))
    ax.set_ylim(-half, half)
    allowed(ax, fleet.limit)
    frame(ax)
    for flagged in (False, True):
        places = [place for place, k in enumerate(order) if (k in fleet.flagged) == flagged]
        colour, width = (OUTSIDE, 1.2) if flagged else (INSIDE, max(0.3, min(1.2, 250 / len(order))))
        _intervals(ax, places, [fleet.shrunken[order[place]] for place in places], half, colour, width)
        ax.plot(places, [_held(fleet.shrunken[order[place]].value, half) for place in places], marker="D" if flagged
                else "o", markersize=3.4 if flagged else max(1.0, min(2.6, 500 / len(order))), color=colour,
                markeredgewidth=0, linestyle="none", zorder=5)
    round_ticks(ax, "y", 6)
    tick_labels(ax, "x", [], [])
    axis_name(ax, "y", f"mean error, {fleet.unit}")
    axis_name(ax, "x", f"{len(order)} units, from the lowest to the highest")


def _held(value: float, half: float) -> float:
    return min(max(value, -half), half)


def _intervals(ax: Axes, places: Sequence[int], items: Sequence[Estimate], half: float, colour: str,
               width: float) -> None:
    for place, item in zip(places, items, strict=True):
        ax.plot([place, place], [_held(item.low, half), _held(item.high, half)], color=colour, linewidth=width, **SOLID,
                zorder=4)


def draw_spread(ax: Axes, fleet: ManyUnits) -> None:
    """Draw how many units read so much as measured, and beside it the spread of true errors if they are normal."""
    errors = np.array(fleet.errors)
    half = half_axis(list(errors), fleet.limit)
    ax.set_xlim(-half, half)
    edges = np.linspace(-half, half, 41)
    counts = np.histogram(np.clip(errors, -half, half), edges)[0]
    mean, sd, width = fleet.mean.value, fleet.sd.value, edges[1] - edges[0]
    expected = errors.size * np.diff(special.ndtr((edges - mean) / sd)) if sd > 0 else np.zeros(counts.size)
    top = ROOM * max(1.0, float(np.sqrt(counts.max())), float(np.sqrt(expected.max())))
    ax.set_ylim(0, top)
    allowed(ax, fleet.limit, upright=False)
    frame(ax)
    for left, count in zip(edges[:-1], counts, strict=True):
        if count:
            ax.fill([left, left, left + width, left + width], [0, np.sqrt(count), np.sqrt(count), 0], facecolor=RULE,
                    edgecolor=ALLOWED, linewidth=0.4, zorder=2)
    ax.plot(edges[:-1] + width / 2, np.sqrt(expected), color=INK, linewidth=1.0, **SOLID, zorder=4)
    round_ticks(ax, "x", 6)
    steps = [k for k in (1, 4, 16, 64, 256, 1024) if math.sqrt(k) <= top]
    tick_labels(ax, "y", [math.sqrt(k) for k in steps], [str(k) for k in steps])
    axis_name(ax, "x", f"mean error as measured, {fleet.unit}")
    axis_name(ax, "y", "units (root scale)")
