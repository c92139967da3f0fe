"""A figure as a PDF of one page with live text and embedded fonts; the same bytes for the same figure."""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.figure import Figure

from agree.report.drawing.fonts import drawable
from agree.report.drawing.pdf_fonts import EmbeddedFont
from agree.report.drawing.surface import Pen, Surface, number, segments, weight_of
from agree.report.drawing.writing_direction import as_seen

VERBS = {"M": "m", "L": "l", "C": "c", "Z": "h"}
CAPS = {"butt": 0, "round": 1, "projecting": 2}
NAMES = {"normal": "F1", "bold": "F2"}


class Pdf(Surface):
    """Collects the operators of one page."""

    def __init__(self, width: float, height: float) -> None:
        super().__init__(width, height)
        self.parts: list[str] = []
        self.fonts = {weight: EmbeddedFont(weight) for weight in NAMES}
        self.alphas: dict[tuple[str, str], str] = {}

    def _alpha(self, fill: float, stroke: float) -> str:
        key = (number(fill), number(stroke))
        return self.alphas.setdefault(key, f"A{len(self.alphas)}")

    def draw_path(self, gc: Any, path: Any, transform: Any, rgbFace: Any = None) -> None:
        """Draw one path."""
        pen = self.pen(gc, rgbFace)
        if pen.fill is None and pen.stroke is None:
            return
        drawn = " ".join(f"{' '.join(map(number, values))} {VERBS[verb]}".strip()
                         for verb, values in segments(path, transform))
        if drawn:
            self.parts.append(f"q {self._state(pen)}{drawn} {_painting(pen)} Q")

    def _state(self, pen: Pen) -> str:
        parts = []
        if pen.clip is not None:
            parts.append(f"{' '.join(map(number, pen.clip))} re W n")
        if pen.fill_alpha < 1 or pen.stroke_alpha < 1:
            parts.append(f"/{self._alpha(pen.fill_alpha, pen.stroke_alpha)} gs")
        if pen.fill is not None:
            parts.append(f"{_rgb(pen.fill)} rg")
        if pen.stroke is not None:
            parts.append(f"{_rgb(pen.stroke)} RG {number(pen.width)} w {CAPS[pen.cap]} J")
            if pen.dashes:
                parts.append(f"[{' '.join(map(number, pen.dashes))}] {number(pen.phase)} d")
        return " ".join(parts) + " "

    def draw_text(self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float, ismath: Any = False,
                  mtext: Any = None) -> None:
        """Draw live text."""
        weight = weight_of(prop)
        turn = math.radians(angle)
        cos, sin = math.cos(turn), math.sin(turn)
        place = " ".join(map(number, (cos, sin, -sin, cos, x, y)))
        code = self.fonts[weight].code(drawable(as_seen(s)))
        self.parts.append(f"BT {_rgb(gc.get_rgb()[:3])} rg /{NAMES[weight]} {number(prop.get_size_in_points())} Tf "
                          f"{place} Tm <{code}> Tj ET")

    def draw_image(self, *_: Any) -> None:
        """Draw nothing: no picture of ours holds an image."""


def _rgb(color: Sequence[float]) -> str:
    return " ".join(f"{float(c):.3f}".rstrip("0").rstrip(".") or "0" for c in color)


def _painting(pen: Pen) -> str:
    return "B" if pen.fill is not None and pen.stroke is not None else "f" if pen.fill is not None else "S"


def _text(words: str) -> str:
    """Return a PDF string in UTF-16, which any word can be written in."""
    coded = ("\N{ZERO WIDTH NO-BREAK SPACE}" + words).encode("utf-16-be", "replace").hex()
    return f"<{coded}>"


class _File:
    """Objects of a PDF in order, with their places."""

    def __init__(self) -> None:
        self.objects: list[bytes] = []

    def add(self, body: str | bytes) -> int:
        self.objects.append(body.encode("latin-1") if isinstance(body, str) else body)
        return len(self.objects)

    def stream(self, data: bytes, more: str = "") -> int:
        packed = zlib.compress(data, 9)
        return self.add(f"<< /Length {len(packed)} /Filter /FlateDecode {more}>>\nstream\n".encode() + packed
                        + b"\nendstream")

    def content(self, root: int, info: int) -> bytes:
        out, places = bytearray(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"), []
        for k, body in enumerate(self.objects, 1):
            places.append(len(out))
            out += f"{k} 0 obj\n".encode() + body + b"\nendobj\n"
        start = len(out)
        out += f"xref\n0 {len(places) + 1}\n0000000000 65535 f \n".encode()
        out += b"".join(f"{place:010d} 00000 n \n".encode() for place in places)
        out += (f"trailer\n<< /Size {len(places) + 1} /Root {root} 0 R /Info {info} 0 R >>\nstartxref\n{start}\n"
                "%%EOF\n").encode()
        return bytes(out)


def pdf_of(figure: Figure, *, metadata: Mapping[str, str]) -> bytes:
    """Return a figure as a PDF of one page; `metadata` such as Title, Subject, Keywords, Creator."""
    width, height = (72 * float(size) for size in figure.get_size_inches())
    if not math.isclose(float(figure.dpi), 72):
        figure.set_dpi(72)
    made = Pdf(width, height)
    figure.draw(made)
    file = _File()
    content = file.stream("\n".join(made.parts).encode("latin-1"))
    fonts = " ".join(f"/{NAMES[weight]} {_font(file, item)} 0 R" for weight, item in made.fonts.items() if item.used)
    states = " ".join(f"/{name} << /ca {fill} /CA {stroke} >>" for (fill, stroke), name in made.alphas.items())
    pages = len(file.objects) + 2
    page = file.add(f"<< /Type /Page /Parent {pages} 0 R /MediaBox [0 0 {number(width)} {number(height)}] /Contents "
                    f"{content} 0 R /Resources << /Font << {fonts} >> /ExtGState << {states} >> >> >>")
    file.add(f"<< /Type /Pages /Kids [{page} 0 R] /Count 1 >>")
    root = file.add(f"<< /Type /Catalog /Pages {pages} 0 R /Lang (en) /ViewerPreferences "
                    "<< /DisplayDocTitle true >> >>")
    info = file.add("<< " + " ".join(f"/{name} {_text(words)}" for name, words in metadata.items()) + " >>")
    return file.content(root, info)


def _font(file: _File, item: EmbeddedFont) -> int:
    made = item.embedded()
    program = file.stream(made.program, f"/Length1 {len(made.program)} ")
    box = " ".join(map(str, made.box))
    descriptor = file.add(f"<< /Type /FontDescriptor /FontName /{made.name} /Flags 32 /FontBBox [{box}] /ItalicAngle 0 "
                          f"/Ascent {made.ascent} /Descent {made.descent} /CapHeight {made.ascent} /StemV 80 "
                          f"/FontFile2 {program} 0 R >>")
    below = file.add(f"<< /Type /Font /Subtype /CIDFontType2 /BaseFont /{made.name} /CIDSystemInfo << "
                     f"/Registry (Adobe) /Ordering (Identity) /Supplement 0 >> /FontDescriptor {descriptor} 0 R "
                     f"/W [{made.widths}] /CIDToGIDMap /Identity >>")
    unicode_map = file.stream(made.to_unicode.encode("ascii"))
    return file.add(f"<< /Type /Font /Subtype /Type0 /BaseFont /{made.name} /Encoding /Identity-H /DescendantFonts "
                    f"[{below} 0 R] /ToUnicode {unicode_map} 0 R >>")
