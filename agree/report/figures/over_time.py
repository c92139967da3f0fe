"""Over time: the error of single readings in claims, the power above it, and what was not used below."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from agree.assessment.claim_check import ClaimCheck
from agree.assessment.single_readings import Readings
from agree.core.data.fault import NO_FAULT
from agree.core.data.pairs import Pairs
from agree.report.drawing.fonts import width_of
from agree.report.figures.bands import dots
from agree.report.figures.look import (
    INK,
    OUTSIDE,
    RULE,
    SMALL,
    SOLID,
    allowed,
    axis_name,
    frame,
    height_in_pt,
    round_ticks,
    tick_labels,
    width_in_pt,
)
from agree.report.figures.marks import Marks
from agree.report.story.rows import session_rows

LONG_S = 20       # a faulty stretch of so many seconds is hatched
LEAST_FOR_NAME, LEAST_FOR_TWO = 66.0, 24.0  # heights of axes, pt, from which a whole name or two ticks fit
MOST_JOINED = 600      # readings; beyond, lines between them would hide them
LONG_MIN = 300.0       # a session longer than this has its axis in hours
FEW_SESSIONS = 8  # up to so many, dates stand below


def _offsets(pairs: Sequence[Pairs]) -> tuple[list[float], list[float], float]:
    """Return where each session begins and ends on the axis, in minutes, and the end of all."""
    lengths = [max(float(item.time[-1]) / 60, 1e-3) if item.time.size else 1e-3 for item in pairs]
    gap = 0.012 * sum(lengths) if len(lengths) > 1 else 0.0
    starts = [sum(lengths[:k]) + k * gap for k in range(len(lengths))]
    ends = [start + length for start, length in zip(starts, lengths, strict=True)]
    return starts, ends, ends[-1]


def draw_time(ax: Axes, strip: Axes | None, check: ClaimCheck, readings: Readings, *,
              marks: Marks | None = None) -> int:
    """Draw errors in claims on `ax` and the reference's power on `strip`; return how many readings lie beyond."""
    starts, ends, last = _offsets(check.pairs)
    low, high = (float(v) for v in np.percentile(readings.claims, (1, 99))) if readings.claims.size else (-1.0, 1.0)
    low, high = max(min(low, -1.25), -60.0), min(max(high, 1.25), 60.0)
    low -= 0.12 * (high - low)  # room for the marks at the foot
    high += 0.03 * (high - low)
    ax.set_xlim(0, last)
    ax.set_ylim(low, high)
    allowed(ax, 1.0)
    minutes = np.array(starts)[readings.session.astype(int)] + (readings.start + check.window_s / 2) / 60
    beyond = (readings.claims < low) | (readings.claims > high)
    for k, item in enumerate(check.pairs):
        own = readings.session == k
        if readings.claims.size <= MOST_JOINED:
            _line(ax, minutes[own], readings.claims[own], check.window_s)
        if strip is not None:
            _line(strip, minutes[own], readings.reference[own], check.window_s)
        _set_aside(ax, item, starts[k])
    dots(ax, minutes[~beyond], readings.claims[~beyond], readings, np.flatnonzero(~beyond), marks)
    for edge, shape, out in ((high, "^", readings.claims > high), (low, "v", readings.claims < low)):
        ax.plot(minutes[out], np.full(int(out.sum()), edge), linestyle="none", marker=shape, markersize=4,
                color=OUTSIDE, markeredgewidth=0, clip_on=False, zorder=5)
    frame(ax)
    round_ticks(ax, "y", max(min(5, int(height_in_pt(ax) / 14)), 1))
    axis_name(ax, "y", "error in claims" if height_in_pt(ax) > LEAST_FOR_NAME else "claims")
    for one in (ax, *([] if strip is None else [strip])):
        for start, end in zip(starts[1:], ends[:-1], strict=True):
            one.axvspan(end, start, facecolor="white", edgecolor="none", linewidth=0, zorder=6)
            for edge in (end, start):
                one.axvline(edge, color=RULE, linewidth=0.6, **SOLID, zorder=7)
    _name_time(ax, check, starts, ends)
    if strip is not None:
        _strip(strip, readings, last)
    return int(beyond.sum())


def _line(ax: Axes, x: np.ndarray, y: np.ndarray, window_s: int) -> None:
    """Join neighbouring readings; a gap breaks the line."""
    if not x.size:
        return
    breaks = np.flatnonzero(np.diff(x) > 1.5 * window_s / 60) + 1
    ax.plot(np.insert(x, breaks, np.nan), np.insert(y, breaks, np.nan), color=INK, linewidth=0.6, **SOLID, zorder=1.5)


def _set_aside(ax: Axes, item: Pairs, start: float) -> None:
    """Mark faulty seconds at the foot; hatch long stretches over the whole height."""
    low, high = ax.get_ylim()
    height = 0.05 * (high - low)
    for event in item.events():
        if event.reason in NO_FAULT:
            continue
        first, last = (start + s / 60 for s in (event.start_s, event.start_s + event.seconds))
        ax.fill_between([first, max(last, first + 0.002 * ax.get_xlim()[1])], low, low + height, facecolor=INK,
                        edgecolor="none", linewidth=0, zorder=4)
        if event.seconds >= LONG_S:
            _hatch(ax, first, last)


def _hatch(ax: Axes, first: float, last: float) -> None:
    """Draw slanted lines over a stretch."""
    low, high = ax.get_ylim()
    count = 14
    step = (high - low) / count
    for k in range(count):
        ax.plot([first, last], [low + k * step, low + (k + 1) * step], color=RULE, linewidth=0.6, **SOLID,
                zorder=1)


def _name_time(ax: Axes, check: ClaimCheck, starts: Sequence[float], ends: Sequence[float]) -> None:
    if len(starts) == 1:
        hours = ends[0] > LONG_MIN
        round_ticks(ax, "x", 8, sign=False, factor=1 / 60 if hours else 1.0)
        axis_name(ax, "x", "time, h" if hours else "time, min")
        return
    rows = session_rows(check)
    scale = width_in_pt(ax) / ends[-1]
    names = [f"{row.number}: {row.day}" if row.day and len(rows) <= FEW_SESSIONS else str(row.number) for row in rows]
    places, labels, free = [], [], -1e9
    for start, end, name in zip(starts, ends, names, strict=True):
        centre, half = (start + end) / 2 * scale, width_of(name, SMALL) / 2
        if centre - half > free + 3:
            places.append((start + end) / 2)
            labels.append(name)
            free = centre + half
    tick_labels(ax, "x", places, labels)
    ax.tick_params(axis="x", length=0)
    axis_name(ax, "x", "session")


def _strip(strip: Axes, readings: Readings, last: float) -> None:
    top = float(readings.reference.max()) if readings.reference.size else 1.0
    strip.set_xlim(0, last)
    strip.set_ylim(0, 1.08 * max(top, 1.0))
    frame(strip)
    strip.tick_params(axis="x", bottom=False, labelbottom=False)
    strip.set_xticks([])
    if height_in_pt(strip) >= LEAST_FOR_TWO:
        round_ticks(strip, "y", 2, sign=False)
    else:
        tick_labels(strip, "y", [top], [f"{top:.0f}"])
