"""Time stamps: dates with or without a zone; numbers and times of a clock by `clock_forms`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.files.table import NUMBER, Table, numbers, shown
from agree.recordings.clock_forms import CLOCK, Stamps, clock_stamps, no_stamp, numeric_stamps
from agree.recordings.zones import DAY, EPOCH, HOUR, OFFSETS_H, to_utc, zone_of

DATED = re.compile(
    r"(\d{1,4})([/.-])(\d{1,2})\2(\d{1,4})(?:,?\s+|T)(\d{1,2}):(\d\d)(?::(\d\d(?:[.,]\d+)?))?"
    r"\s*([ap]\.?\s?m\.?)?\s*([+-]\d\d:?\d\d(?:\[.*\])?|[a-z]{1,5}|[a-z]+/[\w/+-]+|\[.*\])?", re.IGNORECASE | re.ASCII)
PLAIN_ISO = [re.compile(r"[12]\d{3}-\d\d-\d\dT\d\d:\d\d:\d\d" + end, re.ASCII) for end in ("", "Z")]
LAST_DATE_S = 4_133_980_800.0  # 2101-01-01
ORDERS = {"year first": (0, 1, 2), "day first": (2, 1, 0), "month first": (2, 0, 1)}


def is_stamp(cell: str) -> bool:
    """Tell whether a cell is a date with time, or h:mm:ss."""
    return ":" in cell and bool(CLOCK.fullmatch(cell) or DATED.fullmatch(cell) or _iso(cell))


def read_stamps(
    table: Table, cells: Sequence[str], name: str, units: Sequence[str] = (), *,
    day_first: bool | None = None, zone: str | None = None,
) -> Stamps:
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
    day_first : bool, optional
        Whether the day comes before the month; found out by default.
    zone : str, optional
        IANA name of the zone of stamps without one, or with a letter code that several zones share.

    Raises
    ------
    InputError
        A cell that is no stamp, or not of the form of the first; zones in some cells only; a letter code that
        several zones share; a local time that the zone skips.
    """
    stamps = _read(table, cells, name, units, day_first=day_first, zone=zone)
    if zone is None:
        return stamps
    if stamps.clock != "local":
        why = "the stamps have their own" if stamps.clock == "utc" else "the stamps have no date"
        table.notes.append(Note(kind="read_zone_unused", values={"why": why}))
        return stamps
    return _in_zone(table, cells, name, stamps, zone)


def _in_zone(table: Table, cells: Sequence[str], name: str, stamps: Stamps, zone: str) -> Stamps:
    outside = np.flatnonzero((stamps.seconds < 0) | (stamps.seconds > LAST_DATE_S))
    if outside.size:
        raise table.fail(int(outside[0]), f"{shown(cells[outside[0]])} in column {shown(name)}",
                         "a date from 1970 to 2100", "correct the stamp, or name another column with time_column",
                         option="time_column")
    seconds, skipped, how = to_utc(stamps.seconds, zone_of(zone))
    if skipped.any():
        i = int(np.flatnonzero(skipped)[0])
        raise table.fail(i, f"{shown(cells[i])} in column {shown(name)}, a time that {zone} skips",
                         "stamps of that zone", "correct zone, or export stamps in UTC", option="zone")
    table.notes.extend([Note(kind="read_hour_twice", severity="trust", values={"how": how})] if how else [])
    return Stamps(seconds, "utc", f"{stamps.form.removesuffix(', no zone')}, local time of {zone}")


def _read(
    table: Table, cells: Sequence[str], name: str, units: Sequence[str], *, day_first: bool | None, zone: str | None
) -> Stamps:
    first = cells[0]
    if re.fullmatch(r"(19|20)\d{12}", first):
        return _dated(table, [_parted(cell) for cell in cells], name, day_first=day_first, zone=zone)
    if NUMBER.fullmatch(first.replace(",", ".")):
        return numeric_stamps(table, numbers(table, cells, name), name, units)
    if CLOCK.fullmatch(first):
        return clock_stamps(table, cells, name, units)
    if _iso(first):
        return _iso_stamps(table, cells, name)
    if DATED.fullmatch(first):
        return _dated(table, cells, name, day_first=day_first, zone=zone)
    raise no_stamp(table, cells, 0, name)


