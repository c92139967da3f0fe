"""Every result that has a picture, drawn from its stored numbers as a reader of the field expects it."""

from __future__ import annotations

import math
from functools import singledispatch
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from agree.assessment.claim_check import ClaimCheck
from agree.assessment.single_readings import readings_of
from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.interval.estimate import Estimate
from agree.core.results.drawn import Drawn
from agree.correction.find import Correction
from agree.estimators.bands.by_band import BandBias
from agree.estimators.bands.curve import BiasCurve
from agree.estimators.limits.agreement import LimitsOfAgreement
from agree.estimators.limits.folded import FoldedDistribution
from agree.estimators.lines.line import Line
from agree.report.figures.bands import draw_bands
from agree.report.figures.look import (
    ALLOWED,
    CAPTION,
    DOTTED,
    INSIDE,
    LIMIT,
    RULE,
    SMALL,
    SOLID,
    axis_name,
    bar,
    frame,
    held,
    new_axes,
    round_ticks,
    tick_labels,
    words,
)
from agree.report.figures.trials_panels import errors_against_level
from agree.report.story.language.digits import interval_text
from agree.trials.check import TrialsCheck

ERRORS = {"percent": "error, % of the reference", "difference": "device − reference", "log": "device / reference"}
FACTOR = {"percent": "%"}
DOTS: dict[str, Any] = {"linestyle": "none", "marker": "o", "markersize": 2.6, "markerfacecolor": "none",
                        "markeredgecolor": CAPTION, "markeredgewidth": 0.6, "zorder": 2}


def view(values: Any, room: float = 0.08) -> tuple[float, float]:
    """Range of an axis that shows every finite value."""
    finite = [float(v) for v in np.ravel(np.asarray(list(values), float)) if math.isfinite(v)] or [0.0]
    low, high = min(finite), max(finite)
    pad = (high - low) * room or max(abs(low) * 0.05, 0.5)
    return low - pad, high + pad


def _named(quantity: str, unit: str) -> str:
    return f"{quantity}, {unit}" if unit else quantity


def plot(result: Drawn, ax: Axes | None = None, *, unit: str = "") -> Axes:
    """Draw the stored numbers of a result.

    Parameters
    ----------
    result : Drawn
        What to draw; infinite limits are marked at the edge, NaN is left out.
    ax : matplotlib Axes, optional
        Where to draw; axes of a new figure if not given.
    unit : str
        Unit of the readings, for the names of the axes; not said if empty.

    Returns
    -------
    Axes
        ``.figure`` is the figure, to be saved with ``.figure.savefig``.

    Examples
    --------
    >>> from agree import limits_of_agreement
    >>> ax = limits_of_agreement([100, 200, 300, 400], [101, 199, 303, 396]).plot()
    >>> ax.get_xlabel(), len(ax.get_lines()[-1].get_xdata())
    ('mean of both', 4)
    """
    ax = new_axes() if ax is None else ax
    _draw(result, ax, unit)
    return ax


def _title(ax: Axes, text: str) -> None:
    words(ax, 0, 1.02, text, SMALL, "bold", transform=ax.transAxes)


@singledispatch
def _draw(result: Any, ax: Axes, unit: str) -> None:
    raise TypeError(f"no picture is known for {type(result).__name__}; use .summary() or .to_dict()")


@_draw.register
def _(result: Estimate, ax: Axes, unit: str) -> None:
    _single(ax, result, unit, None)


def _single(ax: Axes, item: Estimate, unit: str, beside: float | None) -> None:
    """One estimate with its interval, and a value to compare it with."""
    ax.set_xlim(*view([item.value, item.low, item.high, *([] if beside is None else [beside])], 0.15))
    ax.set_ylim(-1, 1)
    if beside is not None:
        ax.axvline(beside, color=LIMIT, linewidth=0.9, **SOLID, zorder=1)
    bar(ax, 0, item, upright=False, color=INSIDE, width=2.4)
    if math.isfinite(item.value):
        ax.plot([item.value], [0], marker="o", markersize=5, color=INSIDE, linestyle="none", zorder=5)
    frame(ax, left=False)
    tick_labels(ax, "y", [], [])
    round_ticks(ax, "x", 6, sign=False)
    axis_name(ax, "x", f"{100 * item.level:g} % interval" + (f", {unit}" if unit else ""))
    _title(ax, interval_text(item, unit))


