"""A figure as SVG with live text, groups and titles for readings; colours by CSS variables where asked."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any
from zlib import crc32

from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from agree.report.drawing.fonts import FAMILY
from agree.report.drawing.surface import Pen, Surface, number, segments, weight_of

CAPS = {"butt": "butt", "round": "round", "projecting": "square"}


class Svg(Surface):
    """Collects elements; `titles` gives each marker of an artist with that gid its own title and number."""

    def __init__(self, width: float, height: float, titles: Mapping[str, Sequence[tuple[int, str]]],
                 names: Mapping[str, str], prefix: str) -> None:
        super().__init__(width, height)
        self.prefix = prefix  # of names, which must be unique in a document of several pictures
        self.clips: dict[tuple[float, float, float, float], str] = {}
        self.parts: list[str] = []
        self.titles, self.names = titles, names
        self.gid = ""

    def open_group(self, s: str, gid: str | None = None) -> None:
        """Remember the artist's gid; only named ones make a group."""
        if gid:
            self.gid = gid

    def close_group(self, s: str) -> None:
        """Forget the gid."""
        self.gid = ""

    def _color(self, rgb: Sequence[float]) -> str:
        text = str(to_hex((rgb[0], rgb[1], rgb[2])))
        return self.names.get(text, text)

    def _style(self, pen: Pen) -> str:
        parts = [f'fill="{self._color(pen.fill)}"' if pen.fill else 'fill="none"']
        if pen.fill and pen.fill_alpha < 1:
            parts.append(f'fill-opacity="{number(pen.fill_alpha)}"')
        if pen.stroke:
            parts.append(f'stroke="{self._color(pen.stroke)}" stroke-width="{number(pen.width)}"')
            if pen.stroke_alpha < 1:
                parts.append(f'stroke-opacity="{number(pen.stroke_alpha)}"')
            if pen.dashes:
                parts.append(f'stroke-dasharray="{" ".join(map(number, pen.dashes))}"')
            if pen.cap != "butt":
                parts.append(f'stroke-linecap="{CAPS[pen.cap]}"')
        return " ".join(parts)

    def _data(self, path: Any, transform: Any) -> str:
        return self._moved(tuple(segments(path, transform)), 0.0, 0.0)

    def _moved(self, shape: Sequence[tuple[str, tuple[float, ...]]], x: float, y: float) -> str:
        """Return the data of a shape moved by x and y."""
        parts = []
        for verb, values in shape:
            parts.append(verb + " ".join([number(self.height - v - y if k % 2 else v + x)
                                          for k, v in enumerate(values)]))
        return "".join(parts)

    def draw_path(self, gc: Any, path: Any, transform: Any, rgbFace: Any = None) -> None:
        """Draw one path, cut at the clip rectangle."""
        pen = self.pen(gc, rgbFace)
        if pen.fill is None and pen.stroke is None:
            return
        data = self._data(path, transform)
        if data:
            self.parts.append(f'<path d="{data}" {self._style(pen)}{self._clip(pen)}/>')

    def _clip(self, pen: Pen) -> str:
        if pen.clip is None:
            return ""
        name = self.clips.setdefault(pen.clip, f"{self.prefix}-{len(self.clips)}")
        return f' clip-path="url(#{name})"'

    def definitions(self) -> str:
        """Return the clip rectangles in use."""
        if not self.clips:
            return ""
        parts = []
        for (x, y, width, height), name in self.clips.items():
            place = f'x="{number(x)}" y="{number(self.height - y - height)}"'
            size = f'width="{number(width)}" height="{number(height)}"'
            parts.append(f'<clipPath id="{name}"><rect {place} {size}/></clipPath>')
        return f"<defs>{''.join(parts)}</defs>\n"

    def draw_markers(self, gc: Any, marker_path: Any, marker_trans: Any, path: Any, trans: Any,
                     rgbFace: Any = None) -> None:
        """Draw a mark at each point; one with a gid is a group with a title, which scripts can find."""
        titles = self.titles.get(self.gid, ())
        pen = self.pen(gc, rgbFace)._replace(clip=None)
        shape, style = tuple(segments(marker_path, marker_trans)), self._style(pen)
        for k, (points, _) in enumerate(path.iter_segments(trans, simplify=False)):
            x, y = points[-2:]
            one = f'<path d="{self._moved(shape, float(x), float(y))}" {style}/>'
            if k < len(titles):
                key, told = titles[k]
                one = f'<g class="reading" data-k="{key}"><title>{escape(told)}</title>{one}</g>'
            self.parts.append(one)

    def draw_text(self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float, ismath: Any = False,
                  mtext: Any = None) -> None:
        """Draw live text."""
        size, bold = float(prop.get_size_in_points()), weight_of(prop) == "bold"
        at = f'x="{number(x)}" y="{number(self.height - y)}"'
        turn = f' transform="rotate({number(-angle)} {number(x)} {number(self.height - y)})"' if angle else ""
        weight = ' font-weight="bold"' if bold else ""
        self.parts.append(f'<text {at} font-size="{number(size)}"{weight} fill="{self._color(gc.get_rgb()[:3])}"{turn}>'
                          f"{escape(s)}</text>")

    def draw_image(self, *_: Any) -> None:
        """Draw nothing: no picture of ours holds an image."""


def svg_of(figure: Figure, *, label: str = "", titles: Mapping[str, Sequence[tuple[int, str]]] | None = None,
           names: Mapping[str, str] | None = None, inline: bool = False) -> str:
    """Return a figure as SVG text.

    Parameters
    ----------
    figure : Figure
        Its size is in inches of 72 units.
    label : str
        What it shows, for readers who do not see it.
    titles : mapping
        Number and title of each mark of an artist, by the artist's gid.
    names : mapping
        What to write for a colour (#rrggbb), such as "var(--ink)".
    inline : bool
        For use within HTML: without the XML head.
    """
    width, height = (72 * float(size) for size in figure.get_size_inches())
    if not math.isclose(float(figure.dpi), 72):
        figure.set_dpi(72)
    made = Svg(width, height, titles or {}, names or {}, f"clip-{crc32(label.encode('utf-8', 'replace')):08x}")
    figure.draw(made)
    head = "" if inline else '<?xml version="1.0" encoding="UTF-8"?>\n'
    size = "" if inline else f' width="{number(width)}pt" height="{number(height)}pt"'
    named = f' role="img" aria-label="{escape(label)}"' if label else ' aria-hidden="true"'
    title = f"<title>{escape(label)}</title>" if label and not inline else ""
    body = made.definitions() + "\n".join(made.parts)
    return (f'{head}<svg xmlns="http://www.w3.org/2000/svg"{size} viewBox="0 0 {number(width)} {number(height)}" '
            f'font-family="{FAMILY}, Verdana, sans-serif"{named}>{title}\n{body}\n</svg>\n')
