"""From a table of text cells to checked columns of time, power and cadence."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.errors import InputError, SampleSizeError
from agree.files.headers import POWER_UNITS, SECONDS, words
from agree.files.table import LOOKS_NUMERIC, MISSING, Table, many, numbers, shown
from agree.recordings.columns import choose
from agree.recordings.stamps import LAST_DATE_S, Stamps, read_stamps
from agree.recordings.zones import EPOCH, HOUR, through_change

MIN_POWER_W, MAX_POWER_W = -2_000.0, 20_000.0
MAX_SPAN_S = 7 * 86_400.0
MIN_STEP_S = 1e-3  # mean step below which a column does not count seconds
# "No value" of an unsigned 16-bit and 8-bit field (common practice).
POWER_MARKER = 65_535
MARKERS = {"cadence": (255, 65_535), "speed": (65_535,), "temperature": (127, 255, 65_535), "balance": (255, 65_535)}
UNIT_WORDS = POWER_UNITS | SECONDS | {"rpm", "hh", "mm", "ss", "km", "kmh", "mph"}
SPEED_UNITS = (  # words, m/s, name
    (r"km h|kmh|kph|kmph", 1 / 3.6, "km/h"), (r"mph|mi h", 0.44704, "mph"), (r"m s|mps", 1.0, "m/s"))


class Traces(NamedTuple):
    """What a table holds; see `Recording`."""

    time: FloatArray
    power: FloatArray
    cadence: FloatArray | None
    speed: FloatArray | None
    temperature: FloatArray | None
    balance: FloatArray | None
    clock: str
    start: str
    columns: dict[str, str]
    notes: tuple[str, ...]


def traces(
    table: Table, power: str | None = None, time: str | None = None, cadence: str | None = None,
    speed: str | None = None, *, day_first: bool | None = None, zone: str | None = None,
) -> Traces:
    """Choose the columns of a table, convert and check them."""
    table, units = _without_unit_row(table)
    if not len(table.rows):
        raise table.fail(None, "no rows below the header", "a row for each reading", "export the file again")
    choice = choose(table, power, time, cadence, speed)
    name = table.header[choice.power]
    columns = {"power": name}
    watts = _power(table, choice.power, units[choice.power])
    keep = np.ones(watts.size, bool)
    if choice.time is None:
        stamps = Stamps(np.arange(watts.size, dtype=float), "rows", "")
        how = "time: no time column, each row taken as a second"
    else:
        dated, called = _with_date(table, choice.time, choice.date)
        keep, stamps = _time(dated, choice.time, called, watts, units[choice.time], day_first=day_first, zone=zone)
        how = f"time: column {shown(called)} ({stamps.form})"
        columns["time"] = called
    others: dict[str, FloatArray | None] = dict.fromkeys(MARKERS)
    named = {"cadence": cadence, "speed": speed}
    for what, at in choice.others.items():
        found = _other(table, what, at, units[at], named=named.get(what) is not None)
        if found is not None:
            columns[what] = table.header[at]
            others[what] = found[keep]
    watts = watts[keep]
    readings = int(np.isfinite(watts).sum())
    if readings < 3:
        error = table.fail(None, f"{many(readings, 'power reading')} in column {shown(name)}", "at least 3",
                           "check that the device recorded power")
        raise SampleSizeError(str(error)) if readings else error
    blank = watts.size - readings
    notes = [f"power: column {shown(name)}", how, *choice.notes, *table.notes]
    notes += [f"{many(blank, 'row')} without a power reading"] if blank else []
    return Traces(stamps.seconds, watts, **others, clock=stamps.clock, start=_start(stamps), columns=columns,
                  notes=tuple(notes))


def _start(stamps: Stamps) -> str:
    if stamps.clock not in ("utc", "local"):
        return ""
    first = EPOCH + timedelta(seconds=float(stamps.seconds[0]))
    return first.isoformat() + ("Z" if stamps.clock == "utc" else "")


def _without_unit_row(table: Table) -> tuple[Table, list[list[str]]]:
    """Drop a row of units below the header; return for each column the words that may be its unit."""
    units = [words(header) for header in table.header]
    if len(table.rows) and not table.headerless:
        cells = [column[0] for column in table.columns]
        below = [words(cell) for cell in cells]
        if any(UNIT_WORDS.intersection(w) for w in below) and not any(map(LOOKS_NUMERIC.fullmatch, cells)):
            table.notes.append(f"{table.word} {table.rows[0]}: units")
            units = [a + b for a, b in zip(units, below, strict=True)]
            table = table.without_row(0)
    return table, units


def _with_date(table: Table, at: int, at_date: int | None) -> tuple[Table, str]:
    """Put a column of dates before the times of day; return the table and what the stamps are called."""
    name = table.header[at]
    if at_date is None:
        return table, name
    columns = list(table.columns)
    columns[at] = [f"{d} {t}" if d and t else "" for d, t in zip(columns[at_date], columns[at], strict=True)]
    return table._replace(columns=columns), f"{table.header[at_date]} + {name}"


def _markers(table: Table, values: FloatArray, markers: tuple[int, ...], where: str = "") -> FloatArray:
    """Turn markers of an empty field into NaN, with a note."""
    for marker in markers:
        hit = values == marker
        if hit.any():
            count = many(int(hit.sum()), "row")
            table.notes.append(f"{where}{count} with the missing marker {marker} read as missing")
            values = np.where(hit, np.nan, values)
    return values


def _power(table: Table, at: int, units: list[str]) -> FloatArray:
    name = table.header[at]
    watts = _markers(table, numbers(table, table.columns[at], name, grouped=True), (POWER_MARKER,))
    if "kw" in units:
        table.notes.append(f"column {shown(name)}: kW turned into W")
        watts = watts * 1000.0
    wrong = np.flatnonzero((watts < MIN_POWER_W) | (watts > MAX_POWER_W))
    if wrong.size:
        raise table.fail(int(wrong[0]), f"{watts[wrong[0]]:.10g} W in column {shown(name)}",
                         f"{MIN_POWER_W:.0f} to {MAX_POWER_W:.0f} W",
                         "check the unit, or leave the cell blank if there is no reading")
    return watts


def _other(table: Table, what: str, at: int, units: list[str], *, named: bool) -> FloatArray | None:
    """Return a channel of use, not of need: a column that nobody named and that holds no numbers is left alone."""
    notes = list(table.notes)
    try:
        values = numbers(table, table.columns[at], table.header[at])
        values = _markers(table, values, MARKERS[what], f"{what}: ")
        if what == "speed":
            return _speed(table, values, units)
        if what == "temperature" and {"f", "fahrenheit", "degf"} & set(units):
            table.notes.append("temperature: degrees Fahrenheit turned into Celsius")
            return (values - 32.0) / 1.8
        return _right_share(table, values, units) if what == "balance" else values
    except InputError as exc:
        if named:
            raise
        table.notes[:] = [*notes, f"{what}: not used; {exc}"]
        return None


def _speed(table: Table, values: FloatArray, units: list[str]) -> FloatArray:
    text = " ".join(units)
    for pattern, scale, name in SPEED_UNITS:
        if re.search(rf"\b({pattern})\b", text):
            if scale != 1:
                table.notes.append(f"speed: {name} turned into m/s")
            return values * scale
    if not table.metric:
        table.notes.append("speed: unit not told, values left as they are; only their changes matter")
    return values


def _right_share(table: Table, values: FloatArray, units: list[str]) -> FloatArray:
    """Return the share of the right side; refuse what cannot be a share."""
    left = {"left", "l"} & set(units) and not {"right", "r"} & set(units)
    wrong = np.flatnonzero((values < 0) | (values > 100))
    if wrong.size:
        raise table.fail(int(wrong[0]), f"a balance of {values[wrong[0]]:.10g}", "0 to 100 %",
                         "leave the cell blank if there is no reading")
    if left:
        table.notes.append("balance: share of the left side turned into that of the right")
        return 100.0 - values
    if not table.metric:
        table.notes.append("balance: taken as the share of the right side")
    return values


def _time(
    table: Table, at: int, name: str, watts: FloatArray, units: list[str], *, day_first: bool | None, zone: str | None
) -> tuple[NDArray[np.bool_], Stamps]:
    """Return which rows have a stamp, and the stamps of those; a reading without a stamp is refused."""
    cells = tuple(table.columns[at])
    keep = np.array([cell.lower() not in MISSING for cell in cells])
    lost = np.flatnonzero(~keep & np.isfinite(watts))
    if lost.size:
        raise table.fail(int(lost[0]), f"a power reading without a stamp in column {shown(name)}", "a stamp",
                         "fill it in, or delete the row")
    if not keep.any():
        raise table.fail(None, f"no stamps in column {shown(name)}", "a stamp for each reading",
                         "name another column with time_column")
    if not keep.all():
        table.notes.append(f"{many(int((~keep).sum()), 'row')} with neither stamp nor power left out")
        table = table._replace(rows=[r for r, k in zip(table.rows, keep, strict=True) if k])
        cells = tuple(c for c, k in zip(cells, keep, strict=True) if k)
    stamps = read_stamps(table, cells, name, units, day_first=day_first, zone=zone)
    moved = through_change(stamps.seconds) if stamps.clock == "local" else None
    if moved:
        table.notes.append(f"time: {moved.note}")
        stamps = stamps._replace(seconds=moved.seconds)
    _check_order(table, cells, name, stamps)
    return keep, stamps


def _check_order(table: Table, cells: tuple[str, ...], name: str, stamps: Stamps) -> None:
    """Refuse time that goes back, stands still or spans more than a recording can."""
    outside = np.flatnonzero((stamps.seconds < 0) | (stamps.seconds > LAST_DATE_S))
    if outside.size and stamps.clock != "elapsed":
        i = int(outside[0])
        raise table.fail(i, f"{shown(cells[i])} in column {shown(name)}", "a date from 1970 to 2100",
                         "correct the stamp, or name another column with time_column")
    step = np.diff(stamps.seconds)
    if not step.size:
        return
    back = np.flatnonzero(step < 0)
    if back.size:
        i = int(back[0])
        pair = f"{shown(cells[i + 1])} after {shown(cells[i])} in column {shown(name)}"
        if 0.8 * HOUR < -step[i] <= HOUR and ":" in cells[i] and stamps.clock != "utc":
            raise table.fail(i + 1, f"{pair}, a step back of an hour as at the end of daylight saving",
                             "time not to go back", "export stamps in UTC, or add the hour from there on")
        raise table.fail(i + 1, pair, "time not to go back", "sort the rows by time, or delete stray ones")
    span = float(stamps.seconds[-1] - stamps.seconds[0])
    if span > MAX_SPAN_S:
        i = int(np.argmax(step)) + 1
        days = f"{span / 86_400:.1f} days from first to last stamp, with the largest step to this row"
        raise table.fail(i, days, "at most 7 days in one recording",
                         "cut the file, or correct the stamps of a clock not yet set")
    if span < MIN_STEP_S * step.size:
        still = f"{span:.3g} s from first to last of {step.size + 1} stamps in column {shown(name)}"
        raise table.fail(None, still, "stamps that advance with the readings",
                         "name another column with time_column, or write stamps with seconds")
