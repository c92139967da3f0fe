"""A corrected copy of a recording: the power column changed, every other byte kept, its history told."""

from __future__ import annotations

import codecs
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from typing import NamedTuple

from agree.core.errors import InputError
from agree.core.quantities.known import POWER
from agree.core.quantities.units import factor
from agree.core.results.result import Result
from agree.files import file_bytes
from agree.files.formats.text import text_table
from agree.files.naming.headers import heading
from agree.files.table import MISSING, Table, numbers
from agree.recordings.channels import traces, without_unit_row
from agree.recordings.columns import choose
from agree.recordings.options import Options
from agree.recordings.readings import is_marker, unit_texts

LEAST_SCALE, MOST_SCALE = 0.2, 5.0
MOST_OFFSET_W = 200.0
TEXT = "a text table of one recording"


class Change(NamedTuple):
    """What is done to each reading of power: corrected = (device - offset_w) * scale."""

    scale: float
    offset_w: float = 0.0

    def apply(self, watts: float) -> float:
        """Correct one reading; 0 stays 0, and a reading does not change its sign."""
        made = (watts - self.offset_w) * self.scale
        return made if made * watts > 0 else 0.0

    def __str__(self) -> str:
        offset = f"(device - {self.offset_w:g} W)" if self.offset_w > 0 else f"(device + {-self.offset_w:g} W)"
        return f"{offset if self.offset_w else 'device'} * {self.scale:g}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CorrectedCopy(Result):
    """A corrected copy, not yet written.

    Attributes
    ----------
    content : bytes
        The file, in the dialect of its source.
    column : str
        Header of the column that was changed.
    changed, kept : int
        Readings changed; and cells left as they are: 0, blank, or a marker of a missing reading.
    sha256 : str
        Of the source.
    """

    content: bytes
    column: str
    changed: int
    kept: int
    sha256: str


def checked_change(scale: float, offset_w: float) -> Change:
    """Return a correction that can be meant.

    Raises
    ------
    InputError
        A scale outside 0.2 to 5, an offset beyond 200 W, or both without effect.
    """
    if not LEAST_SCALE <= scale <= MOST_SCALE:
        hint = f"; did you mean {scale / 100:g}?" if LEAST_SCALE <= scale / 100 <= MOST_SCALE else ""
        raise InputError(f"scale {scale:g} must be a factor from {LEAST_SCALE:g} to {MOST_SCALE:g}, such as 1.03{hint}")
    if not abs(offset_w) <= MOST_OFFSET_W:
        raise InputError(f"offset {offset_w:g} must lie within ±{MOST_OFFSET_W:g} W")
    if scale == 1 and offset_w == 0:
        raise InputError("scale 1 and offset 0 change nothing; give the correction found")
    return Change(float(scale), float(offset_w))


def corrected_copy(path: str | Path, change: Change, *, power_column: str | None = None) -> CorrectedCopy:
    r"""Read a recording and return its corrected copy; the file is opened for reading only.

    Line ends, encoding, mark of byte order, delimiter, decimal sign, quotes, comments, units and all other columns
    stay as they are, byte by byte. Readings are written with one decimal, or with as many as the column has. The copy
    is read again and compared before it is returned.

    Parameters
    ----------
    path : str or path
        A recording as `read_recording` takes it.
    change : Change
        The correction.
    power_column : str, optional
        Header of the column, or "column 2"; by default it is found by its name.

    Raises
    ------
    InputError
        A file that is no recording, or a dialect in which the copy would not read as meant.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from agree.correction.copy import Change, corrected_copy
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder, "ride.csv")
    ...     _ = file.write_text("s;Leistung [W];cad\n0;200,5;80\n1;0;0\n2;--;81\n3;100;80\n4;120;80\n")
    ...     print(corrected_copy(file, Change(1.04)).content.decode())
    s;Leistung [W];cad
    0;208,5;80
    1;0;0
    2;--;81
    3;104,0;80
    4;124,8;80
    <BLANKLINE>
    """
    file = Path(path)
    raw = file_bytes.raw(file, file_bytes.source_of(file), TEXT)
    table = _table(raw, file_bytes.source_of(file))
    traces(table._replace(notes=[]), POWER, Options(power_column).checked())  # every check of a recording
    body, at, unit = _power(table, power_column)
    cells = body.columns[at]
    found = numbers(body, cells, table.header[at], grouped=True)
    values, markers = found.tolist(), is_marker(found).tolist()
    mark, codec = _encoding(raw)
    text = raw[len(mark):].decode(codec)
    starts = [0, *accumulate(map(len, re.findall(r"[^\r\n]*(?:\r\n|\r|\n)", text)))]
    comma, digits = _form(body, cells, values, 4 if unit > 1 else 1)
    pieces, written, last = [], [], 0
    for row, cell, value, marker in zip(body.rows, cells, values, markers, strict=True):
        if cell.lower() in MISSING or value == 0 or marker:
            written.append(cell)
            continue
        made = f"{change.apply(value * unit) / unit:.{digits}f}"
        made = (made.lstrip("-") if float(made) == 0 else made).replace(".", "," if comma else ".")
        begin, end = _span(text, starts[row - 1], table.delimiter, at)
        place = text.find(cell, begin, end)
        pieces += [text[last:place], made]
        last = place + len(cell)
        written.append(made)
    content = mark + "".join([*pieces, text[last:]]).encode(codec)
    _prove(body, at, written, content, power_column)
    changed = len(pieces) // 2
    return CorrectedCopy(content=content, column=table.header[at], changed=changed, kept=len(cells) - changed,
                         sha256=hashlib.sha256(raw).hexdigest())


