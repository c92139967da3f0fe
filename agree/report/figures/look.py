"""The look of every picture: one meaning for each colour, marks that differ in grey, no global settings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from agree.core.interval.estimate import Estimate
from agree.report.drawing.fonts import drawable, font
from agree.report.drawing.writing_direction import left_to_right
from agree.report.story.language.digits import MINUS
from agree.verdict.rule import FAILS, HOLDS

INK, CAPTION, RULE = "#15202a", "#48535d", "#8d979f"
ALLOWED, LIMIT = "#d6e7ee", "#2f7391"
INSIDE, OUTSIDE, WHITE = "#17607f", "#aa420b", "#ffffff"
SMALL = 7.5  # pt; nothing is set smaller
COLOURS = {HOLDS: INSIDE, FAILS: OUTSIDE}
SOLID: dict[str, Any] = {"linestyle": "-", "marker": "none"}
DOTTED: dict[str, Any] = {"linestyle": (0, (1, 2)), "marker": "none"}
SHAPES = {HOLDS: "o", FAILS: "D"}


def colour_of(verdict: str) -> str:
    """Return the colour of an answer: blue inside, orange outside, ink for what is not settled."""
    return COLOURS.get(verdict, INK)


def words(ax: Axes | Figure, x: float, y: float, text: str, size: float = SMALL, weight: str = "normal",
          **style: Any) -> Any:
    """Write one line of text in the fonts of the page; no sign in it is taken for mathematics."""
    style = {"color": INK, "ha": "left", "va": "baseline"} | style
    return ax.text(x, y, drawable(left_to_right(text)), fontproperties=font(size, weight), parse_math=False, **style)


def frame(ax: Axes, *, left: bool = True, bottom: bool = True) -> None:
    """Set everything that a caller's own settings could change: face, spines, ticks, grid."""
    ax.set_facecolor("none")
    ax.grid(visible=False)
    ax.set_axisbelow(b=True)
    for name, spine in ax.spines.items():
        spine.set_visible((name == "left" and left) or (name == "bottom" and bottom))
        spine.set_color(RULE)
        spine.set_linewidth(0.6)
    ax.tick_params(axis="both", which="both", length=2.5, width=0.6, pad=2, color=RULE, labelcolor=INK, direction="out",
                   top=False, right=False, left=left, bottom=bottom, labelleft=left, labelbottom=bottom, labeltop=False,
                   labelright=False)
    ax.margins(0)


def tick_labels(ax: Axes, axis: str, places: Sequence[float], labels: Sequence[str], size: float = SMALL) -> None:
    """Put ticks with their texts."""
    setter = ax.set_xticks if axis == "x" else ax.set_yticks
    setter(list(places), [drawable(label) for label in labels], fontproperties=font(size), color=INK)
    (ax.set_xticks if axis == "x" else ax.set_yticks)([], minor=True)
    for label in ax.get_xticklabels() if axis == "x" else ax.get_yticklabels():
        label.set_parse_math(False)


def axis_name(ax: Axes, axis: str, text: str) -> None:
    """Name an axis."""
    setter = ax.set_xlabel if axis == "x" else ax.set_ylabel
    setter(drawable(text), fontproperties=font(SMALL), color=CAPTION, labelpad=2, parse_math=False)


def round_steps(low: float, high: float, most: int) -> list[float]:
    """Return at most so many round numbers from low to high."""
    span = high - low
    if not (math.isfinite(span) and span > 0):
        return [low] if math.isfinite(low) else []
    power = 10.0 ** math.floor(math.log10(span / most))
    step = next(f * power for f in (1, 2, 2.5, 5, 10, 20) if span / (f * power) <= most)
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def signed(value: float, *, sign: bool = True) -> str:
    """Print a tick: plus and true minus, no more digits than it has."""
    text = f"{abs(value):.6g}"
    return text if value == 0 else (MINUS if value < 0 else "+" if sign else "") + text


def round_ticks(ax: Axes, axis: str, most: int, *, sign: bool = True, factor: float = 1.0) -> None:
    """Put round ticks on an axis, whose labels are the places times a factor."""
    low, high = sorted(ax.get_xlim() if axis == "x" else ax.get_ylim())
    places = round_steps(low * factor, high * factor, most)
    tick_labels(ax, axis, [place / factor for place in places], [signed(place, sign=sign) for place in places])


