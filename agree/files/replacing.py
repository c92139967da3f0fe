"""What stands where a file is to be written, if it must not be lost: recordings, tables, declarations, others."""

from __future__ import annotations

import json
from pathlib import Path

# Recordings and tables; a name of this kind is kept whatever it holds, since what is written here never has it.
KEPT_SUFFIXES = (".csv", ".tsv", ".fit", ".tcx", ".gpx", ".parquet", ".jsonl", ".ndjson")
PACKED = ".gz"
HTML_HEAD = b'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
SVG_HEAD = b'<?xml version="1.0" encoding="UTF-8"?>\n<svg xmlns="http://www.w3.org/2000/svg" width="'
SHEET_HEAD = b"RECORD SHEET"
PDF_CREATOR = b"feff" + "agree ".encode("utf-16-be").hex().encode()  # a text string of PDF, as report/ writes it
PNG_SOFTWARE = b"Software\0agree "


def not_to_be_lost(path: str | Path) -> str:
    r"""Return what stands at a place, in words, if a result must not be written over it; "" if it may.

    A place that is free, an empty file, a pipe, and a result, page or sheet that this package wrote may be written.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from agree.files.replacing import not_to_be_lost
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     place = pathlib.Path(folder, "ride.csv")
    ...     before = not_to_be_lost(place)
    ...     _ = place.write_text("time,power\\n0,200\n")
    ...     before, not_to_be_lost(place)
    ('', 'a recording or a table')
    """
    target = Path(path)
    try:
        target = target.resolve()
        if not target.is_file() or target.stat().st_size == 0:
            return ""
        content = target.read_bytes()
    except (OSError, ValueError, RuntimeError):  # writing itself says what is wrong with the place
        return ""
    if target.name.lower().removesuffix(PACKED).endswith(KEPT_SUFFIXES):
        return "a recording or a table"
    if content.lstrip()[:1] in (b"{", b"["):
        return _json(content)
    return "" if _page(content) else "a file that agree did not write"


def _json(content: bytes) -> str:
    try:
        stored = json.loads(content)
    except (ValueError, RecursionError):
        stored = None
    first = stored[0] if isinstance(stored, list) and stored else stored
    if isinstance(first, dict):
        if str(first.get("format", "")).startswith("agree declaration"):
            return "a declaration"
        if isinstance(first.get("kind"), str) or first.get("schema") in (1, 2):
            return ""
    return "JSON that agree did not write"


def _page(content: bytes) -> bool:
    """Whether content is a page or a sheet of this package."""
    if content.startswith(b"%PDF-"):
        return PDF_CREATOR in content.lower()
    if content.startswith(b"\x89PNG"):
        return PNG_SOFTWARE in content[:1000]
    if content.startswith(HTML_HEAD):
        return b"agree" in content or b"<title>Record sheet" in content
    return content.startswith((SVG_HEAD, SHEET_HEAD))
