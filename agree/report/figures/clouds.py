"""Panels of window means and sessions on the page: difference plot, device against reference, session forest."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from agree.assessment.beside import LOWEST_PERCENT_W
from agree.assessment.claim_check import ClaimCheck
from agree.core.checks import FloatArray
from agree.core.estimate import Estimate
from agree.core.thresholds import LEAST_BAND_S
from agree.core.words import estimate_text
from agree.report.figures.panels import bar, draw_limits, view, within
from agree.report.figures.style import (
    ACCENT,
    CLAIM_LINE,
    GREY,
    INK,
    MARKERS,
    PALE,
    SMALL,
    clean,
    labels_right,
    shortened,
    size_pt,
)
from agree.verdict.columns import Windows

DOTS: dict[str, Any] = {"linestyle": "none", "markersize": 2.6, "markerfacecolor": "none", "markeredgecolor": GREY,
                        "markeredgewidth": 0.5}


def _dots(ax: Axes, session: NDArray[Any], x: FloatArray, y: FloatArray) -> None:
    """One mark for each window; a mark shape for each session."""
    for k in np.unique(session):
        chosen = session == k
        ax.plot(x[chosen], y[chosen], marker=MARKERS[int(k) % len(MARKERS)], **DOTS)


def draw_differences(ax: Axes, check: ClaimCheck, windows: Windows) -> None:
    """Per-cent error of window means against the reference's level, with limits of agreement and claim."""
    strong = windows.reference >= LOWEST_PERCENT_W
    x = windows.reference[strong]
    y = 100 * (windows.device[strong] - x) / x
    first, last = view(x, 0.04)
    levels = np.linspace(max(first, check.claim.above_watts or 0.0, 1.0), max(last, first + 1.0), 200)
    claimed = 100 * check.claim.limit_w(levels) / levels
    seen = claimed[levels >= (x.min() if x.size else 0)]
    parts = [] if check.limits is None else [check.limits.lower, check.limits.bias, check.limits.upper]
    far = float(seen.max()) if seen.size else 1.0
    core = [*(v for p in parts for v in (p.value, p.low, p.high)), far, -far, 0.0]
    low, high = view(core)
    wide = view([*core, *y])
    if wide[1] - wide[0] <= 2 * (high - low):  # else a few wild windows would flatten all others
        low, high = wide
    ax.set_xlim(first, last)
    ax.set_ylim(low, high)
    ax.axhline(0, color=GREY, linewidth=0.5)
    labels = [] if check.limits is None else draw_limits(ax, check.limits, full=False)
    for sign in (1, -1):
        ax.plot(levels, sign * claimed, **CLAIM_LINE)
        if claimed.size and levels[0] <= last:
            labels.append((sign * float(claimed[-1]), f"claim {sign * claimed[-1]:+.3g}"))
    beyond = (y < low) | (y > high)
    _dots(ax, windows.session[strong][~beyond], x[~beyond], y[~beyond])
    for sign, edge, mark in ((-1, low, "v"), (1, high, "^")):
        out = sign * y > sign * edge
        ax.plot(x[out], np.full(out.sum(), edge), marker=mark, clip_on=False, **DOTS | {"markerfacecolor": INK})
    ax.locator_params(nbins=6)
    ax.set_ylabel("error, % of reference")
    ax.set_xlabel(f"reference, W ({check.window_s}-s means)"
                  + (f"; {beyond.sum()} beyond the axis, filled" if beyond.any() else ""))
    labels_right(ax, labels)


def draw_lines(ax: Axes, check: ClaimCheck, windows: Windows) -> None:
    """Device against reference, with the identity and the fitted lines."""
    low, high = view([*windows.reference, *windows.device], 0.04)
    span = np.array([low, high])
    ax.set_xlim(low, high)
    ax.set_ylim(low, high)
    _dots(ax, windows.session, windows.reference, windows.device)
    ax.plot(span, span, color=INK, linewidth=0.8, linestyle=(0, (1, 1.2)))
    labels = [(high, "identity")]
    for line, style in ((check.deming, "-"), (check.passing_bablok, (0, (5, 2)))):
        if line is not None and math.isfinite(line.slope.value + line.intercept.value):
            ax.plot(span, line.intercept.value + line.slope.value * span, color=INK if style == "-" else "#7a7a7a",
                    linewidth=0.9, linestyle=style)
            end = line.intercept.value + line.slope.value * high
            if abs(end - (low + high) / 2) <= 0.7 * (high - low):  # else it leaves the panel elsewhere
                labels.append((end, line.kind))
    if not lines_text(check):
        ax.text(0.04, 0.96, "no line: too few windows,\nor the power does not vary", transform=ax.transAxes, va="top")
    ax.locator_params(nbins=5)
    ax.set_ylabel("device, W")
    ax.set_xlabel(f"reference, W ({check.window_s}-s means)")
    labels_right(ax, labels)


def lines_text(check: ClaimCheck) -> list[str]:
    """Slope and offset of each line."""
    return [f"{style}: {line.kind} {estimate_text(line.slope)}, {estimate_text(line.intercept, 'W')}"
            for line, style in ((check.deming, "solid"), (check.passing_bablok, "dashed")) if line is not None]


def draw_sessions(ax: Axes, check: ClaimCheck) -> None:
    """Mean error of each session, of all, and predicted for the next one, against the claim."""
    judged = [item for item in check.pairs if item.used.sum() >= LEAST_BAND_S]
    rows: list[tuple[str, Estimate, str]] = [
        (shortened(item.session, 14), bias, MARKERS[check.pairs.index(item) % len(MARKERS)])
        for item, bias in zip(judged, check.session_bias, strict=False)]
    mean, following = (next(r for r in check.readings if r.meaning == name) for name in ("average", "next_session"))
    sessions = len(rows)
    rows += [(name, reading.estimate, "|") for name, reading in (("all", mean), ("next", following))
             if reading.estimate is not None]
    limit = mean.limit
    ax.set_xlim(view([0.0, limit, -limit, *(v for _, item, _ in rows for v in (item.value, item.low, item.high))]))
    height, least = size_pt(ax)[1], SMALL * 1.3  # many sessions close up, the last two rows keep room for a name
    ends = len(rows) - sessions
    pitch = min(height / max(len(rows), 1), (height - ends * least) / max(sessions, 1))
    last = (height - sessions * pitch) / max(ends, 1)
    at = [pitch * (k + 0.5) for k in range(sessions)] + [sessions * pitch + last * (k + 0.5) for k in range(ends)]
    ax.set_ylim(height, 0)
    ax.axvline(0, color=GREY, linewidth=0.5)
    if math.isfinite(limit):
        ax.axvspan(-limit, limit, color=PALE, alpha=0.45, linewidth=0, zorder=0)
        for sign in (-1, 1):
            ax.axvline(sign * limit, **CLAIM_LINE)
    for k, (y, (_, item, mark)) in enumerate(zip(at, rows, strict=True)):
        joined = k >= sessions
        bar(ax, y, item, upright=False, color=ACCENT if joined else INK, linewidth=3 if joined else 0.9)
        ax.plot(within(item.value, *ax.get_xlim()), y, marker=mark, color=INK,
                markersize=8 if joined else min(4.0, pitch))
    named = [*range(0, sessions, math.ceil(least / pitch)), *range(sessions, len(rows))]
    if sessions and at[-1] - at[named[-ends - 1]] < ends * least:
        del named[-ends - 1]
    ax.set_yticks([at[k] for k in named], [clean(rows[k][0]) for k in named])
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel(f"mean error, {check.claim.unit}" + (" of reference" if check.claim.unit == "%" else ""))
