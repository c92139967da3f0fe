"""The glyphs of a font that a page uses, as a PDF embeds them, with the way back to characters."""

from __future__ import annotations

import io
from typing import NamedTuple
from unicodedata import normalize

from fontTools.subset import Options, Subsetter
from fontTools.ttLib import TTFont

from agree.report.drawing.fonts import file_of
from agree.report.drawing.writing_direction import JOINED_FORMS

MOST_A_BLOCK = 100  # entries that one block of a character map may have
TAGS = {"normal": "AGREEA", "bold": "AGREEB"}
DROPPED = ["GPOS", "GSUB", "GDEF", "kern", "name", "post", "FFTM", "gasp", "OS/2", "cmap", "cvt ", "fpgm", "prep"]


class Embedded(NamedTuple):
    """A font program with what a PDF says of it, in thousandths of the size."""

    name: str
    program: bytes
    box: tuple[int, int, int, int]
    ascent: int
    descent: int
    widths: str
    to_unicode: str


class EmbeddedFont:
    """Counts the glyphs in use."""

    def __init__(self, weight: str) -> None:
        self.weight = weight
        self.font = TTFont(io.BytesIO(file_of(weight).read_bytes()), lazy=True, recalcTimestamp=False)
        self.map = self.font.getBestCmap()
        self.used: dict[int, str] = {}

    def code(self, text: str) -> str:
        """Return the glyphs of a text in hexadecimal digits."""
        parts = []
        for character in text:
            glyph = self.font.getGlyphID(self.map.get(ord(character), ".notdef"))
            self.used.setdefault(glyph, character)
            parts.append(f"{glyph:04x}")
        return "".join(parts)

    def embedded(self) -> Embedded:
        """Return the part of the font that is used; glyphs keep their numbers."""
        scale = 1000 / self.font["head"].unitsPerEm
        glyphs = sorted(self.used)
        order = self.font.getGlyphOrder()
        widths = " ".join(f"{g} [{round(scale * self.font['hmtx'][order[g]][0])}]" for g in glyphs)
        head, hhea = self.font["head"], self.font["hhea"]
        box = (round(scale * head.xMin), round(scale * head.yMin), round(scale * head.xMax), round(scale * head.yMax))
        name = f"{TAGS[self.weight]}+DejaVuSans{'-Bold' if self.weight == 'bold' else ''}"
        ascent, descent = round(scale * hhea.ascent), round(scale * hhea.descent)
        options = Options(retain_gids=True, hinting=False, notdef_outline=True, recalc_timestamp=False,
                          drop_tables=DROPPED, layout_features=[], name_IDs=[], glyph_names=False)
        subsetter = Subsetter(options)
        subsetter.populate(gids=glyphs)
        subsetter.subset(self.font)
        buffer = io.BytesIO()
        self.font.save(buffer, reorderTables=True)
        return Embedded(name, buffer.getvalue(), box, ascent, descent, widths, self._to_unicode(glyphs))

    def _to_unicode(self, glyphs: list[int]) -> str:
        lines = ["/CIDInit /ProcSet findresource begin", "12 dict begin", "begincmap",
                 "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def",
                 "/CMapName /Adobe-Identity-UCS def", "/CMapType 2 def", "1 begincodespacerange", "<0000> <ffff>",
                 "endcodespacerange"]
        for first in range(0, len(glyphs), MOST_A_BLOCK):
            block = glyphs[first:first + MOST_A_BLOCK]
            lines.append(f"{len(block)} beginbfchar")
            lines += [f"<{g:04x}> <{_letters(self.used[g]).encode('utf-16-be').hex()}>" for g in block]
            lines.append("endbfchar")
        return "\n".join([*lines, "endcmap", "CMapName currentdict /CMap defineresource pop", "end", "end"])


def _letters(character: str) -> str:
    """Return the letter behind a joined form of Arabic script, so that a search finds the name as it is written.

    Lam with alef stays one character: readers take it apart themselves, in the order in which they turn a line.
    """
    letters = normalize("NFKC", character) if ord(character) in JOINED_FORMS else character
    return letters if len(letters) == 1 else character
