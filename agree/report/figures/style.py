"""The look of figures, and text laid out by measure: matplotlib's object interface only, nothing global."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from threading import RLock
from typing import Any

import matplotlib as mpl
import matplotlib.style
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

A4_PT = (210 / 25.4 * 72, 297 / 25.4 * 72)
INK, GREY, PALE, ACCENT = "#1a1a1a", "#595959", "#d4d4d4", "#0a5a8c"
SMALL = 6.5          # pt; nothing is set smaller
MARKERS = "os^Dv<>p"  # one for each session in turn
CLAIM_LINE: dict[str, Any] = {"color": INK, "linewidth": 0.9, "linestyle": (0, (5, 2.5))}
_RC = {
    "font.family": "DejaVu Sans", "font.size": SMALL, "text.color": INK, "text.parse_math": False,
    "axes.edgecolor": GREY, "axes.linewidth": 0.5, "axes.labelcolor": INK, "axes.labelsize": SMALL,
    "axes.labelpad": 2, "axes.spines.top": False, "axes.spines.right": False, "axes.titlesize": 7.5,
    "axes.titlelocation": "left",
    "xtick.labelsize": SMALL, "ytick.labelsize": SMALL, "xtick.color": GREY, "ytick.color": GREY,
    "xtick.labelcolor": INK, "ytick.labelcolor": INK, "xtick.major.size": 2, "ytick.major.size": 2,
    "xtick.major.width": 0.5, "ytick.major.width": 0.5, "xtick.major.pad": 2, "ytick.major.pad": 2,
    "lines.solid_capstyle": "butt", "hatch.linewidth": 0.4,
    "svg.hashsalt": "agree", "svg.fonttype": "path", "pdf.fonttype": 42, "savefig.dpi": 150,
}
_LOCK = RLock()  # settings of matplotlib belong to the process, and pages may be made in threads


@contextmanager
def look() -> Iterator[None]:
    """Draw in this package's look, whatever the caller's settings, and leave those as they were."""
    with _LOCK, matplotlib.style.context(["default", _RC]), warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from")  # a name in another script shows boxes
        yield


def clean(text: str) -> str:
    """One line of printable characters, with true minus signs before numbers."""
    line = "".join(c if c.isprintable() else " " for c in text)
    return re.sub(r"(?<![\w.])-(?=\.?\d)", "\N{MINUS SIGN}", " ".join(line.split()))


_TOGETHER = re.compile(  # a number and its unit, a probability, the two ends of an interval
    r"(?<=[\d\]]) (?=(?:%|W|s|min|h|ppm)(?!\w))|(?<=P [<>]) (?=\d)|(?<=P) (?=[<>\d])|(?<=,) (?=[^\[\]]*\])")


def shortened(text: str, most: int) -> str:
    """At most so many characters: the middle of a long name gives way."""
    line = clean(text)
    keep = most - 1
    return line if len(line) <= most else f"{line[:keep - keep // 3]}…{line[len(line) - keep // 3:]}"


@lru_cache(maxsize=4096)
def width_of(text: str, size: float, weight: str = "normal") -> float:
    """Width of one line, pt, with a little room, since hinted fonts run wider."""
    font = FontProperties(family="DejaVu Sans", size=size, weight=weight)
    return 1.04 * float(text_to_path.get_text_width_height_descent(text, font, ismath=False)[0])


def wrap(text: str, size: float, width: float, weight: str = "normal") -> list[str]:
    """Break text into lines of at most `width` pt, not between number and unit; too long words are cut."""
    lines = [""]
    words = _TOGETHER.sub("\N{NO-BREAK SPACE}", clean(text)).split(" ")
    while words:
        word = words.pop(0)
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if width_of(joined, size, weight) <= width:
            lines[-1] = joined
        elif lines[-1]:
            lines.append("")
            words.insert(0, word)
        else:
            fits = next((k for k in range(len(word) - 1, 1, -1) if width_of(word[:k], size, weight) <= width), 1)
            lines[-1] = word[:fits]
            lines.append("")
            words.insert(0, word[fits:])
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines if line]


def clipped(lines: list[str], most: int) -> list[str]:
    """At most so many lines; an ellipsis marks what was left out."""
    return lines if len(lines) <= most else [*lines[:most - 1], lines[most - 1][:-2].rstrip() + " …"]


class Sheet:
    """One A4 page measured in pt from the top left corner."""

    def __init__(self) -> None:
        self.width, self.height = A4_PT
        self.figure = Figure(figsize=(self.width / 72, self.height / 72), dpi=72, facecolor="white")

    def line(self, x: float, top: float, text: str, size: float = 7, **style: Any) -> float:
        """Write one line and return where the next one starts."""
        self.figure.text(x / self.width, 1 - (top + size) / self.height, text, fontsize=size, va="baseline", **style)
        return top + 1.3 * size

    def lines(self, x: float, top: float, lines: Sequence[str], size: float = 7, **style: Any) -> float:
        """Write lines and return where the next one starts."""
        for text in lines:
            top = self.line(x, top, text, size, **style)
        return top

    def rule(self, top: float, left: float, right: float, color: str = PALE) -> None:
        """Draw a thin horizontal rule."""
        self.figure.add_artist(mpl.lines.Line2D([left / self.width, right / self.width],
                                                [1 - top / self.height] * 2, color=color, linewidth=0.5))

    def axes(self, left: float, top: float, width: float, height: float, **options: Any) -> Axes:
        """Axes whose frame lies at this place."""
        box = (left / self.width, 1 - (top + height) / self.height, width / self.width, height / self.height)
        return self.figure.add_axes(box, **options)


def size_pt(ax: Axes) -> tuple[float, float]:
    """Width and height of the axes, pt."""
    box, figure = ax.get_window_extent(), ax.get_figure(root=True)
    scale = 72 / (figure.dpi if figure is not None else 72)
    return float(box.width) * scale, float(box.height) * scale


def apart(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Move positions as little as needed to lie `gap` apart within [low, high], keeping their order."""
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    groups: list[tuple[float, int]] = []  # centre and number of labels that touch each other
    for k in order:
        groups.append((min(max(wanted[k], low), high), 1))
        while len(groups) > 1 and groups[-1][0] - groups[-2][0] < gap * (groups[-1][1] + groups[-2][1]) / 2:
            (a, m), (b, n) = groups[-2:]
            half = gap * (m + n - 1) / 2
            centre = min(max((a * m + b * n) / (m + n), low + half), high - half)
            groups[-2:] = [(centre, m + n)]
    placed = [centre + gap * (j - (n - 1) / 2) for centre, n in groups for j in range(n)]
    result = [0.0] * len(wanted)
    for place, k in zip(placed, order, strict=True):
        result[k] = place
    return result


def labels_right(ax: Axes, labels: Sequence[tuple[float, str]]) -> None:
    """Name lines at the right edge of the axes, moved apart where they would touch, with a leader line."""
    if not labels:
        return
    low, high = ax.get_ylim()
    height = size_pt(ax)[1]
    wanted = [min(max((y - low) / (high - low), 0.0), 1.0) * height for y, _ in labels]
    placed = apart(wanted, SMALL * 1.25, SMALL / 2, height - SMALL / 2)
    for (_, text), start, end in zip(labels, wanted, placed, strict=True):
        ax.annotate(clean(text), xy=(1, start / height), xycoords="axes fraction", xytext=(11, end - start),
                    textcoords="offset points", va="center_baseline", ha="left", fontsize=SMALL,
                    annotation_clip=False, arrowprops={"arrowstyle": "-", "linewidth": 0.4, "color": GREY,
                                                       "shrinkA": 1, "shrinkB": 0, "relpos": (0, 0.5)})
