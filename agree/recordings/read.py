"""`Recording`: one trace of power against time, and how it is read from a file or a data frame."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from agree import _check
from agree._check import FloatArray
from agree._result import Result
from agree.errors import InputError
from agree.recordings._dialect import Table, frame_table, read_table, shown
from agree.recordings._traces import traces

if TYPE_CHECKING:
    import pandas as pd

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
        _check.choice(self.clock, "clock", CLOCKS)
        for name in ("time", "power", *CHANNELS):
            if getattr(self, name) is not None:
                object.__setattr__(self, name, _check.vector(getattr(self, name), name))
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
    name: str | None = None,
) -> Recording:
    r"""Read a recording from a delimited text file, which is opened for reading only.

    Delimiter (comma, semicolon, tab), decimal sign, encoding, header, unit row and columns are found out,
    and what was found stands in `notes`. Power in kW is turned into W. Blank, "-", "--", "n/a", "null" and
    "NaN" are missing, as is 65535, the marker of an empty 16-bit field (common practice); 0 is a reading.
    Without a time column each row is a second; in a file of one column an empty line is a blank second.

    Parameters
    ----------
    path : str or path
        A regular file of at most 500 MB.
    power_column, time_column, cadence_column : str, optional
        Header of the column, or "column 2"; by default it is found by its name.
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
    try:
        file = Path(path)
    except TypeError:
        raise InputError(f"`path` must be the path of a file; got {shown(path)}") from None
    table = read_table(file)
    return _recording(table, name or file.stem, power_column, time_column, cadence_column)


def recording_from_frame(
    frame: pd.DataFrame,
    *,
    name: str,
    power_column: str | None = None,
    time_column: str | None = None,
    cadence_column: str | None = None,
) -> Recording:
    """Take a recording from a pandas data frame, with the same choice of columns and the same checks.

    Parameters
    ----------
    frame : DataFrame
        A row per reading; an index of stamps serves as time column. It is not changed.
    name : str
        What to call the recording; messages begin with it and count positions from 0.
    power_column, time_column, cadence_column : str, optional
        Label of the column, or "column 2"; by default it is found by its name.

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
    >>> from agree.recordings.read import recording_from_frame
    >>> frame = pd.DataFrame({"time_s": [0, 1, 2, 3], "power": [200, 201, 65535, 199], "power_avg": 200})
    >>> recording_from_frame(frame, name="pedals").power.tolist()
    [200.0, 201.0, nan, 199.0]
    """
    return _recording(frame_table(frame, name), name, power_column, time_column, cadence_column)


def as_recording(
    source: str | os.PathLike[str] | Recording | pd.DataFrame,
    *,
    power_column: str | None = None,
    time_column: str | None = None,
    cadence_column: str | None = None,
    name: str | None = None,
) -> Recording:
    """Return `source` as a recording: as it is, from a data frame, or from a file.

    Raises
    ------
    InputError
        As `read_recording`.
    """
    if isinstance(source, Recording):
        return source
    options = {"power_column": power_column, "time_column": time_column, "cadence_column": cadence_column}
    if isinstance(source, str | os.PathLike):
        return read_recording(source, name=name, **options)
    if hasattr(source, "iloc") and hasattr(source, "columns"):
        return recording_from_frame(source, name=name or "frame", **options)
    raise InputError(f"a recording must be a path, a Recording or a data frame; got {type(source).__name__}")


def _recording(table: Table, name: str, *columns: str | None) -> Recording:
    return Recording(name=name, **traces(table, *columns)._asdict())
