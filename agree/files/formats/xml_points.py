"""From the XML of a training log (TCX, GPX) to a table of text cells with a row for each point.

Names of the elements are those of the open Training Center schema with its activity extension, and of the open GPX
schema 1.1 with the extensions for power, heart rate, cadence, temperature and speed that recorders write (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from typing import Any
from xml.sax import SAXException, SAXParseException, handler

from defusedxml.common import DefusedXmlException, DTDForbidden
from defusedxml.expatreader import DefusedExpatParser

from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.core.results.plain import plain_name
from agree.files.naming.headers import heading
from agree.files.table import Table

MAX_BYTES = 200_000_000  # 3 days at a point a second with positions
MAX_POINTS = 7 * 86_400 * 10  # 7 days, 10 a second
MAX_DEPTH = 64
MAX_CELL = 64  # characters of a number or stamp
CHUNK = 1 << 16  # bytes
MAX_TAG = 1 << 20
MAX_LAPS = 10_000
MAX_NAMED = 20  # elements of powers, and elements that are not read
POINTS = frozenset({"Trackpoint", "trkpt"})
# Local names of elements in a point, in lower case, and the column they go to.
ELEMENTS = {
    "time": "Time", "watts": "Watts", "cadence": "Cadence", "cad": "Cadence", "speed": "Speed [m/s]",
    "hr": "heart rate", "heartrate": "heart rate", "heartratebpm": "heart rate", "atemp": "temperature",
    "temp": "temperature"}
INSIDE = {"heartratebpm": "value"}  # elements whose cell stands in a child
FRAMES = frozenset({"extensions", "tpx", "trackpointextension", "position", "value", *INSIDE})  # no cell of their own
COLUMNS = tuple(dict.fromkeys(ELEMENTS.values()))


def xml_table(data: bytes, source: str) -> Table:
    """Read the points of an XML training log; rows are the lines on which they begin.

    Raises
    ------
    InputError
        Text that is no XML or is cut off, a document type, nesting without end, no points, no power.
    """
    if len(data) > MAX_BYTES:
        raise InputError(f"{source}: found XML of {len(data)} bytes; expected at most {MAX_BYTES}; "
                         "cut the file to one recording")
    parser = DefusedExpatParser(forbid_dtd=True)
    points = _Points(source, parser.getLineNumber)
    parser.setContentHandler(points)
    try:
        _feed(parser, data, source)
        parser.close()
    except InputError:
        raise
    except DefusedXmlException as exc:
        kind = "a document type (DTD)" if isinstance(exc, DTDForbidden) else "an entity"
        raise InputError(f"{source}, line {parser.getLineNumber()}: found {kind}; expected plain XML, as no "
                         "recorder writes one; export the file again") from None
    except (SAXException, ValueError, LookupError) as exc:  # the latter two from encodings that there are not
        line = exc.getLineNumber() if isinstance(exc, SAXParseException) else parser.getLineNumber()
        why = exc.getMessage() if isinstance(exc, SAXException) else exc
        raise InputError(f"{source}, line {line}: found XML that is damaged, cut off or not in the encoding it "
                         f"states ({why}), after {len(points.rows)} points; expected a whole file; "
                         "export it again") from None
    return points.table()


def _feed(parser: DefusedExpatParser, data: bytes, source: str) -> None:
    """Parse piece by piece; a tag or comment without end, scanned anew with each piece, is given up soon."""
    place, still = (0, 0), 0
    for start in range(0, len(data), CHUNK):
        parser.feed(data[start: start + CHUNK])
        here = (parser.getLineNumber(), parser.getColumnNumber())
        place, still = here, still + 1 if here == place else 0
        if still * CHUNK > MAX_TAG:
            raise InputError(f"{source}, line {here[0]}: found a tag or comment of more than {MAX_TAG} bytes; expected "
                             "a training log; export the file again")


class _Points(handler.ContentHandler):
    """Take the cells of each point as they pass; nothing else is kept."""

    def __init__(self, source: str, line: Callable[[], int]) -> None:
        super().__init__()
        self.source, self.line = source, line
        self.depth = 0
        self.point = 0  # depth of the open Trackpoint
        self.key = ""  # the open element whose text is wanted
        self.text: list[str] = []
        self.size = 0
        self.cells: dict[str, str] = {}
        self.within = ""  # the open element whose cell stands in a child
        self.columns: dict[str, list[str]] = {name: [] for name in COLUMNS}
        self.rows: list[int] = []
        self.keys = dict(ELEMENTS)
        self.unread: dict[str, None] = {}  # names of further elements, in order
        self.activities = self.twice = 0
        self.laps: list[str] = []

    def startElement(self, name: str, attrs: Any) -> None:
        """Open a point, or a cell of one; prefixes of namespaces are left aside."""
        self.depth += 1
        if self.depth > MAX_DEPTH:
            raise self._fail(f"elements {self.depth} deep", f"at most {MAX_DEPTH}")
        local = name.rpartition(":")[2]
        if self.point:
            plain = local.lower()
            key = self.keys[plain] if plain in self.keys else self._named(plain, local)
            if self.within and plain == INSIDE[self.within]:
                key = ELEMENTS[self.within]
            elif plain in INSIDE:
                self.within, key = plain, ""
            self.key, self.text, self.size = key, [], 0
        elif local in POINTS:
            if len(self.rows) >= MAX_POINTS:
                raise self._fail(f"more than {MAX_POINTS} points", "at most 7 days of them")
            self.point, self.cells = self.depth, {}
            self.rows.append(self.line())
        else:
            self.activities += local in ("Activity", "trk")
            if local == "Lap":
                self.laps.append(str(attrs.get("StartTime", "")) if len(self.laps) < MAX_LAPS else "")

    def _named(self, plain: str, local: str) -> str:
        """Return the column of an element that names a power of any kind, such as pwr or targetPower, else ""."""
        key = ""
        room = len(self.columns) < len(COLUMNS) + MAX_NAMED and len(self.unread) < MAX_NAMED
        if room and len(local) <= MAX_CELL and plain not in FRAMES:
            if heading(local).named:
                key = plain_name(local[0].upper() + local[1:])
                self.columns.setdefault(key, [""] * (len(self.rows) - 1))
            else:
                self.unread[plain_name(local)] = None
        if len(self.keys) < MAX_DEPTH:
            self.keys[plain] = key
        return key

    def characters(self, content: str) -> None:
        """Take the text of a cell, of bounded length."""
        if self.key:
            self.size += len(content)
            if self.size > MAX_CELL and content.strip():
                raise self._fail(f"{self.key} with more than {MAX_CELL} characters", "a number or stamp")
            self.text.append(content)

    def endElement(self, name: str) -> None:
        """Close a cell or a point."""
        if self.key:
            cell = "".join(self.text).strip()
            if self.cells.setdefault(self.key, cell) != cell:
                self.twice += 1
            self.key = ""
        if self.within and name.rpartition(":")[2].lower() == self.within:
            self.within = ""
        if self.depth == self.point:
            self.point, self.within = 0, ""
            for key, column in self.columns.items():
                column.append(self.cells.get(key, ""))
        self.depth -= 1

    def _fail(self, found: str, expected: str) -> InputError:
        return InputError(f"{self.source}, line {self.line()}: found {found}; expected {expected}; "
                          "export the file again")

    def table(self) -> Table:
        """Return the table of all points."""
        if not self.rows:
            raise InputError(f"{self.source}: found XML without a Trackpoint or trkpt; expected a training log with "
                             "points; export the ride with its points as TCX, GPX, FIT or CSV")
        used = [key for key, column in self.columns.items() if any(column)]
        notes = [Note(kind="read_parts", values={"count": count, "what": what}) for count, what in
                 ((self.activities, "activities"), (len(self.laps), "laps")) if count > 1]
        if self.twice:
            notes.append(Note(kind="read_twice", severity="trust", values={"times": self.twice}))
        return Table(self.source, used, [self.columns[key] for key in used], self.rows, notes, word="line",
                     decimal=".", metric=True, fields=tuple(used) + tuple(self.unread), laps=_seconds(self.laps))


def _seconds(stamps: list[str]) -> tuple[float, ...] | None:
    """Return the stamps of laps as seconds since 1970, those that can be read; None if there are none."""
    found = []
    for stamp in stamps:
        with suppress(ValueError):
            moment = datetime.fromisoformat(stamp)
            found.append((moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp())
    return tuple(found) or None
