"""Time stamps: dates with or without a zone, seconds since 1970, elapsed seconds, h:mm:ss."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime
from typing import NamedTuple

import numpy as np

from agree._check import FloatArray
from agree.errors import InputError
from agree.recordings._dialect import NUMBER, Table, numbers, shown

EPOCH = datetime(1970, 1, 1)
EPOCH_FROM = 1e8  # numbers above are seconds since 1970 (this is March 1973), not elapsed (3 years)
DAY, HOUR = 86_400, 3_600
UNIT_SECONDS = {"ms": 1e-3, "min": 60.0, "minutes": 60.0, "hours": 3600.0}

CLOCK = re.compile(r"(?:(\d+):)?(\d+):(\d\d(?:[.,]\d+)?)\s*([ap]\.?m\.?)?", re.IGNORECASE | re.ASCII)
DATED = re.compile(
    r"(\d{1,4})([/.-])(\d{1,2})\2(\d{1,4})(?:,?\s+|T)(\d{1,2}):(\d\d)(?::(\d\d(?:[.,]\d+)?))?"
    r"\s*([ap]\.?m\.?)?\s*(Z|UTC|GMT|[+-]\d\d:?\d\d)?", re.IGNORECASE | re.ASCII)
ORDERS = {"year first": (0, 1, 2), "day first": (2, 1, 0), "month first": (2, 0, 1)}


class Stamps(NamedTuple):
    """Seconds, what kind of clock they are on, and how they were understood."""

    seconds: FloatArray
    clock: str
    form: str


def is_stamp(cell: str) -> bool:
    """Tell whether a cell is a date with time, or h:mm:ss."""
    return ":" in cell and bool(CLOCK.fullmatch(cell) or DATED.fullmatch(cell) or _iso(cell))


def read_stamps(table: Table, cells: Sequence[str], name: str, units: Sequence[str] = ()) -> Stamps:
    """Return the stamps of column `name`; all must have the form of the first.

    Parameters
    ----------
    table : Table
        Where the cells come from, for messages.
    cells : sequence of str
        None of them blank.
    name : str
        Header of the column.
    units : sequence of str
        Words of the header that may be a unit; "ms" and "min" scale plain numbers.

    Raises
    ------
    InputError
        A cell that is no stamp, or not of the form of the first; zones in some cells only.
    """
    first = cells[0]
    if NUMBER.fullmatch(first.replace(",", ".")):
        return _numeric(numbers(table, cells, name), units)
    if CLOCK.fullmatch(first):
        return _clock(table, cells, name)
    if _iso(first):
        return _iso_stamps(table, cells, name)
    if DATED.fullmatch(first):
        return _dated(table, cells, name)
    raise _no_stamp(table, cells, 0, name)


def _no_stamp(table: Table, cells: Sequence[str], i: int, name: str) -> InputError:
    form = f"a time stamp like {shown(cells[0])}" if i else "a time stamp"
    return table.fail(i, f"{shown(cells[i])} in column {shown(name)}", form,
                      "write stamps as 2024-05-31T17:02:03Z, as seconds, or as h:mm:ss")


def _numeric(values: FloatArray, units: Sequence[str]) -> Stamps:
    if np.min(values) > EPOCH_FROM:
        power = 0  # milliseconds, microseconds ... are told by their size
        while np.max(values) / 1000**power > 1e11:
            power += 1
        unit = ("seconds", "milliseconds", "microseconds")[power] if power < 3 else "nanoseconds"
        return Stamps(values / 1000**power, "utc", f"{unit} since 1970")
    unit = next((u for u in units if u in UNIT_SECONDS), "")
    return Stamps(values * UNIT_SECONDS.get(unit, 1.0), "elapsed", f"elapsed {unit or 'seconds'}")


def _clock(table: Table, cells: Sequence[str], name: str) -> Stamps:
    """h:mm:ss or mm:ss, elapsed or time of day; a fall by more than half a day (hour) is a wrap."""
    seconds = np.empty(len(cells))
    long = CLOCK.fullmatch(cells[0])[1] is not None  # type: ignore[index]
    for i, cell in enumerate(cells):
        found = CLOCK.fullmatch(cell)
        if not found or (found[1] is not None) != long:
            raise _no_stamp(table, cells, i, name)
        hours, minutes, secs = int(found[1] or 0), int(found[2]), float(found[3].replace(",", "."))
        if secs >= 60 or (long and minutes >= 60):
            raise _no_stamp(table, cells, i, name)
        if found[4]:
            hours = hours % 12 + 12 * (found[4][0] in "pP")
        seconds[i] = HOUR * hours + 60 * minutes + secs
    form, period = ("h:mm:ss", DAY) if long else ("mm:ss", HOUR)
    back = np.diff(seconds) < -period / 2
    if back.any() and seconds.max() < period:
        seconds[1:] += period * np.cumsum(back)
        form += ", continued past midnight" if long else ", continued past the full hour"
    return Stamps(seconds, "elapsed", form)


def _iso(cell: str) -> datetime | None:
    try:
        return datetime.fromisoformat(cell)
    except ValueError:
        return None


def _iso_stamps(table: Table, cells: Sequence[str], name: str) -> Stamps:
    stamps = [_iso(cell) for cell in cells]
    zoned = stamps[0] is not None and stamps[0].tzinfo is not None
    epoch = EPOCH.replace(tzinfo=UTC) if zoned else EPOCH
    seconds = np.empty(len(cells))
    for i, stamp in enumerate(stamps):
        if stamp is None:
            raise _no_stamp(table, cells, i, name)
        if (stamp.tzinfo is not None) != zoned:
            raise _mixed_zones(table, cells, i, name)
        seconds[i] = (stamp - epoch).total_seconds()
    return Stamps(seconds, "utc" if zoned else "local", f"ISO 8601, {'with' if zoned else 'no'} zone")


def _mixed_zones(table: Table, cells: Sequence[str], i: int, name: str) -> InputError:
    found = f"{shown(cells[i])} in column {shown(name)} where the first stamp is {shown(cells[0])}"
    return table.fail(i, found, "a zone in all stamps or in none", "export them alike")


def _dated(table: Table, cells: Sequence[str], name: str) -> Stamps:
    """Dates with slashes, points or dashes: the order of day and month is the one that fits the file."""
    matches: list[re.Match[str]] = []
    for i, cell in enumerate(cells):
        found = DATED.fullmatch(cell)
        if not found:
            raise _no_stamp(table, cells, i, name)
        if matches and (found[9] is None) != (matches[0][9] is None):
            raise _mixed_zones(table, cells, i, name)
        matches.append(found)
    time_of_day = np.array([_time_of_day(m) for m in matches])
    if np.isnan(time_of_day).any():
        raise _no_stamp(table, cells, int(np.flatnonzero(np.isnan(time_of_day))[0]), name)
    orders = ["year first"] if len(matches[0][1]) == 4 else ["day first", "month first"]
    if matches[0][8]:
        orders.reverse()  # with a.m. and p.m. the month usually comes first (common practice)
    days = {order: _days([(m[1], m[3], m[4]) for m in matches], ORDERS[order]) for order in orders}
    fits = {order: DAY * d + time_of_day for order, d in days.items() if np.isfinite(d).all()}
    if not fits:
        raise _no_stamp(table, cells, int(np.argmin(np.isfinite(days[orders[0]]))), name)
    rising = [order for order, s in fits.items() if (np.diff(s) >= 0).all()] or list(fits)
    best = min(rising, key=lambda order: float(np.ptp(fits[order])))  # the first of equals
    form = f"date {best}, {'no' if matches[0][9] is None else 'with'} zone"
    rivals = [o for o in rising if np.ptp(fits[o]) == np.ptp(fits[best]) and (fits[o] != fits[best]).any()]
    if rivals and matches[0][2] != ".":  # with points the day comes first (common practice)
        form += f" ({best} assumed: {rivals[0]} fits as well)"
    return Stamps(fits[best], "local" if matches[0][9] is None else "utc", form)


def _time_of_day(found: re.Match[str]) -> float:
    """Seconds since midnight UTC, or local without a zone; NaN if there is no such time."""
    hours, minutes, secs = int(found[5]), int(found[6]), float((found[7] or "0").replace(",", "."))
    if hours > 23 or minutes > 59 or secs >= 60 or (found[8] and not 1 <= hours <= 12):
        return float("nan")
    if found[8]:
        hours = hours % 12 + 12 * (found[8][0] in "pP")
    zone = found[9] or "Z"
    offset = int(zone[1:3]) * HOUR + int(zone[-2:]) * 60 if zone[0] in "+-" else 0
    return HOUR * hours + 60 * minutes + secs - (-offset if zone[0] == "-" else offset)


def _days(dates: list[tuple[str, str, str]], order: tuple[int, int, int]) -> FloatArray:
    """Days since 1970 with year, month and day at the places `order`; NaN if there is no such day."""
    known: dict[tuple[str, str, str], float] = {}
    for parts in set(dates):
        year, month, day = (int(parts[k]) for k in order)
        try:
            days = date(year + 2000 if year < 100 else year, month, day).toordinal() - EPOCH.toordinal()
        except ValueError:
            known[parts] = float("nan")
        else:
            known[parts] = float(days)
    return np.array([known[parts] for parts in dates])