def _parted(cell: str) -> str:
    """Write YYYYMMDDhhmmss as a date and a time; what is of another form stays."""
    found = re.fullmatch(r"(\d{4})(\d\d)(\d\d)(\d\d)(\d\d)(\d\d)", cell)
    return f"{found[1]}-{found[2]}-{found[3]} {found[4]}:{found[5]}:{found[6]}" if found else cell


def _iso(cell: str) -> datetime | None:
    try:
        return datetime.fromisoformat(cell)
    except ValueError:
        return None


def _iso_stamps(table: Table, cells: Sequence[str], name: str) -> Stamps:
    if plain := _plain_iso(cells):
        return plain
    stamps = [_iso(cell) for cell in cells]
    zoned = stamps[0] is not None and stamps[0].tzinfo is not None
    epoch = EPOCH.replace(tzinfo=UTC) if zoned else EPOCH
    seconds = np.empty(len(cells))
    for i, stamp in enumerate(stamps):
        if stamp is None:
            raise no_stamp(table, cells, i, name)
        if (stamp.tzinfo is not None) != zoned:
            raise _mixed_zones(table, cells, i, name)
        seconds[i] = (stamp - epoch).total_seconds()
    return Stamps(seconds, "utc" if zoned else "local", f"ISO 8601, {'with' if zoned else 'no'} zone")


def _plain_iso(cells: Sequence[str]) -> Stamps | None:
    """Return stamps that are all like 2024-05-31T17:02:03, or all end in Z besides, at once; None of others."""
    zoned = cells[0].endswith("Z")
    if not all(map(PLAIN_ISO[zoned].fullmatch, cells)):
        return None
    try:
        times = np.array([cell[:19] for cell in cells], dtype="datetime64[s]")
    except ValueError:  # a day that there is not
        return None
    return Stamps(times.astype(np.int64).astype(float), "utc" if zoned else "local",
                  f"ISO 8601, {'with' if zoned else 'no'} zone")


def _mixed_zones(table: Table, cells: Sequence[str], i: int, name: str) -> InputError:
    found = f"{shown(cells[i])} in column {shown(name)} where the first stamp is {shown(cells[0])}"
    return table.fail(i, found, "a zone in all stamps or in none", "export them alike")