@_draw.register
def _(result: Correction, ax: Axes, unit: str) -> None:
    _single(ax, result.scale, "", 1.0)
    axis_name(ax, "x", "factor: corrected = device × factor")


@_draw.register
def _(result: LimitsOfAgreement, ax: Axes, unit: str) -> None:
    """Points against the mean of both, the mean error and the limits with their intervals."""
    x, y = _points(result)
    parts = (result.lower, result.bias, result.upper)
    ax.set_xlim(*view(x, 0.04) if x.size else (0.0, 1.0))
    ax.set_ylim(*view([*y, *(v for item in parts for v in (item.value, item.low, item.high))]))
    for item, style in zip(parts, ((0, (4, 2)), "-", (0, (4, 2))), strict=True):
        if not math.isnan(item.low + item.high):
            low, high = (held(v, *ax.get_ylim()) for v in (item.low, item.high))
            ax.axhspan(low, high, facecolor=ALLOWED, edgecolor="none", linewidth=0, zorder=0)
        if math.isfinite(item.value):
            ax.axhline(item.value, color=INSIDE, linewidth=1.2, linestyle=style, marker="none", zorder=1)
            words(ax, 1, item.value, " " + interval_text(item, FACTOR.get(result.scale, "")).split(" (")[0],
                  transform=ax.get_yaxis_transform(), va="center")
    ax.axhline(1 if result.scale == "log" else 0, color=RULE, linewidth=0.6, **DOTTED, zorder=1)
    ax.plot(x, y, **DOTS)
    frame(ax)
    round_ticks(ax, "x", 6, sign=False)
    round_ticks(ax, "y", 6, sign=result.scale != "log")
    axis_name(ax, "x", _named("mean of both", unit))
    axis_name(ax, "y", ERRORS.get(result.scale, result.scale) + (f", {unit}" if unit and result.scale == "difference"
                                                                 else ""))


def _points(result: LimitsOfAgreement) -> tuple[FloatArray, FloatArray]:
    """Mean of both and error on the scale of the limits."""
    if result.reference is None or result.device is None:
        return np.zeros(0), np.zeros(0)
    r, d = result.reference, result.device
    error = {"difference": d - r, "percent": 100 * (d - r) / np.where(r == 0, np.nan, r),
             "log": d / np.where(r == 0, np.nan, r)}
    return (r + d) / 2, error.get(result.scale, d - r)


@_draw.register
def _(result: FoldedDistribution, ax: Axes, unit: str) -> None:
    """Share of errors beyond each error, on its own side of the median, and how far 2.5 % lie on either side."""
    ends = result.reach(0.025)
    ax.set_xlim(*view([*result.error, 0.0], 0.04))
    ax.set_ylim(0, 53)
    ax.axvspan(*ends, facecolor=ALLOWED, edgecolor="none", linewidth=0, zorder=0)
    ax.axvline(0, color=RULE, linewidth=0.6, **DOTTED, zorder=1)
    ax.axvline(result.median, color=INSIDE, linewidth=0.9, **SOLID, zorder=1)
    ax.plot(result.error, 100 * result.share, **{**DOTS, "linestyle": "-", "color": INSIDE, "linewidth": 1.0})
    frame(ax)
    round_ticks(ax, "x", 6)
    round_ticks(ax, "y", 6, sign=False)
    axis_name(ax, "x", "logarithm of device / reference" if result.scale == "log" else
              ERRORS[result.scale] + (f", {unit}" if unit and result.scale == "difference" else ""))
    axis_name(ax, "y", "errors at or beyond, % of all")
    _title(ax, f"median {result.median:.3g}; at most 2.5 % of errors below {ends[0]:.3g}, and above {ends[1]:.3g}")


