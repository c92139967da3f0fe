"""Lines of text from bytes: the encoding is found out, comments are left out, line numbers are kept."""

from __future__ import annotations

import codecs
import io
import re
from array import array
from collections.abc import Iterator
from functools import partial

from agree.core.errors import InputError

MAX_LINE = 1_000_000
HEAD, BLOCK = 4096, 1 << 20
CONTROLS = bytes([*range(9), *range(14, 32)])  # no text has these
COMMENT = re.compile(r"\s*(?:#(?!N/A)|//)")
LATE_CONTROL = re.compile(rb"[\x80-\x9f]")


class Lines:
    """Iterator over the lines of a text but for its comments; each ends in a line feed.

    Attributes
    ----------
    encoding : str
        As found.
    total : int
        How many lines there are, comments and blank ones too.
    numbers : array of int
        Number in the file of each line given so far, from 1.
    comments : list of str
        Comments passed over so far.
    above : int
        How many of them stand before the first line that is not blank.
    cut : bool
        Whether the last line given had no end, known when all are given.
    last : str
        The last line given, if it had no end.
    """

    def __init__(self, data: bytes, source: str) -> None:
        self.encoding, data = _encoding(data, source)
        self._text = io.TextIOWrapper(io.BytesIO(data), self.encoding, newline=None)
        self._source = source
        self.total = max(data.count(b"\n"), data.count(b"\r"))
        self.numbers = array("q")
        self.comments: list[str] = []
        self.above = 0
        self.cut, self.last = False, ""
        self._lines = self._given()

    def __iter__(self) -> Iterator[str]:
        return self._lines

    def _given(self) -> Iterator[str]:
        give, begun = self.numbers.append, False
        for number, read in enumerate(iter(partial(self._text.readline, MAX_LINE), ""), 1):
            line = read
            if ("#" in line or "//" in line) and COMMENT.match(line):
                self.comments.append(line)
                continue
            if not begun and not line.isspace():
                begun, self.above = True, len(self.comments)
            if line[-1] != "\n":
                if len(line) == MAX_LINE:
                    raise InputError(f"{self._source}, row {number}: found a line of more than {MAX_LINE} characters; "
                                     "expected a row for each reading; export the recording as CSV")
                self.cut, self.last = not line.isspace(), line
                line += "\n"
            give(number)
            yield line


def _encoding(data: bytes, source: str) -> tuple[str, bytes]:
    """Return the encoding of a text and its bytes, without a last character that was cut."""
    binary = InputError(f"{source}: found binary data; expected a text table; export the recording as CSV")
    head = data[:HEAD]
    wide = ""
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        wide = "utf-16"
    elif b"\0" in head:  # plain letters in two bytes each: one of the two is zero
        even, odd = head[::2].count(0), head[1::2].count(0)
        wide = "utf-16-le" if odd > 0.6 * len(head) / 2 and not even else "utf-16-be"
        if wide == "utf-16-be" and (odd or even < 0.6 * len(head) / 2):
            raise binary
    if wide:
        try:
            text = data.decode(wide)
        except UnicodeDecodeError:
            raise binary from None
        if any(chr(code) in text for code in CONTROLS):
            raise binary
        return wide, data
    for start in range(0, len(data), BLOCK):
        block = data[start: start + BLOCK]
        if len(block.translate(None, CONTROLS)) < len(block):
            raise binary
    if data.isascii():
        return "utf-8", data
    decoder = codecs.getincrementaldecoder("utf-8-sig")()
    try:
        for start in range(0, len(data), BLOCK):
            decoder.decode(data[start: start + BLOCK])
    except UnicodeDecodeError:
        return ("cp1252" if LATE_CONTROL.search(data) and _decodes(data, "cp1252") else "latin-1"), data
    rest = len(decoder.getstate()[0])
    return "utf-8-sig", data[: len(data) - rest]


def _decodes(data: bytes, encoding: str) -> bool:
    try:
        data.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True
