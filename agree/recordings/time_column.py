"""The column of time: which rows have a stamp, in order, on which clock."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.results.note import Note
from agree.core.thresholds import (
    FEWEST_STAMPS,
    MAX_SPAN_S,
    MIN_MEAN_STEP_S,
    ROWS_PER_STAMP,
    SHARED_STAMP_S,
    SHARING_ROWS,
)
from agree.files.table import MISSING, Table, shown
from agree.recordings.clock_forms import Stamps
from agree.recordings.stamps import LAST_DATE_S, read_stamps
from agree.recordings.zones import EPOCH, HOUR, through_change


def with_date(table: Table, at: int, at_date: int | None) -> tuple[Table, str]:
    """Put a column of dates before the times of day; return the table and what the stamps are called."""
    name = table.header[at]
    if at_date is None:
        return table, name
    columns = list(table.columns)
    columns[at] = [f"{d} {t}" if d and t else "" for d, t in zip(columns[at_date], columns[at], strict=True)]
    return table._replace(columns=columns), f"{table.header[at_date]} + {name}"


def stamped(
    table: Table, at: int, name: str, watts: FloatArray, units: Sequence[str], *, day_first: bool | None,
    zone: str | None,
) -> tuple[NDArray[np.bool_], Stamps]:
    """Return which rows have a stamp, and the stamps of those; a reading without a stamp is refused."""
    cells = tuple(table.columns[at])
    keep = np.array([cell.lower() not in MISSING for cell in cells])
    lost = np.flatnonzero(~keep & np.isfinite(watts))
    if lost.size:
        raise table.fail(int(lost[0]), f"a reading without a stamp in column {shown(name)}", "a stamp",
                         "fill it in, or delete the row")
    if not keep.any():
        raise table.fail(None, f"no stamps in column {shown(name)}", "a stamp for each reading",
                         "name another column with time_column", option="time_column")
    if not keep.all():
        table.notes.append(Note(kind="read_rows_blank", values={"rows": int((~keep).sum())}))
        table = table._replace(rows=[r for r, k in zip(table.rows, keep, strict=True) if k])
        cells = tuple(c for c, k in zip(cells, keep, strict=True) if k)
    stamps = read_stamps(table, cells, name, units, day_first=day_first, zone=zone)
    moved = through_change(stamps.seconds) if stamps.clock == "local" else None
    if moved:
        table.notes.append(moved.note)
        stamps = stamps._replace(seconds=moved.seconds)
    _check_order(table, cells, name, stamps)
    return keep, stamps


def _check_order(table: Table, cells: tuple[str, ...], name: str, stamps: Stamps) -> None:
    """Refuse time that goes back, stands still or spans more than a recording can."""
    outside = np.flatnonzero((stamps.seconds < 0) | (stamps.seconds > LAST_DATE_S))
    if outside.size and stamps.clock != "elapsed":
        i = int(outside[0])
        raise table.fail(i, f"{shown(cells[i])} in column {shown(name)}", "a date from 1970 to 2100",
                         "correct the stamp, or name another column with time_column",
                         option="time_column")
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
        if (cells[i].startswith("12:") and re.match("0?1:", cells[i + 1])) and step[i] < -10 * HOUR:
            raise table.fail(i + 1, f"{pair}, as of a 12-hour clock without a.m. and p.m.", "time not to go back",
                             "export stamps of a 24-hour clock, or with a.m. and p.m.", option="time_column")
        raise table.fail(i + 1, pair, "time not to go back", "sort the rows by time, or delete stray ones")
    _refuse_shared(table, cells, name, step)
    span = float(stamps.seconds[-1] - stamps.seconds[0])
    if span > MAX_SPAN_S:
        i = int(np.argmax(step)) + 1
        days = f"{span / 86_400:.1f} days from first to last stamp, with the largest step to this row"
        raise table.fail(i, days, "at most 7 days in one recording",
                         "cut the file, or correct the stamps of a clock not yet set")
    if span < MIN_MEAN_STEP_S * step.size:
        still = f"{span:.3g} s from first to last of {step.size + 1} stamps in column {shown(name)}"
        raise table.fail(None, still, "stamps that advance with the readings",
                         "name another column with time_column, or write stamps with seconds", option="time_column")


def _refuse_shared(table: Table, cells: tuple[str, ...], name: str, step: FloatArray) -> None:
    """Refuse stamps seconds apart that several rows share: where between them a row was, they do not tell."""
    on = step[step > 0]
    rows = np.diff(np.flatnonzero(np.r_[True, step > 0, True]))  # of each stamp
    few = min(float(np.mean(rows)), float(np.median(rows))) < ROWS_PER_STAMP  # not one that stood still for once
    lone = rows.size < (2 if step.size + 1 >= SHARING_ROWS else FEWEST_STAMPS)
    if lone or few or np.median(on) < SHARED_STAMP_S:
        return
    minutes = bool((on % 60 == 0).all())
    what = "a stamp to the minute" if minutes else f"of stamps {np.median(on):.3g} s apart"
    raise table.fail(0, f"{shown(cells[0])} in column {shown(name)}, {what} that "
                        f"{np.mean(rows):.0f} rows share", "stamps with seconds",
                     "export stamps with seconds", option="time_column",
                     code="time_to_minute" if minutes else "time_coarse")


def start_of(stamps: Stamps) -> str:
    """Return the first stamp as ISO 8601 if the clock has a date, else ""."""
    if stamps.clock not in ("utc", "local"):
        return ""
    first = EPOCH + timedelta(seconds=float(stamps.seconds[0]))
    return first.isoformat() + ("Z" if stamps.clock == "utc" else "")
