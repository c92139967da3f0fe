"""Panels of a check of a quantity: traces with faults shaded, and window means of both devices both ways."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from agree.core.quantities.units import convert
from agree.core.results.words import pace_text
from agree.quantities.check import QuantityCheck
from agree.quantities.delays.delay import taken_out
from agree.quantities.window_errors import window_errors
from agree.report.figures.look import (
    CAPTION,
    DOTTED,
    INK,
    INSIDE,
    OUTSIDE,
    RULE,
    SOLID,
    allowed,
    axis_name,
    frame,
    held,
    round_steps,
    round_ticks,
    tick_labels,
)

LONG_MIN = 300.0   # a session longer than this has its axis in hours
SLOWEST_M_S = 0.4  # no pace is marked below: a walk of 40 min a km
EDGES = (0.5, 99.5)  # per cent of readings and of errors that a frame shows at least


def _time(ax: Axes, last: float) -> None:
    hours = last > LONG_MIN
    round_ticks(ax, "x", 8, sign=False, factor=1 / 60 if hours else 1.0)
    axis_name(ax, "x", "time, h" if hours else "time, min")


def _paces(ax: Axes, unit: str) -> None:
    """Put round paces on an axis of speeds, m/s."""
    low, high = ax.get_ylim()
    slow, fast = (float(convert(max(speed, SLOWEST_M_S), "m/s", unit)) for speed in (low, high))
    places = [place for place in round_steps(fast, slow, 6) if place > 0]
    tick_labels(ax, "y", [float(convert(place, unit, "m/s")) for place in places],
                [pace_text(place, unit).removesuffix(f" {unit}") for place in places])


def traces(ax: Axes, check: QuantityCheck) -> None:
    """Both traces of the first session, faulty seconds shaded."""
    overlay = check.overlays[0]
    minutes = np.arange(overlay.reference.size) / 60
    known = np.concatenate([overlay.reference, overlay.device])
    known = known[np.isfinite(known)]
    low, high = (float(x) for x in np.percentile(known, EDGES)) if known.size else (0.0, 1.0)
    pad = 0.06 * (high - low or 1.0)
    ax.set_xlim(0, max(float(minutes[-1]) if minutes.size else 1.0, 1e-3))
    ax.set_ylim(low - pad, high + pad)
    ax.plot(minutes, overlay.reference, color=RULE, linewidth=1.4, **SOLID, zorder=2)
    ax.plot(minutes, overlay.device, color=INSIDE, linewidth=0.8, **SOLID, zorder=3)
    for fault in check.faults[0]:
        ax.axvspan(fault.start_s / 60, (fault.start_s + fault.seconds) / 60, facecolor=OUTSIDE, alpha=0.18,
                   edgecolor="none", linewidth=0, zorder=1)
    frame(ax)
    _time(ax, ax.get_xlim()[1])
    if check.quantity.scale == "reciprocal":
        _paces(ax, check.quantity.unit)
    else:
        round_ticks(ax, "y", 5, sign=False)
    axis_name(ax, "y", f"{check.quantity.label}, {check.quantity.unit}")


def errors_both_ways(ax: Axes, check: QuantityCheck) -> None:
    """Errors of window means along the first session, as recorded and with the delay taken out."""
    overlay, width = check.overlays[0], check.window_s
    rows = [(window_errors(overlay, overlay.device, width), "o", CAPTION)]
    if check.taken_out is not None:
        rows.append((window_errors(overlay, taken_out(overlay, check.delays[0].lag_s), width), "D", INSIDE))
    known = np.concatenate([found.error for found, _, _ in rows])
    known = known[np.isfinite(known)]
    limit = check.claim.absolute if check.claim.percent is None else None
    ends = [float(x) for x in np.percentile(known, EDGES)] if known.size else []
    low, high = min([-(limit or 0.0), *ends]), max([limit or 0.0, *ends])
    pad = 0.08 * (high - low or 1.0)
    ax.set_xlim(0, max(float(rows[0][0].minutes[-1]) if rows[0][0].minutes.size else 1.0, 1e-3))
    ax.set_ylim(low - pad, high + pad)
    if limit is not None:
        allowed(ax, limit)
    else:
        ax.axhline(0, color=CAPTION, linewidth=0.6, **DOTTED, zorder=1)
    for found, shape, color in rows:
        inside = np.array([held(value, *ax.get_ylim()) == value for value in found.error])
        ax.plot(found.minutes[inside], found.error[inside], linestyle="none", marker=shape, color=color, markersize=3,
                markerfacecolor="none" if shape == "o" else color, markeredgewidth=0.7, zorder=3)
        for edge, head, out in zip(ax.get_ylim(), "v^", (found.error < low - pad, found.error > high + pad),
                                   strict=True):
            ax.plot(found.minutes[out], np.full(int(out.sum()), edge), linestyle="none", marker=head, markersize=4,
                    color=INK, markeredgewidth=0, clip_on=False, zorder=4)
    frame(ax)
    round_ticks(ax, "y", 6)
    _time(ax, ax.get_xlim()[1])
    of = " of the speed" if check.quantity.scale == "reciprocal" else ""
    axis_name(ax, "y", f"error{of}, {check.quantity.difference_unit}")