@_draw.register
def _(result: Line, ax: Axes, unit: str) -> None:
    """Points, identity, and the line with the band of lines whose slope and intercept lie in their intervals."""
    r, d = (np.zeros(0) if column is None else column for column in (result.reference, result.device))
    low, high = view([*r, *d], 0.04) if r.size else (0.0, 400.0)
    ax.set_xlim(low, high)
    ax.set_ylim(low, high)
    x = np.linspace(low, high, 60)
    slope, intercept = result.slope, result.intercept
    ax.plot(x, x, color=CAPTION, linewidth=0.8, **DOTTED, zorder=1, label="identity")
    if math.isfinite(slope.value + intercept.value):
        centre = float(r.mean()) if r.size else (low + high) / 2
        edges = [slope.value * centre + intercept.value + s * (x - centre) for s in (slope.low, slope.high)]
        if np.isfinite(edges).all():
            ax.fill_between(x, np.minimum(*edges), np.maximum(*edges), facecolor=ALLOWED, edgecolor="none", linewidth=0,
                            zorder=0)
        ax.plot(x, intercept.value + slope.value * x, color=INSIDE, linewidth=1.4, **SOLID, zorder=3,
                label=result.kind)
    ax.plot(r, d, **DOTS)
    frame(ax)
    round_ticks(ax, "x", 6, sign=False)
    round_ticks(ax, "y", 6, sign=False)
    axis_name(ax, "x", _named("reference", unit))
    axis_name(ax, "y", _named("device", unit))
    _title(ax, f"{result.kind}: slope {interval_text(slope).replace('+', '')}; dotted: identity")


@_draw.register
def _(result: BandBias, ax: Axes, unit: str) -> None:
    bands = [band for band in result.bands if band.n]
    ax.set_xlim(*view([edge for band in bands for edge in (band.low, band.high)] or [0, 1], 0.02))
    ax.set_ylim(*view([v for band in bands for v in (band.bias.value, band.bias.low, band.bias.high)] + [0.0]))
    ax.axhline(0, color=CAPTION, linewidth=0.6, **DOTTED, zorder=1)
    for band in bands:
        if math.isfinite(band.bias.value):
            ax.plot([band.low, band.high], [band.bias.value] * 2, color=INSIDE, linewidth=1.2, **SOLID, zorder=3)
            bar(ax, (band.low + band.high) / 2, band.bias, color=INSIDE, width=1.8)
    frame(ax)
    round_ticks(ax, "x", 7, sign=False)
    round_ticks(ax, "y", 6)
    axis_name(ax, "x", _named("reference", unit))
    axis_name(ax, "y", ERRORS.get(result.scale, result.scale))


@_draw.register
def _(result: BiasCurve, ax: Axes, unit: str) -> None:
    shown = [v for column in (result.value, result.joint_low, result.joint_high) for v in column]
    ax.set_xlim(*view(result.at, 0.02))
    ax.set_ylim(*view([*shown, 0.0]))
    for low, high, face in ((result.joint_low, result.joint_high, ALLOWED), (result.low, result.high, "#b4cfdb")):
        ax.fill_between(result.at, low, high, facecolor=face, edgecolor="none", linewidth=0, zorder=0)
    ax.plot(result.at, result.value, color=INSIDE, linewidth=1.4, **SOLID, zorder=3)
    ax.axhline(0, color=CAPTION, linewidth=0.6, **DOTTED, zorder=1)
    frame(ax)
    round_ticks(ax, "x", 6, sign=False)
    round_ticks(ax, "y", 6)
    axis_name(ax, "x", _named("reference", unit))
    axis_name(ax, "y", ERRORS.get(result.scale, result.scale))


@_draw.register
def _(result: Pairs, ax: Axes, unit: str) -> None:
    """Both traces over time."""
    minutes = result.time / 60
    finite = np.concatenate([result.reference, result.device])
    ax.set_xlim(*(view(minutes, 0.0) if minutes.size else (0.0, 1.0)))
    ax.set_ylim(*view([*finite[np.isfinite(finite)], 0.0], 0.04))
    ax.plot(minutes, result.reference, color=RULE, linewidth=1.6, **SOLID, zorder=2, label="reference")
    ax.plot(minutes, result.device, color=INSIDE, linewidth=0.6, **SOLID, zorder=3, label="device")
    frame(ax)
    round_ticks(ax, "x", 7, sign=False)
    round_ticks(ax, "y", 6, sign=False)
    axis_name(ax, "x", "time, min")
    axis_name(ax, "y", f"reference (pale, thick), device (dark, thin){f', {unit}' if unit else ''}")


@_draw.register
def _(result: ClaimCheck, ax: Axes, unit: str) -> None:
    draw_bands(ax, result, readings_of(result))
    _title(ax, f"Claim {result.claim.text}: {result.verdict}")


@_draw.register
def _(result: TrialsCheck, ax: Axes, unit: str) -> None:
    """Error of each trial against the level, with the claim and the limits."""
    errors_against_level(ax, result)
