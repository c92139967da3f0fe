"""Pictures of several devices: how each two differ, each one's own error, and their readings session by session."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from matplotlib.axes import Axes

from agree.core.interval.estimate import Estimate
from agree.devices.compare import DeviceComparison
from agree.devices.means import Difference
from agree.report.figures.look import (
    CAPTION,
    DOTTED,
    INK,
    INSIDE,
    OUTSIDE,
    RULE,
    SOLID,
    axis_name,
    bar,
    frame,
    mark_within,
    round_ticks,
    tick_labels,
    words,
)
from agree.report.story.language.names import short
from agree.trail.device_sessions import DeviceSessions

LEAST_REACH = 0.5  # per cent, of the axis of differences
LEAST_SD = 1.0     # per cent, of the axis of own errors
WIDEST = 4.0       # of the largest value, that an axis shows of its interval
NAME, ONE_OF_TWO = 24, 16  # characters of a name
APART = 0.12       # sessions, by which devices stand apart
LINES = (INSIDE, OUTSIDE, CAPTION, INK)


def _reach(items: Sequence[Estimate], floor: float) -> float:
    values = [abs(item.value) for item in items if math.isfinite(item.value)]
    ends = [abs(x) for item in items for x in (item.low, item.high) if math.isfinite(x)]
    return 1.1 * max(floor, *values, min(max([0.0, *ends]), WIDEST * max([floor, *values])))


def draw_differences(ax: Axes, differences: Sequence[Difference]) -> None:
    """How each device reads against each other, per cent: a diamond where they differ, all comparisons at once."""
    items = [item.percent for item in differences]
    reach = _reach(items, LEAST_REACH)
    ax.set_xlim(-reach, reach)
    ax.set_ylim(len(items) - 0.4, -0.6)
    frame(ax, left=False)
    ax.axvline(0, color=CAPTION, linewidth=0.6, **DOTTED, zorder=1)
    for k, item in enumerate(differences):
        bar(ax, k, item.percent, upright=False, ends=True)
        mark_within(ax, item.percent.value, k, "does not hold" if item.differs else "holds", upright=False)
    _names(ax, [f"{short(item.second, ONE_OF_TWO)} against {short(item.first, ONE_OF_TWO)}" for item in differences])
    round_ticks(ax, "x", 7)
    axis_name(ax, "x", "what the one named first reads more than the other, %")


def _names(ax: Axes, names: Sequence[str]) -> None:
    ax.tick_params(axis="y", labelleft=True)
    tick_labels(ax, "y", list(range(len(names))), names)


def _draw_sds(ax: Axes, named: Sequence[tuple[str, Estimate | None]], axis: str) -> None:
    ax.set_xlim(0, _reach([item for _, item in named if item is not None], LEAST_SD))
    ax.set_ylim(len(named) - 0.4, -0.6)
    frame(ax, left=False)
    for k, (_, item) in enumerate(named):
        if item is not None:
            bar(ax, k, item, upright=False, ends=True)
            mark_within(ax, item.value, k, "holds", upright=False)
    _names(ax, [short(name, NAME) for name, _ in named])
    round_ticks(ax, "x", 7, sign=False)
    axis_name(ax, "x", axis)


def draw_own_errors(ax: Axes, result: DeviceComparison) -> None:
    """SD of each device's own error of a window's mean, per cent."""
    _draw_sds(ax, [(item.name, item.error_sd) for item in result.devices], "own error of a window's mean, SD, %")


def draw_session_sds(ax: Axes, result: DeviceSessions) -> None:
    """SD of each device's own error from session to session, per cent."""
    _draw_sds(ax, [(item.name, item.session_sd) for item in result.devices],
              "own error from session to session, SD, %")


def _percent(factor: Estimate) -> Estimate:
    """What a device reads against the first, per cent, from the factor that lines it up."""
    value, low, high = (100 * (1 / x - 1) if x > 0 else math.inf for x in (factor.value, factor.high, factor.low))
    return replace(factor, value=value, low=low, high=high)


def draw_by_session(ax: Axes, result: DeviceSessions) -> None:
    """Reading of each device against the first, session by session, in bands of states."""
    others = range(1, len(result.devices))
    found = {k: [_percent(item.devices[k].factor) for item in result.sessions] for k in others}
    count = len(result.sessions)
    every = [item for items in found.values() for item in items]
    values = [item.value for item in every]
    reach = _reach(every, LEAST_REACH)
    low, high = max(min([0.0, *(item.low for item in every)]), -reach), min(
        max([0.0, *(item.high for item in every)]), reach)
    low, high = min(low, *values), max(high, *values)
    room = 0.16 * (high - low)
    ax.set_xlim(0.4, count + 1.6)
    ax.set_ylim(low - room, high + room)
    frame(ax)
    ax.axhline(0, color=CAPTION, linewidth=0.6, **DOTTED, zorder=1)
    _states(ax, result, high + room)
    ends = sorted(others, key=lambda k: found[k][-1].value)
    lowest = low - room
    for k in ends:
        at = [n + 1 + APART * (k - (len(result.devices)) / 2) for n in range(count)]
        colour = LINES[(k - 1) % len(LINES)]
        ax.plot(at, [item.value for item in found[k]], color=colour, linewidth=0.9, **SOLID, zorder=2)
        for x, item in zip(at, found[k], strict=True):
            bar(ax, x, item, width=1.0, color=colour)
            ax.plot([x], [item.value], marker="o", markersize=3.5, color=colour, linestyle="none", zorder=5)
        place = max(found[k][-1].value, lowest + 0.055 * (high - low + 2 * room))
        lowest = place
        words(ax, count + 1.6, place, short(result.devices[k].name, NAME - 8), color=colour, va="center", ha="right")
    tick_labels(ax, "x", list(range(1, count + 1)), [str(n) for n in range(1, count + 1)])
    round_ticks(ax, "y", 7)
    axis_name(ax, "x", "session")
    axis_name(ax, "y", "against the first, %")


def _states(ax: Axes, result: DeviceSessions, top: float) -> None:
    """Names of the states above, and uprights between them."""
    starts = [0, *(k for k in range(1, len(result.states)) if result.states[k] != result.states[k - 1]),
              len(result.states)]
    if len(starts) == 2:
        return
    for first, last in pairwise(starts):
        if first:
            ax.axvline(first + 0.5, color=RULE, linewidth=0.8, **SOLID, zorder=1)
        room = max(int(430 / (len(result.states) + 1.2) / 4.5 * (last - first)), 3)
        words(ax, (first + last + 1) / 2, top, short(result.states[first], room), ha="center", va="top")