def _table(raw: bytes, source: str) -> Table:
    """Return the table of a text, as it is; what is packed or no text cannot be copied byte by byte."""
    kind = "gzip" if raw.startswith(file_bytes.GZIP) else file_bytes.kind_of(raw, source) if raw.strip() else "text"
    if kind != "text":
        raise InputError(f"{source}: found {kind}; expected {TEXT}; "
                         + ("unpack it first" if kind == "gzip" else "export the recording as CSV"))
    return text_table(file_bytes.unpacked(raw, source, TEXT), source)


def _power(table: Table, power_column: str | None) -> tuple[Table, int, float]:
    """Return the table without a row of units, the position of the power, and the W in its unit."""
    body, below = without_unit_row(table._replace(notes=[]))
    at = choose(body, power_column, None, None, quantity=POWER).readings
    unit = heading(unit_texts(body.header[at], below[at])).unit
    return body, at, factor(unit, POWER.unit) if unit else 1.0


def _encoding(raw: bytes) -> tuple[bytes, str]:
    """Return the mark of byte order and the encoding, found as a reader finds them."""
    for mark, codec in ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"),
                        (codecs.BOM_UTF16_BE, "utf-16-be")):
        if raw.startswith(mark):
            return mark, codec
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        return b"", "latin-1"
    return b"", "utf-8"


def _form(body: Table, cells: Sequence[str], values: list[float], least: int) -> tuple[bool, int]:
    """Return whether readings are written with a decimal comma, and with how many decimals."""
    decimals = [cell for cell, value in zip(cells, values, strict=True) if value % 1 > 0 and "e" not in cell.lower()]
    digits = max([least, *(len(re.split("[.,]", cell)[-1]) for cell in decimals)])
    with_comma = [cell for cell in decimals if "," in cell and cell.find(".") < cell.find(",")]
    if not decimals and body.delimiter != ",":  # whole watts: as in the other columns
        others = {cell for column in body.columns for cell in column}
        with_comma = [cell for cell in others if re.fullmatch(r"[+-]?\d+,\d+", cell)]
        with_comma = [] if any(re.fullmatch(r"[+-]?\d+\.\d+", cell) for cell in others) else with_comma
    # Three decimals after a comma would look like thousands.
    return bool(with_comma), digits + (digits == 3 and bool(with_comma))


def _span(text: str, start: int, delimiter: str, index: int) -> tuple[int, int]:
    """Return where the cell of a position begins and ends in the row that starts at `start`."""
    begin = start
    for place in range(index + 1):
        at = begin
        while text[at:at + 1] == " ":
            at += 1
        if text[at:at + 1] == '"':
            at += 1
            while text[at:at + 1] not in ("", '"') or text[at:at + 2] == '""':
                at += 2 if text[at] == '"' else 1
        while text[at:at + 1] not in ("", delimiter, "\r", "\n"):
            at += 1
        if place < index:
            begin = at + 1
    return begin, at


def _prove(body: Table, at: int, written: list[str], content: bytes, power_column: str | None) -> None:
    """Read the copy as any reader will, and refuse it unless it says what was meant."""
    try:
        copy, found, _ = _power(_table(content, body.source), power_column)
        numbers(copy, copy.columns[found], "power", grouped=True)
        columns = [list(column) for column in copy.columns]
    except InputError:
        found, columns = -1, []
    meant = [written if k == at else list(column) for k, column in enumerate(body.columns)]
    if found != at or columns != meant:
        raise InputError(f"{body.source}: found a form of table that cannot be copied with certainty; expected plain "
                         "rows of cells; export it as a comma separated table")
