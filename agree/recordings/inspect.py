"""What a file holds: channels, clock, sampling, gaps and values to distrust; nothing is judged or saved."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agree.core import thresholds as limits
from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.shared_docs import made_by
from agree.files.source import Source
from agree.files.table import LOOKS_NUMERIC, MISSING, Table, numbers
from agree.recordings.other_quantities import instead, quantities_told
from agree.recordings.read import read_table_of, recording_of_table
from agree.recordings.recording import FIELDS, Recording
from agree.recordings.stamps import is_stamp

UNITS = {"power": "W", "cadence": "rpm", "speed": "m/s", "temperature": "°C", "balance": "% right",
         "heart rate": "bpm", "torque": "Nm", "core temperature": "°C", "oxygen uptake": "l/min", "pace": "m/s"}


@made_by("look", also=("FileLook",),
         references='The page "Files that are read" of the documentation.')
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Channel(Result):
    """One column of a file.

    Attributes
    ----------
    name : str
        Its header.
    role : str
        What it was taken for: "time", "power" or a further channel; "" if nothing.
    unit : str
        Unit of the figures below, where the role implies one.
    kind : str
        "number", "stamp", "text" or "empty".
    readings, blank, zeros : int
        Cells with a value, without one, and with 0.
    low, middle, high : float
        Smallest, median and largest value; NaN where there are no numbers.
    """

    name: str
    role: str
    unit: str
    kind: str
    readings: int
    blank: int
    zeros: int
    low: float
    middle: float
    high: float


@made_by("look", also=("FileLook",),
         references='The page "Files that are read" of the documentation.')
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gap(Result):
    """A stretch without rows: seconds from the first stamp to where it begins, and how long it is."""

    start_s: float
    seconds: float


@made_by("look", also=("FileLook",),
         references='The page "Files that are read" of the documentation.')
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Oddity(Result):
    """Values to distrust: what, how many readings in how many runs, and where the first begins (s from the start)."""

    what: str
    readings: int
    events: int
    first_s: float


@made_by("look", also=("Recording", "Channel", "Gap", "Oddity"),
         references='The page "Files that are read" of the documentation.')
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FileLook(Result):
    r"""What a file holds.

    Attributes
    ----------
    name : str
        Name of the file.
    size_bytes, rows : int
        Its size and the rows of its table.
    clock, start : str
        As of `Recording`; "" where the file cannot be read as a recording.
    seconds : float
        From the first to the last stamp.
    step_s : float
        Median step between stamps.
    uneven : float
        Share of steps that differ from it by more than a tenth and are not gaps.
    repeated : int
        Stamps that equal the one before.
    gaps : tuple of Gap
        Steps longer than 2 s and 2.5 median steps.
    channels : tuple of Channel
        Every column, in the order of the file.
    oddities : tuple of Oddity
        Values to distrust.
    notes : tuple of Note
        How the file was understood.
    problem : str
        Why it cannot be read as a recording as it is; "" if it can.

    Examples
    --------
    >>> from agree import look
    >>> look(b"time,power\n0,200\n1,201\n2,202\n").rows
    3
    """

    name: str
    size_bytes: int
    rows: int
    clock: str
    start: str
    seconds: float
    step_s: float
    uneven: float
    repeated: int
    gaps: tuple[Gap, ...]
    channels: tuple[Channel, ...]
    oddities: tuple[Oddity, ...]
    notes: tuple[Note, ...]
    problem: str


def look(source: Source, *, options: Mapping[str, Any] | None = None) -> FileLook:
    r"""Say what a file holds, without judging it and without writing anything.

    Parameters
    ----------
    source : path, bytes, binary file object, data frame or arrays
        As of `read_recording`.
    options : mapping, optional
        Further arguments of `read_recording`, such as ``{"decimal": ","}``.

    Returns
    -------
    FileLook
        Channels, clock, sampling, gaps and values to distrust. A file that is a table but no recording (no power
        column, say) is described all the same, and `problem` says why.

    Raises
    ------
    InputError
        A file that cannot be opened, or is not a table.

    See Also
    --------
    read_recording : Read one of the files.
    pair_recordings : Lay two of them over one another.

    Notes
    -----
    Values to distrust, each a limit of common practice that proves no fault: power below 0 or above 2,500 W; a
    reading above 3 times the median of 9 around it plus 300 W; the same power, not 0, 10 times in a row; the highest
    power at least 3 times in a row; 0 W at 30 rpm or more, or over 20 W at 0 rpm, 3 times in a row; cadence above 200
    rpm; a balance of 0 or 100 %.

    References
    ----------
    "Files that are read" in the documentation.
    Its limits are common practice.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from agree import look
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder, "ride.csv")
    ...     _ = file.write_text("time_s,power_W\n0,201\n1,-4\n2,203\n9,0\n")
    ...     seen = look(file)
    >>> seen.seconds, seen.gaps[0].seconds, seen.oddities[0].what
    (9.0, 7.0, 'power below 0')
    """
    table, given, size = read_table_of(source, options or {})
    notes = list(table.notes)
    recording, problem = None, ""
    try:
        recording = recording_of_table(table._replace(notes=list(notes)), table.source, given)
    except InputError as error:
        problem = str(error)
        notes += instead(table, error)
        if error.code == "no_column" and (others := quantities_told(table.header)):
            with suppress(InputError):
                recording = recording_of_table(table._replace(notes=list(notes)), table.source,
                                               given._replace(quantity=others[0]))
                problem = ""
    roles = {} if recording is None else {header: role for role, header in recording.columns.items()}
    channels = tuple(_channel(table, k, roles, recording) for k in range(len(table.header)))
    time = np.zeros(0) if recording is None else recording.time
    steps = np.diff(time)
    step = float(np.median(steps[steps > 0])) if (steps > 0).any() else float("nan")
    is_gap = steps > max(limits.LOOK_GAP_S, limits.LOOK_GAP_STEPS * step) if steps.size else np.zeros(0, bool)
    plain = steps[~is_gap & (steps > 0)]
    return FileLook(
        name=table.source, size_bytes=size, rows=len(table.rows),
        clock="" if recording is None else recording.clock, start="" if recording is None else recording.start,
        seconds=float(time[-1] - time[0]) if time.size else 0.0, step_s=step,
        uneven=float(np.mean(np.abs(plain / step - 1) > 0.1)) if plain.size else 0.0,
        repeated=int((steps == 0).sum()),
        gaps=tuple(Gap(start_s=float(time[i] - time[0]), seconds=float(steps[i])) for i in np.flatnonzero(is_gap)),
        channels=channels, oddities=() if recording is None else oddities(recording),
        notes=tuple(notes if recording is None else recording.notes), problem=problem)


def _channel(table: Table, k: int, roles: dict[str, str], recording: Recording | None) -> Channel:
    """Describe one column; a channel that was read is described as read, in its unit."""
    name, cells = table.header[k], table.columns[k]
    role = next((role for header, role in roles.items() if name in header.split(" + ")), "")
    given = [cell for cell in cells if cell.lower() not in MISSING]
    values = np.zeros(0)
    if recording is not None and role and role != "time":
        values = getattr(recording, FIELDS.get(role, "readings"))
    elif given and all(LOOKS_NUMERIC.fullmatch(cell) for cell in given):
        with suppress(InputError):  # stamps, say, look numeric too
            values = numbers(table._replace(notes=[]), cells, name)
    finite = values[np.isfinite(values)]
    kind = ("empty" if not given else "stamp" if role == "time" or is_stamp(given[0]) else
            "number" if finite.size else "text")
    show = finite.size > 0 and kind == "number"
    return Channel(
        name=name, role=role, unit=_unit(role, recording) if show else "", kind=kind,
        readings=int(finite.size) if show else len(given),
        blank=int(values.size - finite.size) if show else len(cells) - len(given),
        zeros=int((finite == 0).sum()) if show else 0, low=float(finite.min()) if show else float("nan"),
        middle=float(np.median(finite)) if show else float("nan"), high=float(finite.max()) if show else float("nan"))


def _unit(role: str, recording: Recording | None) -> str:
    """Unit of a channel as read; "" where no role tells it."""
    own = recording is not None and role == recording.quantity.name
    return recording.unit if own and recording is not None else UNITS.get(role, "")


def oddities(recording: Recording) -> tuple[Oddity, ...]:
    """Values of a recording to distrust, with the limits given in `look`."""
    power = recording.power if recording.power is not None else np.full(recording.time.size, np.nan)
    cadence, balance = (np.full(power.size, np.nan) if column is None else column
                        for column in (recording.cadence, recording.balance))
    top = float(np.nanmax(power)) if np.isfinite(power).any() else np.nan
    masks: list[tuple[str, NDArray[np.bool_], int]] = [
        ("power below 0", power < 0, 1),
        (f"power above {limits.LOOK_HIGH_W:,.0f} W", power > limits.LOOK_HIGH_W, 1),
        ("power far above its neighbours", _spikes(power), 1),
        (f"the same power, not 0, {limits.LOOK_HELD} times or more in a row", _same(power, limits.LOOK_HELD), 1),
        (f"the highest power, {top:g} W, {limits.LOOK_CEILING} times or more in a row", (power == top) & (top > 0),
         limits.LOOK_CEILING),
        (f"0 W at {limits.LOOK_TURNING_RPM:g} rpm or more", (power == 0) & (cadence >= limits.LOOK_TURNING_RPM),
         limits.LOOK_CONFLICT),
        (f"over {limits.LOOK_WORKING_W:g} W at 0 rpm", (power > limits.LOOK_WORKING_W) & (cadence == 0),
         limits.LOOK_CONFLICT),
        (f"cadence above {limits.LOOK_HIGH_RPM:g} rpm", cadence > limits.LOOK_HIGH_RPM, 1),
        ("balance at 0 or 100 %", (power > limits.LOOK_WORKING_W) & ((balance == 0) | (balance == 100)), 1),
    ]
    found = []
    for what, mask, least in masks:
        spans = [(start, stop) for start, stop in runs(mask) if stop - start >= least]
        if spans:
            found.append(Oddity(what=what, readings=sum(stop - start for start, stop in spans), events=len(spans),
                                first_s=float(recording.time[spans[0][0]] - recording.time[0])))
    return tuple(found)


def _spikes(power: FloatArray) -> NDArray[np.bool_]:
    width = limits.LOOK_SPIKE_READINGS
    around = np.lib.stride_tricks.sliding_window_view(np.pad(power, width // 2, constant_values=np.nan), width)
    blank = ~np.isfinite(around).any(axis=1, keepdims=True)
    known = np.where(blank, 0.0, around)
    usual = np.maximum(np.nanmedian(known, axis=1), 0)
    spikes: NDArray[np.bool_] = power > limits.LOOK_SPIKE_FACTOR * usual + limits.LOOK_SPIKE_W
    return spikes


def _same(power: FloatArray, least: int) -> NDArray[np.bool_]:
    mask = np.zeros(power.size, bool)
    for start, stop in runs((power[1:] == power[:-1]) & (power[1:] != 0)):  # start .. stop are equal
        if stop - start + 1 >= least:
            mask[start:stop + 1] = True
    return mask


__all__ = ["Channel", "FileLook", "Gap", "Oddity", "look", "oddities"]
