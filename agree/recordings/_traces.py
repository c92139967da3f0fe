"""From a table of text cells to checked columns of time, power and cadence."""

from __future__ import annotations

from datetime import timedelta
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree._check import FloatArray
from agree.errors import InputError, SampleSizeError
from agree.recordings._columns import POWER_UNITS, SECONDS, choose, words
from agree.recordings._dialect import LOOKS_NUMERIC, MISSING, Table, numbers, shown
from agree.recordings._stamps import EPOCH, HOUR, Stamps, read_stamps

MIN_POWER_W, MAX_POWER_W = -2_000.0, 20_000.0
MAX_SPAN_S = 7 * 86_400.0
LAST_DATE_S = 4_133_980_800.0  # 2101-01-01
MIN_STEP_S = 1e-3  # mean step below which a column does not count seconds
# "No value" of an unsigned 16-bit and 8-bit field (common practice).
POWER_MARKER, CADENCE_MARKERS = 65_535, (255, 65_535)
UNIT_WORDS = POWER_UNITS | SECONDS | {"rpm", "hh", "mm", "ss"}


class Traces(NamedTuple):
    """What a table holds; see `Recording`."""

    time: FloatArray
    power: FloatArray
    cadence: FloatArray | None
    clock: str
    start: str
    columns: dict[str, str]
    notes: tuple[str, ...]


def traces(
    table: Table, power: str | None = None, time: str | None = None, cadence: str | None = None
) -> Traces:
    """Choose the columns of a table, convert and check them."""
    table, units = _without_unit_row(table)
    if not len(table.rows):
        raise table.fail(None, "no rows below the header", "a row for each reading", "export the file again")
    choice = choose(table, power, time, cadence)
    name = table.header[choice.power]
    columns = {"power": name}
    watts = _power(table, choice.power, units[choice.power])
    keep = np.ones(watts.size, bool)
    if choice.time is None:
        stamps = Stamps(np.arange(watts.size, dtype=float), "rows", "")
        how = "time: no time column, each row taken as a second"
    else:
        table, called = _with_date(table, choice.time, choice.date)
        keep, stamps = _time(table, choice.time, called, watts, units[choice.time])
        how = f"time: column {shown(called)} ({stamps.form})"
        columns["time"] = called
    rpm = None
    if choice.cadence is not None:
        rpm = _cadence(table, choice.cadence, named=cadence is not None)
        if rpm is not None:
            columns["cadence"] = table.header[choice.cadence]
            rpm = rpm[keep]
    watts = watts[keep]
    readings = int(np.isfinite(watts).sum())
    if readings < 3:
        error = table.fail(None, f"{_many(readings, 'power reading')} in column {shown(name)}", "at least 3",
                           "check that the device recorded power")
        raise SampleSizeError(str(error)) if readings else error
    blank = watts.size - readings
    notes = [f"power: column {shown(name)}", how, *choice.notes, *table.notes]
    notes += [f"{_many(blank, 'row')} without a power reading"] if blank else []
    return Traces(stamps.seconds, watts, rpm, stamps.clock, _start(stamps), columns, tuple(notes))


def _many(count: int, what: str) -> str:
    return f"{count} {what}" + ("" if count == 1 else "s")


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
            count = _many(int(hit.sum()), "row")
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


def _cadence(table: Table, at: int, *, named: bool) -> FloatArray | None:
    """Cadence is of use, not of need: a column that nobody named and that holds no numbers is left alone."""
    try:
        rpm = numbers(table, table.columns[at], table.header[at])
    except InputError as exc:
        if named:
            raise
        table.notes.append(f"cadence: not used; {exc}")
        return None
    return _markers(table, rpm, CADENCE_MARKERS, "cadence: ")


def _time(
    table: Table, at: int, name: str, watts: FloatArray, units: list[str]
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
        table.notes.append(f"{_many(int((~keep).sum()), 'row')} with neither stamp nor power left out")
        table = table._replace(rows=[r for r, k in zip(table.rows, keep, strict=True) if k])
        cells = tuple(c for c, k in zip(cells, keep, strict=True) if k)
    stamps = read_stamps(table, cells, name, units)
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
