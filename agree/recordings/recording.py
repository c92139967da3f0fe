"""`Recording`: one trace of power against time, and how it is read from a file or a data frame."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.result import Result
from agree.files import file_bytes
from agree.files.frames import Source, object_table
from agree.files.table import Table, shown
from agree.files.text import text_table
from agree.recordings.channels import traces
from agree.recordings.options import Options, options_of

CLOCKS = ("utc", "local", "elapsed", "rows")
CHANNELS = ("cadence", "speed", "temperature", "balance")  # beside power, NaN where blank


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recording(Result):
    """One device's power against time, as recorded: nothing filled in, nothing averaged.

    Parameters
    ----------
    time : (n,) array, s
        Stamps in order of the file; equal neighbours are allowed, gaps are absent rows.
    power : (n,) array, W
        Readings; NaN where blank.
    cadence : (n,) array, rev/min, optional
        Cadence; NaN where blank.
    speed : (n,) array, m/s, optional
        Speed; NaN where blank.
    temperature : (n,) array, degrees C, optional
        Temperature the recorder noted; NaN where blank.
    balance : (n,) array, %, optional
        Share of the right side in the power; NaN where unknown.
    clock : {"utc", "local", "elapsed", "rows"}
        What `time` counts: seconds since 1970 UTC; the same on a clock of unknown zone; seconds since
        some start; rows of one second.
    start : str
        First stamp as ISO 8601, if the clock has a date.
    name : str
        What the recording is called.
    columns : dict
        Header chosen for "time", "power" and each further channel.
    notes : tuple of str
        How the file was understood, and what was read as missing.

    Raises
    ------
    InputError
        Unequal lengths, an infinite reading, a stamp that is NaN, or an unknown clock.

    Examples
    --------
    >>> from agree import Recording
    >>> recording = Recording(time=[0, 1, 2], power=[200, float("nan"), 210])
    >>> recording.clock, recording.power.size
    ('elapsed', 3)
    """

    time: FloatArray
    power: FloatArray
    cadence: FloatArray | None = None
    speed: FloatArray | None = None
    temperature: FloatArray | None = None
    balance: FloatArray | None = None
    clock: str = "elapsed"
    start: str = ""
    name: str = "recording"
    columns: dict[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        checks.choice(self.clock, "clock", CLOCKS)
        for name in ("time", "power", *CHANNELS):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, checks.vector(getattr(self, name), name))
                column = getattr(self, name)
                if column.size != self.time.size:
                    raise InputError(f"`{name}` must have the length of `time`, {self.time.size}; "
                                     f"got {column.size}")
                if np.isinf(column).any() or (name == "time" and np.isnan(column).any()):
                    raise InputError(f"`{name}` must hold finite numbers" + (
                        "" if name == "time" else ", or NaN where missing"))
        Result.__post_init__(self)


def read_recording(
    path: str | os.PathLike[str],
    *,
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
    r"""Read a recording from a file, which is opened for reading only.

    What a file is, its first bytes tell: a text table, FIT, TCX or Parquet, any of them packed by gzip or not. Of a
    text table the delimiter (comma, semicolon, tab, pipe, spaces), decimal sign, encoding, header, unit row and
    columns are found out unless they are told, and what was found stands in `notes`. Comments, lines above the
    header, a header that comes again, a summary at the end and a last row that was cut are left out, with a note.
    Power in kW is turned into W, speed in km/h or mph into m/s. Blank, "-", "--", "n/a", "null" and "NaN" are
    missing, as is 65535, the marker of an empty 16-bit field (common practice); 0 is a reading. Without a time column
    each row is a second; in a file of one column an empty line is a blank second. Where a local clock was plainly set
    on or back by an hour for daylight saving, time goes on, with a note.

    Parameters
    ----------
    path : str or path
        A regular file of at most 500 MB, packed and unpacked; a text of at most 6,048,000 rows.
    power_column, time_column, cadence_column, speed_column : str, optional
        Header of the column, or "column 2"; by default it is found by its name.
    delimiter : {",", ";", "\t", "|", " "}, optional
        What separates the cells of a text; found out by default. A space stands for runs of spaces.
    decimal : {".", ","}, optional
        Decimal sign of a text; found out by default. The other of the two then groups thousands.
    day_first : bool, optional
        Whether the day stands before the month in dates such as 03/04/2024; found out by default.
    zone : str, optional
        IANA name of the zone of stamps without one, such as "Europe/Berlin"; they are turned into UTC.
    name : str, optional
        What to call the recording; the file name without its ending by default.

    Returns
    -------
    Recording
        At least 3 power readings, in order of time.

    Raises
    ------
    InputError
        A file that cannot be read or is no table, no or several power columns, a cell that is no number,
        power outside -2000 to 20000 W, stamps that are blank, go back, stand still or span more than
        7 days. The message gives file and row; the first line of the file is row 1.
    SampleSizeError
        Fewer than 3 readings.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from agree import read_recording
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder, "ride.csv")
    ...     _ = file.write_text("time;Leistung [W]\n0:00:01;201,5\n0:00:02;--\n0:00:03;203\n0:00:04;0\n")
    ...     recording = read_recording(file)
    >>> recording.power.tolist(), recording.time.tolist()
    ([201.5, nan, 203.0, 0.0], [1.0, 2.0, 3.0, 4.0])
    """
    options = Options(power_column, time_column, cadence_column, speed_column, delimiter, decimal, day_first, zone)
    file = _path(path)
    table = _read_table(file, options.checked())
    return _recording(table, name or Path(file.stem if file.suffix == ".gz" else file.name).stem, options)


def read_table_of(path: str | os.PathLike[str], given: Mapping[str, Any]) -> Table:
    """Return the table of a file of any kind; `given` are further arguments of `read_recording`."""
    return _read_table(_path(path), options_of(dict(given)))


def recording_of_table(table: Table, name: str, given: Mapping[str, Any]) -> Recording:
    """Return the recording of a table; `given` as of `read_table_of`."""
    return _recording(table, name, options_of(dict(given)))


def recording_from_frame(
    frame: Any,
    *,
    name: str,
    power_column: str | None = None,
    time_column: str | None = None,
    cadence_column: str | None = None,
    speed_column: str | None = None,
    decimal: str | None = None,
    day_first: bool | None = None,
    zone: str | None = None,
) -> Recording:
    """Take a recording from a data frame or arrays, with the same choice of columns and the same checks.

    Parameters
    ----------
    frame : data frame or arrays
        As of `as_recording`. It is not changed.
    name : str
        What to call the recording; messages begin with it and count positions from 0.
    power_column, time_column, cadence_column, speed_column : str, optional
        Label of the column, or "column 2"; by default it is found by its name.
    decimal, day_first, zone : optional
        As of `read_recording`, for columns of text; zone also for stamps without one.

    Returns
    -------
    Recording
        As of `read_recording`.

    Raises
    ------
    InputError
        As `read_recording`, but for the file.

    Examples
    --------
    >>> import pandas as pd
    >>> from agree.recordings.recording import recording_from_frame
    >>> frame = pd.DataFrame({"time_s": [0, 1, 2, 3], "power": [200, 201, 65535, 199], "power_avg": 200})
    >>> recording_from_frame(frame, name="pedals").power.tolist()
    [200.0, 201.0, nan, 199.0]
    """
    options = Options(power_column, time_column, cadence_column, speed_column, None, decimal, day_first, zone).checked()
    return _recording(object_table(frame, name)._replace(decimal=decimal), name, options)


def as_recording(source: Source, *, name: str | None = None, **options: Any) -> Recording:
    """Return `source` as a recording.

    Parameters
    ----------
    source : path, Recording, data frame or arrays
        A file is read; a recording is returned as it is. A data frame is one of pandas, polars or any library that
        narwhals understands, in memory; in pandas an index of stamps serves as time column. An array (or a series) of
        one dimension is power, one reading a second; a tuple of two is time and power; a mapping is columns by name.
        Nothing of it is changed.
    name : str, optional
        What to call the recording; the file name without its ending, or "frame", or "array", by default.
    **options
        As of `read_recording`; `delimiter` is for files alone.

    Raises
    ------
    InputError
        As `read_recording`; a lazy frame; columns of unequal length; a source of another kind.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.recordings.recording import as_recording
    >>> as_recording((np.array([0.0, 1.0, 3.0]), np.array([200, 210, 205]))).time.tolist()
    [0.0, 1.0, 3.0]
    """
    if isinstance(source, Recording):
        return source
    checked = options_of(options)
    if isinstance(source, str | os.PathLike):
        return read_recording(source, name=name, **options)
    if checked.delimiter is not None:
        raise InputError("`delimiter` is for files; a frame or an array has none; leave it out")
    table = object_table(source, name)
    return _recording(table._replace(decimal=checked.decimal), table.source, checked)


def _path(path: str | os.PathLike[str]) -> Path:
    try:
        return Path(path)
    except TypeError:
        raise InputError(f"`path` must be the path of a file; got {shown(path)}") from None


def _read_table(path: Path, options: Options) -> Table:
    """Read a file of any kind: what it is, its first bytes tell, not its name."""
    source = file_bytes.source_of(path)
    data = file_bytes.content(path, source)
    kind = file_bytes.kind_of(data, source)
    told = [name for name in ("delimiter", "decimal") if getattr(options, name) is not None]
    if kind != "text" and told:
        raise InputError(f"{source}: found a {kind} file, in which `{told[0]}` has no meaning; expected a text table; "
                         "leave it out")
    if kind == "FIT":
        from agree.files.fit import fit_table
        return fit_table(data, source)._replace(metric=True)
    if kind == "XML":
        from agree.files.tcx import tcx_table
        return tcx_table(data, source)._replace(metric=True)
    if kind == "Parquet":
        from agree.files.parquet import parquet_table
        return parquet_table(data, source)
    return text_table(data, source, delimiter=options.delimiter, decimal=options.decimal, power=options.power_column)


def _recording(table: Table, name: str, options: Options) -> Recording:
    found = traces(table, *options[:4], day_first=options.day_first, zone=options.zone)
    return Recording(name=name, **found._asdict())