def mark(ax: Axes, x: float, y: float, verdict: str, size: float = 5.0, **more: Any) -> None:
    """Put the mark of an answer: full disc inside, full diamond outside, white disc not settled."""
    face = COLOURS.get(verdict, WHITE)
    shape = SHAPES.get(verdict, "o")
    ax.plot([x], [y], marker=shape, markersize=size * (0.86 if shape == "D" else 1), markerfacecolor=face,
            markeredgecolor=colour_of(verdict), markeredgewidth=1.0, linestyle="none", clip_on=False, zorder=5, **more)


def mark_within(ax: Axes, value: float, across: float, verdict: str, size: float = 5.0, *,
                upright: bool = True) -> None:
    """Put the mark of an answer at a value; where it lies beyond the axis, an arrow head at the edge."""
    low, high = sorted(ax.get_ylim() if upright else ax.get_xlim())
    if low <= value <= high or math.isnan(value):
        at = held(value, low, high)
        mark(ax, *((across, at) if upright else (at, across)), verdict, size)
        return
    arrow_head(ax, low if value < low else high, across, ("v" if upright else "<") if value < low else
               ("^" if upright else ">"), colour_of(verdict), upright=upright)


def arrow_head(ax: Axes, edge: float, across: float, shape: str, color: str, *, upright: bool = True) -> None:
    """Put an arrow head at the edge of the axes: what is shown lies beyond."""
    place = (across, edge) if upright else (edge, across)
    ax.plot([place[0]], [place[1]], marker=shape, markersize=6, color=color, markeredgewidth=0, linestyle="none",
            clip_on=False, zorder=5)


def held(value: float, low: float, high: float) -> float:
    """Return a value held within a range; NaN becomes its middle."""
    return (low + high) / 2 if math.isnan(value) else min(max(value, low), high)


def bar(ax: Axes, at: float, item: Estimate, *, upright: bool = True, color: str = INK, width: float = 1.6,
        scale: float = 1.0, ends: bool = False) -> None:
    """Draw an interval (times a scale); an end beyond the axis, or without limit, has an arrow head at the edge."""
    low, high = sorted(ax.get_ylim() if upright else ax.get_xlim())
    first, last = item.low * scale, item.high * scale
    if math.isnan(first) or math.isnan(last) or first > high or last < low:
        return
    drawn = [held(first, low, high), held(last, low, high)]
    line: tuple[list[float], list[float]] = ([at, at], drawn) if upright else (drawn, [at, at])
    ax.plot(*line, color=color, linewidth=width, **SOLID, solid_capstyle="butt", zorder=4,
            clip_on=False)
    for end, true, head in zip(drawn, (first, last), "v^" if upright else "<>", strict=True):
        place = (at, end) if upright else (end, at)
        stop = "_" if upright else "|"
        if end != true or ends:
            ax.plot([place[0]], [place[1]], marker=head if end != true else stop, markersize=4.5, markeredgewidth=1,
                    color=color, linestyle="none", clip_on=False, zorder=4)


def allowed(ax: Axes, limit: float, *, upright: bool = True) -> None:
    """Shade what the claim allows, with lines at its limits and at 0."""
    span, line = (ax.axhspan, ax.axhline) if upright else (ax.axvspan, ax.axvline)
    if math.isfinite(limit):
        span(-limit, limit, facecolor=ALLOWED, edgecolor="none", linewidth=0, zorder=0)
        for edge in (-limit, limit):
            line(edge, color=LIMIT, linewidth=0.9, **SOLID, zorder=1)
    line(0, color=CAPTION, linewidth=0.6, **DOTTED, zorder=1)


def width_in_pt(ax: Axes) -> float:
    """Width of the axes, pt."""
    figure: Any = ax.figure
    return 72 * float(figure.get_size_inches()[0]) * float(ax.get_position().width)


def height_in_pt(ax: Axes) -> float:
    """Height of the axes, pt."""
    figure: Any = ax.figure
    return 72 * float(figure.get_size_inches()[1]) * float(ax.get_position().height)


def new_axes(width_mm: float = 120.0, height_mm: float = 80.0) -> Axes:
    """Return axes on a figure of their own, which belongs to no global state."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = Figure(figsize=(width_mm / 25.4, height_mm / 25.4), dpi=72, facecolor="white")
    FigureCanvasAgg(figure)
    left, below = 42 / (width_mm / 25.4 * 72), 30 / (height_mm / 25.4 * 72)
    return figure.add_axes((left, below, 0.97 - left, 0.9 - below))
