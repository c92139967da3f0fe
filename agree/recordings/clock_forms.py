"""Stamps that are plain numbers, or times of a clock without a date: h:mm:ss, mm:ss, hh:mm, HHMMSS, seconds since."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.core.thresholds import FIT_SECONDS, HHMMSS_ENDINGS, LATEST_UNIX_S, PLAIN_STEP_S, SECOND_APART
from agree.files.naming.headers import SECONDS, TIME_OF_DAY, UNIT_SECONDS
from agree.files.table import Table, shown
from agree.recordings.zones import DAY, HOUR

EPOCH_FROM = 1e8  # numbers above are seconds since 1970 (this is March 1973), not elapsed (3 years)
FIT_EPOCH_S = 631_065_600  # 1989-12-31T00:00:00Z in seconds since 1970
CLOCK = re.compile(r"(?:(\d{1,6}):)?(\d{1,6}):(\d\d(?:[.,]\d+)?)\s*([ap]\.?\s?m\.?)?", re.IGNORECASE | re.ASCII)


class Stamps(NamedTuple):
    """Seconds, what kind of clock they are on, and how they were understood."""

    seconds: FloatArray
    clock: str
    form: str


def no_stamp(table: Table, cells: Sequence[str], i: int, name: str) -> InputError:
    """Return the error of a cell that is not a stamp, or not of the form of the first."""
    form = f"a time stamp like {shown(cells[0])}" if i else "a time stamp"
    return table.fail(i, f"{shown(cells[i])} in column {shown(name)}", form,
                      "write stamps as 2024-05-31T17:02:03Z, as seconds, or as h:mm:ss", option="time_column")


def numeric_stamps(table: Table, values: FloatArray, name: str, units: Sequence[str]) -> Stamps:
    """Return plain numbers as stamps: seconds or another unit, since 1970, since 1989-12-31, elapsed, or HHMMSS."""
    told = {UNIT_SECONDS.get(u, 1.0): u for u in units if u in UNIT_SECONDS or u in SECONDS}
    unit = next(iter(told.values())) if len(told) == 1 and 1 not in told else ""  # several are a form, such as h:m:s
    fine = UNIT_SECONDS.get(unit, 1.0) < 1
    if fine and np.min(values) * UNIT_SECONDS[unit] <= EPOCH_FROM:  # milliseconds of days, say
        return Stamps(values * UNIT_SECONDS[unit], "elapsed", f"elapsed {unit}")
    if np.min(values) > EPOCH_FROM:
        power = 0  # milliseconds, microseconds ... are told by their size
        while np.max(values) / 1000**power > 1e11:
            power += 1
        form = ("seconds", "milliseconds", "microseconds")[power] if power < 3 else "nanoseconds"
        seconds = values / 1000**power
        if FIT_SECONDS[0] <= np.min(seconds) and np.max(seconds) <= FIT_SECONDS[1]:
            table.notes.append(Note(kind="read_fit_epoch", severity="trust", values={"column": name}))
            return Stamps(seconds + FIT_EPOCH_S, "utc", f"{form} since 1989-12-31")
        if power and np.min(seconds) < FIT_SECONDS[0]:
            raise table.fail(int(np.argmin(seconds)), f"{np.min(values):.15g} in column {shown(name)}, which as {form} "
                             f"since 1970 is of {1970 + np.min(seconds) / 31_556_952:.0f}", "a date since then",
                             "it may count 100 ns from another year: export stamps as 2024-05-31T17:02:03Z",
                             option="time_column", code="time_unit")
        if np.max(seconds) > LATEST_UNIX_S:
            i = int(np.argmax(seconds > LATEST_UNIX_S))
            raise table.fail(i, f"{values[i]:.15g} in column {shown(name)}, which as {form} since 1970 is of "
                             f"{1970 + seconds[i] / 31_556_952:.0f}", "the date of a recording",
                             "it may count from 1900 or 1904: export stamps as 2024-05-31T17:02:03Z",
                             option="time_column", code="time_unit")
        return Stamps(seconds, "utc", f"{form} since 1970")
    if "hhmmss" in units or (not unit and _is_hhmmss(values)):
        return _hhmmss(table, values, name)
    if not told and table.word != "position":  # a program that passes arrays passes seconds
        _refuse_other_units(table, values, name)
    return Stamps(values * UNIT_SECONDS.get(unit, 1.0), "elapsed", f"elapsed {unit or 'seconds'}")


def _refuse_other_units(table: Table, values: FloatArray, name: str) -> None:
    """Refuse plain numbers that are hardly seconds: steps of one second counted in minutes, hours or days, or of ms."""
    step = np.diff(values)
    step = step[step > 0]
    if not step.size:
        return
    median = float(np.median(step))
    if _is_minutes_seconds(values):
        raise table.fail(None, f"numbers in column {shown(name)} that go from .59 to 1.00, as minutes and seconds do",
                         "stamps of one meaning", "write stamps as h:mm:ss, or as seconds", option="time_column",
                         code="time_unit")
    where = f"steps of {median:.4g} in column {shown(name)}"
    for unit, length in (("minutes", 60.0), ("hours", HOUR), ("days", DAY)):
        if any(abs(one * length - 1) < SECOND_APART for one in (median, float(step.mean()))):
            how = "format the cells as h:mm:ss" if unit == "days" else f"call it {shown(f'{name} [{unit}]')}"
            raise table.fail(None, f"{where}, a second each if they count {unit}", "a unit in its name",
                             f"{how}, or {shown(f'{name} [s]')} if it counts seconds", option="time_column",
                             code="time_unit")
    if PLAIN_STEP_S[0] <= median <= PLAIN_STEP_S[1] and median % 60:
        raise table.fail(None, f"{where}, which may be milliseconds", "a unit in its name",
                         f"call it {shown(f'{name} [ms]')} or {shown(f'{name} [s]')}", option="time_column",
                         code="time_unit")


def _is_minutes_seconds(values: FloatArray) -> bool:
    """Tell whether numbers are minutes.seconds: 100ths, of which none are 60 to 99, though minutes change."""
    ends = np.round(100 * values) % 100
    return bool(np.abs(100 * values - np.round(100 * values)).max() < 1e-6 * max(1.0, float(np.abs(values).max()))
                and ends.max() < 60 and np.unique(ends).size >= HHMMSS_ENDINGS and np.unique(values // 1).size > 1)


def _is_hhmmss(values: FloatArray) -> bool:
    """Tell whether numbers are times of day written without colons: none ends in 60 to 99, minutes change.

    At one change of a minute at least no more than twice the usual time passes: seconds beyond a gap are no HHMMSS.
    """
    whole = np.floor(values)
    ends, minutes = whole % 100, whole // 100 % 100
    if values.min() < 0 or values.max() >= 240_000 or (ends >= 60).any() or (minutes >= 60).any():
        return False
    if np.unique(ends).size < HHMMSS_ENDINGS:
        return False
    step = np.diff(whole // 10_000 * HOUR + minutes * 60 + values % 100)
    changes = np.diff(whole // 100) != 0
    usual = float(np.median(step[~changes])) if not changes.all() else 0.0
    return bool((step[changes] <= 2 * usual).any())


def _hhmmss(table: Table, values: FloatArray, name: str) -> Stamps:
    whole = np.floor(values)
    hours, minutes, ends = whole // 10_000, whole // 100 % 100, whole % 100 + values - whole
    wrong = np.flatnonzero((ends >= 60) | (minutes >= 60) | (hours > 23) | (values < 0))
    if wrong.size:
        raise table.fail(int(wrong[0]), f"{values[wrong[0]]:.10g} in column {shown(name)}", "a time as HHMMSS",
                         "correct the cell, or write stamps as h:mm:ss", option="time_column")
    return _past_midnight(hours * HOUR + minutes * 60 + ends, "HHMMSS", DAY, "midnight")


def clock_stamps(table: Table, cells: Sequence[str], name: str, units: Sequence[str]) -> Stamps:
    """h:mm:ss, mm:ss or hh:mm, elapsed or time of day; a fall by more than half a day (hour) is a wrap.

    From mm:ss it may go on as h:mm:ss, past the first hour.
    """
    seconds = np.empty(len(cells))
    long = CLOCK.fullmatch(cells[0])[1] is not None  # type: ignore[index]
    marked = CLOCK.fullmatch(cells[0])[4] is not None  # type: ignore[index]
    grown = False
    for i, cell in enumerate(cells):
        found = CLOCK.fullmatch(cell)
        if found and not marked and not (long or grown) and found[1] is not None and not found[4]:
            long = grown = True
        if not found or (found[1] is not None) != long or (found[4] is not None) != marked:
            raise no_stamp(table, cells, i, name)
        hours, minutes, secs = int(found[1] or 0), int(found[2]), float(found[3].replace(",", "."))
        if secs >= 60 or (long and minutes >= 60):
            raise no_stamp(table, cells, i, name)
        if found[4]:
            if long and not 0 <= hours <= 12:
                raise no_stamp(table, cells, i, name)
            hours = hours % 12 + 12 * (found[4][0] in "pP")
        seconds[i] = HOUR * hours + 60 * minutes + secs
    if grown:
        return Stamps(seconds, "elapsed", "mm:ss, h:mm:ss from an hour on")
    if long:
        return _past_midnight(seconds, "h:mm:ss", DAY, "midnight")
    return _minutes(table, cells, seconds, name, units, marked=marked)


def _minutes(
    table: Table, cells: Sequence[str], seconds: FloatArray, name: str, units: Sequence[str], *, marked: bool
) -> Stamps:
    """Return mm:ss as elapsed time; refuse hh:mm, which tells no seconds, and what may be either."""
    told = set(units)
    clock = bool(marked or told & TIME_OF_DAY or {"hh", "mm"} <= told or "hhmm" in told)
    sure = bool({"mm", "ss"} <= told or "mmss" in told or told & {"elapsed", "duration"}
                or any("." in cell or "," in cell for cell in cells) or seconds[0] < 60 or seconds.max() >= 24 * 60)
    same = np.diff(seconds) == 0
    if clock or (same.size and same.mean() > 0.5):
        raise table.fail(0, f"{shown(cells[0])} in column {shown(name)}, a time of day to the minute",
                         "stamps with seconds", "export stamps as h:mm:ss, or leave the column out if each row is a "
                         "second", option="time_column", code="time_to_minute")
    if not sure:
        raise table.fail(0, f"{shown(cells[0])} in column {shown(name)}, which may be mm:ss or hh:mm",
                         "stamps of one meaning", "write them as h:mm:ss, or call the column 'time [mm:ss]'",
                         option="time_column", code="time_ambiguous")
    return _past_midnight(seconds, "mm:ss", HOUR, "the full hour")


def _past_midnight(seconds: FloatArray, form: str, period: float, what: str) -> Stamps:
    """Continue a clock past midnight, or mm:ss past the full hour."""
    back: NDArray[np.bool_] = np.diff(seconds) < -period / 2
    if back.any() and seconds.max() < period:
        seconds[1:] += period * np.cumsum(back)
        form += f", continued past {what}"
    return Stamps(seconds, "elapsed", form)


__all__ = ["CLOCK", "Stamps", "clock_stamps", "no_stamp", "numeric_stamps"]
