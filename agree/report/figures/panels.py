"""Every result as a drawing of its stored numbers; nothing is estimated here."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import singledispatch
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from agree.assessment.claim_check import ClaimCheck
from agree.core.estimate import Estimate
from agree.core.pairs import Pairs
from agree.core.words import estimate_text, number
from agree.correction.find import Correction
from agree.estimators.bands.by_band import BandBias
from agree.estimators.limits.agreement import LimitsOfAgreement
from agree.estimators.lines.line import Line
from agree.report.figures.style import (
    ACCENT,
    CLAIM_LINE,
    GREY,
    INK,
    PALE,
    SMALL,
    clean,
    labels_right,
    look,
    size_pt,
    width_of,
)
from agree.report.figures.traces import draw_traces

JUDGED = ("holds", "does not hold", "not settled", "")
WORDS = {"holds": "inside", "does not hold": "outside", "not settled": "open", "outside the claim": "no claim"}
UNITS = {"percent": "%", "difference": "W", "log": ""}
ERRORS = {"percent": "error, % of reference", "difference": "error, W", "log": "device / reference"}


def view(values: Iterable[float], margin: float = 0.08) -> tuple[float, float]:
    """Axis range that shows every finite value."""
    finite = [float(v) for v in values if math.isfinite(v)] or [0.0]
    low, high = min(finite), max(finite)
    pad = (high - low) * margin or max(abs(low) * 0.05, 0.5)
    return low - pad, high + pad


def within(value: float, low: float, high: float) -> float:
    """Value held within a range; NaN gives its middle."""
    return min(max(value, low), high) if not math.isnan(value) else (low + high) / 2


def bar(ax: Axes, at: float, item: Estimate, upright: bool = True, **style: Any) -> None:
    """Interval as a bar; an end that is unbounded or beyond the axis is marked by an arrow head at the edge."""
    low, high = ax.get_ylim() if upright else ax.get_xlim()
    if math.isnan(item.low) or math.isnan(item.high) or item.low > high or item.high < low:
        return
    ends = [within(item.low, low, high), within(item.high, low, high)]
    ax.plot(*((([at, at], ends)) if upright else (ends, [at, at])), **style)
    for end, true, mark in zip(ends, (item.low, item.high), ("v^" if upright else "<>"), strict=True):
        if end != true:
            ax.plot(*((at, end) if upright else (end, at)), marker=mark, markersize=3.5, clip_on=False,
                    color=style.get("color", INK), linestyle="none")


def draw_limits(ax: Axes, item: LimitsOfAgreement, full: bool = True) -> list[tuple[float, str]]:
    """Bias and limits of agreement as lines with their intervals as strips; return labels for the right edge."""
    unit = UNITS.get(item.scale, "")
    low, high = ax.get_ylim()
    labels = []
    dotted = (0, (1, 1.2))
    parts: tuple[tuple[str, Estimate, Any], ...] = (
        ("upper", item.upper, dotted), ("mean", item.bias, "-"), ("lower", item.lower, dotted))
    for name, estimate, style in parts:
        if not math.isnan(estimate.low + estimate.high):
            ax.axhspan(within(estimate.low, low, high), within(estimate.high, low, high), color=PALE, alpha=0.6,
                       linewidth=0, zorder=0)
        if math.isfinite(estimate.value):
            ax.axhline(estimate.value, color=ACCENT, linewidth=1.4 if name == "mean" else 1.1, linestyle=style)
            figures = estimate_text(estimate, unit) if full else number(estimate.value, estimate.low, estimate.high)
            labels.append((estimate.value, f"{name} {figures}"))
    ax.set_ylim(low, high)
    return labels


class BandRow(NamedTuple):
    """What is drawn of one band."""

    low: float
    high: float
    seconds: int
    bias: Estimate
    joint: Estimate | None
    limit: float
    verdict: str


def draw_bands(ax: Axes, rows: Sequence[BandRow], label: str, unit: str) -> None:
    """Bias of each band: interval thick, joint interval thin, claim as a corridor, circle if not judged."""
    judged = [row for row in rows if row.verdict in JUDGED] or [row for row in rows if row.seconds]
    items = [item for row in judged for item in (row.bias, row.joint or row.bias)]
    shown = [v for item in items for v in (item.value, item.low, item.high)]
    limits = [sign * row.limit for row in rows for sign in (-1, 1)]
    low, high = view([*shown, *limits, 0.0])
    ax.set_ylim(low, high)
    ax.set_xlim(-0.5, max(len(rows), 1) - 0.5)
    ax.axhline(0, color=GREY, linewidth=0.5)
    for k, row in enumerate(rows):
        if math.isfinite(row.limit):
            ax.fill_between([k - 0.5, k + 0.5], -row.limit, row.limit, color=PALE, alpha=0.45, linewidth=0, zorder=0)
        hollow = row.verdict not in JUDGED
        if not row.seconds:
            continue
        if row.joint is not None:
            bar(ax, k, row.joint, color=GREY if hollow else INK, linewidth=0.7)
        if not hollow:
            bar(ax, k, row.bias, color=ACCENT, linewidth=3)
        inside = low <= row.bias.value <= high
        mark = ("o" if hollow else "_") if inside else "^" if row.bias.value > high else "v"
        ax.plot(k, within(row.bias.value, low, high), mark, markersize=4 if hollow else 9, markeredgewidth=0.9,
                markeredgecolor=INK, markerfacecolor="white", clip_on=False)
    steps = np.repeat(np.arange(len(rows) + 1) - 0.5, 2)[1:-1]
    for sign in (-1, 1):
        ax.plot(steps, np.repeat([sign * row.limit for row in rows], 2), **CLAIM_LINE)
    ax.set_ylabel(label)
    _band_labels(ax, rows, unit)


def _band_labels(ax: Axes, rows: Sequence[BandRow], unit: str) -> None:
    """Band, seconds and answer under each band; if they would touch, under every second or further one."""
    names = [f"{row.low:g}–{row.high:g}\n{row.seconds:,} {unit}\n{WORDS.get(row.verdict, row.verdict)}".rstrip()
             for row in rows]
    slot = size_pt(ax)[0] / max(len(rows), 1)
    widest = max((width_of(line, SMALL) for name in names for line in name.split("\n")), default=0.0)
    step = math.ceil((widest + 3) / slot)
    ax.set_xticks(range(0, len(rows), step), names[::step], linespacing=1.15)
    ax.set_xlabel("power of the reference, W")


def band_rows(check: ClaimCheck) -> list[BandRow]:
    """Rows of a check; outer bands in which nothing was ridden are left out."""
    rows = [BandRow(b.low, b.high, b.seconds, b.bias, b.joint, b.limit_percent, b.verdict) for b in check.bands]
    ridden = [k for k, row in enumerate(rows) if row.seconds]
    return rows[ridden[0]:ridden[-1] + 1] if ridden else []


def draw_single(ax: Axes, item: Estimate, unit: str = "", mark: float | None = None) -> None:
    """One estimate with its interval on a horizontal axis, and a value to compare it with."""
    ax.set_xlim(view([item.value, item.low, item.high, *([] if mark is None else [mark])], margin=0.15))
    ax.set_ylim(-1, 1)
    if mark is not None:
        ax.axvline(mark, **CLAIM_LINE)
    bar(ax, 0, item, upright=False, color=ACCENT, linewidth=3)
    if math.isfinite(item.value):
        ax.plot(item.value, 0, "o", markersize=5, color=INK)
    ax.set_yticks([])
    ax.set_xlabel(f"{100 * item.level:g} % interval, {clean(item.method)}")
    ax.set_title(clean(estimate_text(item, unit)))


@singledispatch
def _draw(result: Any, ax: Axes) -> None:
    raise TypeError(f"no drawing is known for {type(result).__name__}; use .summary() or .to_dict()")


@_draw.register
def _(result: Estimate, ax: Axes) -> None:
    draw_single(ax, result)


@_draw.register
def _(result: Correction, ax: Axes) -> None:
    draw_single(ax, result.scale, mark=1.0)
    lasting = {True: "stable between sessions", False: "not stable", None: "not known to last"}[result.stable]
    ax.set_title(clean(f"corrected = device × {estimate_text(result.scale)}: {result.kind}, {lasting}"))


@_draw.register
def _(result: LimitsOfAgreement, ax: Axes) -> None:
    parts = (result.lower, result.bias, result.upper)
    ax.set_ylim(view(v for item in parts for v in (item.value, item.low, item.high)))
    ax.set_xticks([])
    ax.set_ylabel(ERRORS.get(result.scale, result.scale))
    ax.set_xlabel(f"{result.n:,} pairs")
    labels_right(ax, draw_limits(ax, result))


@_draw.register
def _(result: Line, ax: Axes) -> None:
    span = ax.get_xlim() if ax.has_data() else (0.0, 400.0)
    x = np.asarray(span)
    ax.plot(x, x, color=GREY, linewidth=0.7, label="identity")
    if math.isfinite(result.slope.value + result.intercept.value):
        ax.plot(x, result.intercept.value + result.slope.value * x, color=ACCENT, linewidth=1.4,
                label=clean(result.kind))
    ax.set_xlim(*span)
    ax.set_xlabel("reference")
    ax.set_ylabel("device")
    ax.set_title(clean(f"{result.kind}: slope {estimate_text(result.slope)}, intercept "
                       f"{estimate_text(result.intercept)}"))
    ax.legend(frameon=False, loc="upper left")


@_draw.register
def _(result: BandBias, ax: Axes) -> None:
    rows = [BandRow(b.low, b.high, b.n, b.bias, None, math.nan, "") for b in result.bands]
    draw_bands(ax, rows, f"bias, {UNITS.get(result.scale, '')}", "pairs")


@_draw.register
def _(result: Pairs, ax: Axes) -> None:
    draw_traces(ax, None, (result,))


@_draw.register
def _(result: ClaimCheck, ax: Axes) -> None:
    draw_bands(ax, band_rows(result), "bias, % of reference", "s")
    ax.set_title(clean(f"Claim {result.claim.text}, every band: "
                       f"{next(r.verdict for r in result.readings if r.meaning == 'bands')}"))


def plot(result: Any, ax: Axes | None = None) -> Axes:
    """Draw the stored numbers of any result.

    Parameters
    ----------
    result : LimitsOfAgreement, Line, BandBias, Estimate, Pairs, Correction or ClaimCheck
        What to draw; infinite limits are marked at the edge, NaN is left out.
    ax : matplotlib Axes, optional
        Where to draw; a new figure if not given.

    Returns
    -------
    Axes
        ``.figure`` is the figure, to be saved with ``.figure.savefig``.

    Raises
    ------
    TypeError
        A result that has no drawing.

    Examples
    --------
    >>> from agree import Estimate
    >>> ax = Estimate(value=-5.93, low=-6.21, high=-5.65, level=0.95, method="t").plot()
    >>> ax.get_title(loc="left")
    '−5.93 [−6.21, −5.65]'
    """
    with look():
        if ax is None:
            figure = Figure(figsize=(5.5, 3.2), layout="constrained")
            FigureCanvasAgg(figure)
            ax = figure.add_subplot()
        _draw(result, ax)
    return ax