def _dated(
    table: Table, cells: Sequence[str], name: str, *, day_first: bool | None, zone: str | None
) -> Stamps:
    """Dates with slashes, points or dashes: the order of day and month is the one that fits the file."""
    matches: list[re.Match[str]] = []
    for i, cell in enumerate(cells):
        found = DATED.fullmatch(cell)
        if not found:
            raise no_stamp(table, cells, i, name)
        if matches and (found[9] is None) != (matches[0][9] is None):
            raise _mixed_zones(table, cells, i, name)
        matches.append(found)
    offsets, own = _offsets(table, cells, name, [m[9] for m in matches], zone)
    time_of_day = np.array([_time_of_day(m) for m in matches])
    if np.isnan(time_of_day).any():
        raise no_stamp(table, cells, int(np.flatnonzero(np.isnan(time_of_day))[0]), name)
    if offsets is not None:
        time_of_day = time_of_day - offsets
    orders = ["year first"] if len(matches[0][1]) == 4 else ["day first", "month first"]
    if len(orders) > 1 and day_first is not None:
        orders = ["day first" if day_first else "month first"]
    elif matches[0][8]:
        orders.reverse()  # with a.m. and p.m. the month usually comes first (common practice)
    short_year = day_first is None and len(matches[0][1]) < 3 and len(matches[0][4]) < 3 and matches[0][2] != "."
    orders += ["year first"] * short_year
    days = {order: _days([(m[1], m[3], m[4]) for m in matches], ORDERS[order]) for order in orders}
    fits = {order: DAY * d + time_of_day for order, d in days.items() if np.isfinite(d).all()}
    if not fits and day_first is not None:
        i = int(np.argmin(np.isfinite(days[orders[0]])))
        raise table.fail(i, f"{shown(cells[i])} in column {shown(name)}", f"a date with the {orders[0]}",
                         "correct day_first, or the stamp", option="day_first")
    if not fits:
        raise no_stamp(table, cells, int(np.argmin(np.isfinite(days[orders[0]]))), name)
    if short_year:  # 24-05-31 is not of 2031
        latest = (datetime(datetime.now(UTC).year + 1, 1, 1) - EPOCH).total_seconds() + DAY
        fits = {order: s for order, s in fits.items() if s.max() < latest} or fits
    rising = [order for order, s in fits.items() if (np.diff(s) >= 0).all()] or list(fits)
    best = min(rising, key=lambda order: float(np.ptp(fits[order])))  # the first of equals
    form = f"date {best}, {'no' if offsets is None else 'with'} zone"
    rivals = [o for o in rising if np.ptp(fits[o]) == np.ptp(fits[best]) and (fits[o] != fits[best]).any()]
    if rivals and matches[0][2] != ".":  # with points the day comes first (common practice)
        form += f" ({best} assumed: {rivals[0]} fits as well)"
    stamps = Stamps(fits[best], "local" if offsets is None else "utc", form)
    return _in_zone(table, cells, name, stamps, own) if own else stamps


def _offsets(
    table: Table, cells: Sequence[str], name: str, zones: list[str | None], told: str | None
) -> tuple[FloatArray | None, str]:
    """Return the seconds by which stamps are ahead of UTC, None if local; and the name of a zone they all carry."""
    known: dict[str | None, float] = {}
    for word in {zone for zone in zones if zone is not None}:
        if word[0] in "+-":
            minutes = int(word[1:3]) * 60 + int(word[:6].replace(":", "")[3:5])
            if minutes < 24 * 60:
                known[word] = (-60.0 if word[0] == "-" else 60.0) * minutes
        elif word.upper() in OFFSETS_H:
            known[word] = float(HOUR * OFFSETS_H[word.upper()])
    strange = [word for word in zones if word is not None and word not in known]
    if not strange:
        return (np.array([known[word] for word in zones]) if known else None), ""
    plain = strange[0].strip("[]")
    i = zones.index(strange[0])
    where = f"{shown(cells[i])} in column {shown(name)}"
    if "/" in plain:
        try:
            zone_of(plain)
        except InputError:
            raise table.fail(i, f"{where}, a zone that is not known", "the IANA name of a zone",
                             "export stamps in UTC") from None
        if set(zones) == {strange[0]}:
            return None, plain
        raise _mixed_zones(table, cells, next(k for k, z in enumerate(zones) if z != zones[0]), name)
    if told is not None:
        table.notes.append(Note(kind="read_zone_told", values={"zone": plain, "told": told}))
        return None, ""
    raise table.fail(i, f"{where}, a zone that is not the name of one zone alone", "an offset, as in +02:00",
                     "name the zone, as in zone='Europe/Berlin', or export stamps in UTC", option="zone")


def _time_of_day(found: re.Match[str]) -> float:
    """Seconds since midnight on the clock of the stamp; NaN if there is no such time."""
    hours, minutes, secs = int(found[5]), int(found[6]), float((found[7] or "0").replace(",", "."))
    if hours > 23 or minutes > 59 or secs >= 60 or (found[8] and not 1 <= hours <= 12):
        return float("nan")
    if found[8]:
        hours = hours % 12 + 12 * (found[8][0] in "pP")
    return HOUR * hours + 60 * minutes + secs


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
