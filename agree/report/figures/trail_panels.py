"""Pictures of a trail: the error of each session in its state, and the change from state to state."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.axes import Axes

from agree.report.figures.look import (
    CAPTION,
    INSIDE,
    RULE,
    SOLID,
    allowed,
    axis_name,
    bar,
    frame,
    mark_within,
    round_ticks,
    tick_labels,
    width_in_pt,
    words,
)
from agree.report.story.language.names import short
from agree.trail.states import Change, State
from agree.trail.trail import Trail
from agree.verdict.rule import three_way

ROOM = 0.12           # of the range, above and below what is drawn
WIDEST = 4.0          # of the largest mean error or limit, that the axis shows: intervals may go far beyond
NAME, LETTER = 28, 4.6  # characters of a state's name; width of one, pt
CHANGED = {"changed": "does not hold", "not changed": "holds"}  # marks of the page: diamond, disc; open otherwise


def _reach(values: Sequence[float], floor: float) -> float:
    known = [abs(value) for value in values if math.isfinite(value)]
    return max([floor, *known])


def draw_errors(ax: Axes, trail: Trail) -> None:
    """Error of each session with its own interval, in bands of states, each with its mean and interval."""
    limit = trail.check.claim.percent or math.nan
    own = [item for state in trail.states for item in state.session_bias]
    floor = 1.2 * limit if math.isfinite(limit) else 0.5
    most = WIDEST * _reach([item.value for item in own], floor)
    ends = [x for item in own for x in (item.low, item.high) if math.isfinite(x)]
    low, high = max(min([-floor, *ends]), -most), min(max([floor, *ends]), most)
    room = ROOM * (high - low)
    ax.set_xlim(0.4, len(own) + 0.6)
    ax.set_ylim(low - room, high + 2 * room)
    frame(ax)
    allowed(ax, limit)
    places, labels, number = [], [], 0
    for k, state in enumerate(trail.states):
        first = number + 1
        for item, (label, _, _) in zip(state.session_bias, state.recordings, strict=True):
            number += 1
            bar(ax, number, item, width=1.2)
            answer = three_way(item.value, item.value, limit) if math.isfinite(limit) else ""
            mark_within(ax, item.value, number, answer)
            places.append(float(number))
            labels.append(str(number) if trail.notes else label[:7])
        _state(ax, state, first, number, judged=state.state == trail.judged)
        if k:
            ax.axvline(first - 0.5, color=RULE, linewidth=0.8, **SOLID, zorder=1)
    tick_labels(ax, "x", places, labels)
    axis_name(ax, "x", "session" if not trail.notes else "part of the recording")
    round_ticks(ax, "y", 7)
    axis_name(ax, "y", "mean error, %")


def _state(ax: Axes, state: State, first: int, last: int, *, judged: bool) -> None:
    low, high = ax.get_ylim()
    item = state.bias_percent
    ends = first - 0.42, last + 0.42
    if math.isfinite(item.low) and state.sessions > 1:
        ax.fill_between(ends, max(item.low, low), min(item.high, high), facecolor=INSIDE, alpha=0.16,
                        linewidth=0, zorder=2)
    ax.plot(ends, [item.value, item.value], color=INSIDE, linewidth=2.0, **SOLID, zorder=3)
    left, right = ax.get_xlim()
    room = max(int(width_in_pt(ax) * (last - first + 1) / (right - left) / LETTER), 3)
    words(ax, (first + last) / 2, high, short(state.state, room), weight="bold" if judged else "normal", ha="center",
          va="top")


def draw_changes(ax: Axes, changes: Sequence[Change]) -> None:
    """Change from each state to the next: interval, what was foretold (upright), what counts as none (shaded)."""
    margin = max(item.margin_percent for item in changes)
    values = [x for item in changes for x in (item.change_percent.value, item.expected_percent)]
    ends = [x for item in changes for x in (item.change_percent.low, item.change_percent.high)]
    reach = min(_reach(ends, 1.5 * margin), WIDEST * _reach(values, margin)) * (1 + ROOM)
    ax.set_xlim(-reach, reach)
    ax.set_ylim(len(changes) - 0.4, -0.6)
    frame(ax, left=False)
    allowed(ax, margin, upright=False)
    ax.tick_params(axis="y", labelleft=True)
    tick_labels(ax, "y", list(range(len(changes))), [f"to {short(item.after, NAME)}" for item in changes])
    for k, item in enumerate(changes):
        if math.isfinite(item.change_percent.low):
            bar(ax, k, item.change_percent, upright=False, ends=True)
        mark_within(ax, item.change_percent.value, k, CHANGED.get(item.answer, "not settled"), upright=False)
        if math.isfinite(item.expected_percent) and abs(item.expected_percent) <= reach:
            ax.plot([item.expected_percent] * 2, [k - 0.32, k + 0.32], color=CAPTION, linewidth=2.2, **SOLID, zorder=3)
    round_ticks(ax, "x", 7)
    axis_name(ax, "x", "change of the mean error, points")
