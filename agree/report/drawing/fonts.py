"""The two fonts of every picture, and how wide text is in them: files of matplotlib's own, whatever a machine has."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import matplotlib as mpl
from matplotlib.font_manager import FontProperties
from matplotlib.ft2font import FT2Font
from matplotlib.textpath import text_to_path

FILES = {"normal": "DejaVuSans.ttf", "bold": "DejaVuSans-Bold.ttf"}
FAMILY = "DejaVu Sans"
NO_GLYPH = "\N{WHITE SQUARE}"
ROOM = 1.02  # hinted fonts run a little wider than their measures


def file_of(weight: str) -> Path:
    """Return the file of a font."""
    return Path(mpl.get_data_path()) / "fonts" / "ttf" / FILES[weight]


@lru_cache(maxsize=64)
def font(size: float, weight: str = "normal") -> FontProperties:
    """Return a font at a size in pt."""
    return FontProperties(fname=str(file_of(weight)), size=size)


@lru_cache(maxsize=2)
def _glyphs(weight: str) -> frozenset[int]:
    return frozenset(FT2Font(str(file_of(weight))).get_charmap())


def drawable(text: str) -> str:
    """Return a text with a square for each character that the fonts do not have."""
    known = _glyphs("normal")
    return "".join(c if ord(c) in known else NO_GLYPH for c in text)


@lru_cache(maxsize=8192)
def width_of(text: str, size: float, weight: str = "normal") -> float:
    """Width of one line, pt."""
    width = text_to_path.get_text_width_height_descent(drawable(text), font(100, weight), ismath=False)[0]
    return ROOM * float(width) * size / 100
