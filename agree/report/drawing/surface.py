"""What a renderer of vector files needs to know of a drawn path: points, colours, clip; y grows upward, in pt."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from matplotlib.backend_bases import RendererBase
from matplotlib.path import Path as DrawnPath

from agree.report.drawing.fonts import width_of

VERBS = {DrawnPath.MOVETO: "M", DrawnPath.LINETO: "L", DrawnPath.CURVE4: "C", DrawnPath.CLOSEPOLY: "Z"}


class Pen(NamedTuple):
    """How a path is painted: fill and stroke (RGB, or None), their opacities, width, dashes, ends and clip."""

    fill: tuple[float, float, float] | None
    fill_alpha: float
    stroke: tuple[float, float, float] | None
    stroke_alpha: float
    width: float
    dashes: tuple[float, ...]
    phase: float
    cap: str
    join: str
    clip: tuple[float, float, float, float] | None


def number(value: float) -> str:
    """Print a coordinate: 2 decimals, no more than needed, never -0."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


class Surface(RendererBase):
    """Base of the renderers; one unit is one pt."""

    def __init__(self, width: float, height: float) -> None:
        super().__init__()
        self.width, self.height = width, height

    def get_canvas_width_height(self) -> tuple[float, float]:
        """Return the size, pt."""
        return self.width, self.height

    def points_to_pixels(self, points: Any) -> Any:
        """One pixel is one pt."""
        return points

    def flipy(self) -> bool:
        """Y grows upward, as in the figure."""
        return False

    def get_text_width_height_descent(self, s: str, prop: Any, ismath: Any) -> tuple[float, float, float]:
        """Measure a text in the fonts that will be used."""
        size = float(prop.get_size_in_points())
        return width_of(s, size, weight_of(prop)), 0.93 * size, 0.2 * size

    def pen(self, gc: Any, face: Any) -> Pen:
        """Collect how a path is painted."""
        alpha = float(gc.get_alpha())
        red, green, blue, own = gc.get_rgb()
        opaque = alpha if gc.get_forced_alpha() else float(own)
        width = float(gc.get_linewidth())
        fill_alpha = 0.0 if face is None else alpha if gc.get_forced_alpha() or len(face) < 4 else float(face[3])
        phase, dashes = gc.get_dashes()
        box = gc.get_clip_rectangle()
        clip = None if box is None else (float(box.x0), float(box.y0), float(box.width), float(box.height))
        fill = None if fill_alpha == 0 or face is None else (float(face[0]), float(face[1]), float(face[2]))
        return Pen(fill, fill_alpha, (red, green, blue) if width > 0 and opaque > 0 else None, opaque, width,
                   tuple(float(d) for d in dashes or ()), float(phase or 0), str(gc.get_capstyle()),
                   str(gc.get_joinstyle()), clip)


def weight_of(prop: Any) -> str:
    """Return which of the two fonts a text is set in."""
    return "bold" if "Bold" in str(prop.get_file() or "") or prop.get_weight() == "bold" else "normal"


def segments(path: Any, transform: Any) -> Iterator[tuple[str, tuple[float, ...]]]:
    """Return the verbs M, L, C and Z of a path with their points; quadratic curves become cubic ones."""
    x = y = 0.0
    for points, code in path.iter_segments(transform, simplify=False):
        values = tuple(float(v) for v in points)
        if code == DrawnPath.CURVE3:
            a, b, u, v = values
            yield "C", (x + 2 * (a - x) / 3, y + 2 * (b - y) / 3, u + 2 * (a - u) / 3, v + 2 * (b - v) / 3, u, v)
            x, y = u, v
        elif code in VERBS:
            yield VERBS[code], () if code == DrawnPath.CLOSEPOLY else values
            if code != DrawnPath.CLOSEPOLY:
                x, y = values[-2:]
