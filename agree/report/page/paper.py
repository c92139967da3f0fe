"""Paper measured in pt from the top left corner: lines of text, rules, boxes, axes; text broken by its true width."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import FancyBboxPatch, Rectangle

from agree.report.drawing.fonts import width_of
from agree.report.figures.look import INK, RULE, SMALL, words
from agree.report.story.language.digits import MINUS
from agree.report.story.language.names import printable

A4 = (595.28, 841.89)
LEADING = 1.32
_TOGETHER = re.compile(r"(?<=[\d.]) (?=(?:%|W|s|min|h|N m|mm|sessions?)(?!\w))|(?<=session) (?=\d)|(?<=±) (?=\d)")


def clean(text: str) -> str:
    """One line of printable characters, with true minus signs before numbers."""
    return re.sub(r"(?<![\w.])-(?=\.?\d)", MINUS, printable(text))


def shortened(text: str, most: int) -> str:
    """At most so many characters: the middle of a long name gives way."""
    line = clean(text)
    keep = most - 1
    return line if len(line) <= most else f"{line[:keep - keep // 3]}…{line[len(line) - keep // 3:]}"


def wrap(text: str, size: float, width: float, weight: str = "normal") -> list[str]:
    """Break text into lines of at most `width` pt, not between number and unit; too long words are cut."""
    lines = [""]
    pieces = _TOGETHER.sub("\N{NO-BREAK SPACE}", clean(text)).split(" ")
    while pieces:
        piece = pieces.pop(0)
        joined = f"{lines[-1]} {piece}" if lines[-1] else piece
        if width_of(joined, size, weight) <= width:
            lines[-1] = joined
        elif lines[-1]:
            lines.append("")
            pieces.insert(0, piece)
        else:
            fits = next((k for k in range(len(piece) - 1, 1, -1) if width_of(piece[:k], size, weight) <= width), 1)
            lines[-1] = piece[:fits]
            lines.append("")
            pieces.insert(0, piece[fits:])
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines if line]


def clipped(lines: list[str], most: int) -> list[str]:
    """At most so many lines; an ellipsis in place of the last word marks what was left out."""
    if len(lines) <= most:
        return lines
    last = lines[most - 1]
    return [*lines[:most - 1], (last.rsplit(" ", 1)[0] if " " in last else last[:-2].rstrip()) + " …"]


class Paper:
    """A page or a picture measured in pt from the top left corner."""

    def __init__(self, width: float = A4[0], height: float = A4[1]) -> None:
        self.width, self.height = width, height
        self.figure = Figure(figsize=(width / 72, height / 72), dpi=72, facecolor="white", edgecolor="white",
                             frameon=True, linewidth=0)

    def line(self, x: float, top: float, text: str, size: float = SMALL, weight: str = "normal", **style: Any) -> float:
        """Write one line and return where the next one starts."""
        words(self.figure, x / self.width, 1 - (top + size) / self.height, text, size, weight, **style)
        return top + LEADING * size

    def lines(self, x: float, top: float, lines: Sequence[str], size: float = SMALL, weight: str = "normal",
              **style: Any) -> float:
        """Write lines and return where the next one starts."""
        for text in lines:
            top = self.line(x, top, text, size, weight, **style)
        return top

    def rule(self, top: float, left: float, right: float, color: str = RULE, width: float = 0.6) -> None:
        """Draw a horizontal rule."""
        self.figure.add_artist(Line2D([left / self.width, right / self.width], [1 - top / self.height] * 2, color=color,
                                      linewidth=width, linestyle="-", marker="none"))

    def upright(self, x: float, top: float, bottom: float, color: str = INK, width: float = 1.0) -> None:
        """Draw an upright rule."""
        self.figure.add_artist(Line2D([x / self.width] * 2, [1 - top / self.height, 1 - bottom / self.height],
                                      color=color, linewidth=width, linestyle="-", marker="none"))

    def box(self, left: float, top: float, width: float, height: float, *, fill: str = "none", edge: str = INK,
            line: float = 1.0, dashed: bool = False, rounded: float = 0.0) -> None:
        """Draw a box, with round corners if asked."""
        place = (left, self.height - top - height)
        corners = f"round,pad=0,rounding_size={rounded}"
        shape = (FancyBboxPatch(place, width, height, boxstyle=corners) if rounded
                 else Rectangle(place, width, height))
        shape.set(facecolor=fill, edgecolor=edge, linewidth=line, linestyle=(0, (4, 2.4)) if dashed else "-")
        shape.set_transform(_points(self.figure))
        self.figure.add_artist(shape)

    def axes(self, left: float, top: float, width: float, height: float, **options: Any) -> Axes:
        """Axes whose frame lies at this place."""
        box = (left / self.width, 1 - (top + height) / self.height, width / self.width, height / self.height)
        return self.figure.add_axes(box, **options)


def _points(figure: Figure) -> Any:
    """Return the transform from pt to the figure's own units."""
    from matplotlib.transforms import Affine2D

    return Affine2D().scale(1 / 72) + figure.dpi_scale_trans
