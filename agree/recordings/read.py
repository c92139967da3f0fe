"""From a source to a `Recording`: the table is opened, its columns are chosen and checked, and nothing is changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from agree.core.data.source_identity import SourceIdentity
from agree.core.quantity import Quantity
from agree.files.open_table import open_table
from agree.files.source import Source
from agree.files.table import Table
from agree.recordings.channels import traces
from agree.recordings.options import Options, options_of
from agree.recordings.recording import FIELDS, Recording


def read_recording(
    source: Source,
    *,
    quantity: str | Quantity = "power",
    column: str | None = None,
    power_column: str | None = None,
    time_column: str | None = None,
    cadence_column: str | None = None,
    speed_column: str | None = None,
    delimiter: str | None = None,
    decimal: str | None = None,
    day_first: bool | None = None,
    zone: str | None = None,
    name: str | None = None,
) -> Recording:
    r"""Read a recording from a file, bytes, a data frame or arrays; nothing of the source is changed.

    The type of a file is detected from its first bytes: a text table, JSON lines, FIT, TCX, GPX or Parquet, any of
    them packed by gzip or not. Of a text table the delimiter (comma, semicolon, tab, pipe, spaces), decimal sign,
    encoding, header, unit row and columns are found out unless they are given, and what was found stands in `notes`.
    Comments, lines above the header, a header that comes again, a summary at the end and a last row that was cut are
    left out, with a note. Headers are understood in English, German, French, Spanish, Italian, Dutch, Portuguese and
    Polish; a left or right side, a target, an average and the like are never taken for a plain reading, and a word
    that is not known is noted. Readings are converted to the unit of the quantity (kW and PS to W, km/h to m/s); hp,
    kcal and units of something else are refused. Blank, "-", "--", "n/a", "null" and "NaN" are missing, as are 65535,
    32767, 999, 9999, 4095 and -1 where they cannot be readings (common practice); 0 is a reading. Without a time
    column each row is a second; in a file of one column an empty line is a second. Where a local clock was plainly
    set on or back by an hour for daylight saving, time goes on, with a note.

    Parameters
    ----------
    source : path, bytes, binary file object, Recording, data frame or arrays
        A regular file of at most 500 MB, packed and unpacked; a text of at most 6,048,000 rows. A file object is read
        to its end and not closed. A Recording is returned as it is. A data frame is one of pandas, polars or any
        library that narwhals understands, in memory; in pandas an index of stamps serves as time column. An array (or
        a series) of one dimension holds readings, one a second; a tuple of two is time and readings; a mapping is
        columns by name.
    quantity : str or Quantity
        What the readings are of: "power", "heart rate", "speed", "pace", "cadence", "torque", "balance",
        "core temperature", "oxygen uptake", or a `Quantity`. A column of something else is never taken for it.
    column : str, optional
        Header of the column of readings, or "column 2"; by default it is found by its name.
    power_column, time_column, cadence_column, speed_column : str, optional
        The same for power (as `column`), time, cadence and speed.
    delimiter : {",", ";", "\t", "|", " "}, optional
        What separates the cells of a text; found out by default. A space stands for runs of spaces.
    decimal : {".", ","}, optional
        Decimal sign of a text; found out by default. The other of the two then groups thousands.
    day_first : bool, optional
        Whether the day stands before the month in dates such as 03/04/2024; found out by default.
    zone : str, optional
        IANA name of the zone of stamps without one, such as "Europe/Berlin"; they are turned into UTC.
    name : str, optional
        What to call the recording; by default the file name without its ending, "bytes", "frame" or "array".

    Returns
    -------
    Recording
        At least 3 readings, in order of time.

    Raises
    ------
    InputError
        A source that cannot be read or is not a table, no or several columns of the quantity, a cell that is not a
        number, power outside -2000 to 20000 W, stamps that are blank, go back, stand still or span more than
        7 days. The message gives file and row; the first line of a file is row 1, the first position of a frame 0.
    SampleSizeError
        Fewer than 3 readings.

    See Also
    --------
    look : What a file holds, without judging it.
    pair_recordings : Two recordings of one effort laid over one another.

    References
    ----------
    "Files that are read" in the documentation.

    Examples
    --------
    >>> from agree import read_recording
    >>> text = b"time;Leistung [W]\n0:00:01;201,5\n0:00:02;--\n0:00:03;203\n0:00:04;0\n"
    >>> recording = read_recording(text)
    >>> recording.power.tolist(), recording.time.tolist()
    ([201.5, nan, 203.0, 0.0], [1.0, 2.0, 3.0, 4.0])
    """
    if isinstance(source, Recording):
        return source
    options = Options(power_column, time_column, cadence_column, speed_column, delimiter, decimal, day_first, zone,
                      column, quantity).checked()
    table, title, identity = open_table(source, name=name, delimiter=delimiter, decimal=decimal,
                                        column=options.chosen, quantity=options.wanted)
    return recording_of_table(table, name or title, options, identity)


def recording_of_table(
    table: Table, name: str, options: Options, identity: SourceIdentity | None = None
) -> Recording:
    """Return the recording that a table holds."""
    quantity = options.wanted
    found = traces(table, quantity, options)
    fields = {FIELDS[what]: column for what, column in found.channels.items()}
    fields[FIELDS.get(quantity.name, "readings")] = found.values
    return Recording(name=name, quantity=quantity, time=found.time, clock=found.clock, start=found.start,
                     columns=found.columns, notes=found.notes, identity=identity, **fields,
                     laps=None if table.laps is None else np.array(table.laps, dtype=float))


def read_table_of(source: Source, given: Mapping[str, Any]) -> tuple[Table, Options, int]:
    """Return the table of a source of any kind, the options checked, and its size in bytes."""
    options = options_of(dict(given))
    table, _, identity = open_table(source, delimiter=options.delimiter, decimal=options.decimal,
                                    column=options.chosen, quantity=options.wanted)
    return table, options, identity.size_bytes
