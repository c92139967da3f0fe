"""Which column holds what, told by its name."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from agree.core.errors import InputError
from agree.files.headers import (
    DATE_NAMES,
    FOREIGN,
    OTHERS,
    POWER_UNITS,
    POWER_WORDS,
    SECONDS,
    TIME_NAMES,
    TIME_UNITS,
    called,
    ranked,
    words,
)
from agree.files.table import Table, shown
from agree.recordings.stamps import is_stamp


class Choice(NamedTuple):
    """Positions of the columns; `date` is one to be put before `time`; `notes` say what was passed over."""

    power: int
    time: int | None
    date: int | None
    others: dict[str, int]
    notes: list[str]


def choose(
    table: Table, power: str | None, time: str | None, cadence: str | None = None, speed: str | None = None
) -> Choice:
    """Find the columns by the names given, else by what such columns are usually called.

    Raises
    ------
    InputError
        A named column that is not there, no power column, several equally good ones, or one column twice.
    """
    notes: list[str] = []
    at_time = _time(table, time)
    if table.headerless and at_time is None and len(table.header) == 2 and _increases(table.columns[0]):
        at_time = 0
    if power is not None:
        at_power = _named(table, power, "power_column")
    elif table.headerless:
        at_power = _headerless(table, at_time)
    else:
        best = ranked(table.header, POWER_WORDS, POWER_UNITS)
        if len(best) != 1:
            raise _not_one_power(table, best)
        at_power = best[0]
    named = {"cadence": cadence, "speed": speed}
    others = {what: _named(table, name, f"{what}_column") for what, name in named.items() if name is not None}
    taken = [k for k in (at_power, at_time, *others.values()) if k is not None]
    if len(set(taken)) < len(taken):
        twice = next(k for k in taken if taken.count(k) > 1)
        roles = "power, time and cadence" if speed is None else "power, time, cadence and speed"
        raise table.fail(None, f"column {shown(table.header[twice])} in two roles", f"different columns for {roles}",
                         "name each of them")
    for what in OTHERS:
        if what not in others:
            best = [k for k in _others(table, what) if k not in taken]
            if len(best) == 1:
                others[what] = best[0]
                taken.append(best[0])
            elif best:
                notes.append(f"{what}: not used, as several columns may be it: {_listed(table, best)}")
    return Choice(at_power, at_time, _date(table, at_time, time), others, notes)


def _named(table: Table, name: str, option: str) -> int:
    """Position of a column by its name, by its name whatever its case, or as 'column 3'."""
    wanted = str(name).strip()
    found = called(table.header, wanted)
    if len(found) == 1:
        return found[0]
    if found:
        raise table.fail(None, f"{len(found)} columns called {shown(wanted)}", "one",
                         f"pass {option}='column {found[0] + 1}' to take the first of them")
    place = re.fullmatch(r"column (\d+)", wanted)
    if place and 1 <= int(place[1]) <= len(table.header):
        return int(place[1]) - 1
    raise table.fail(None, f"no column {shown(wanted)}", f"one of {_listed(table)}", f"correct {option}")


def _others(table: Table, what: str) -> list[int]:
    """Positions of the best columns of a channel beside power."""
    names, units, alone = OTHERS[what]
    split = [words(header) for header in table.header]
    fit = [k for k, found in enumerate(split)
           if " ".join(found) in alone or (names & set(found) and not FOREIGN & set(found))]
    return [fit[k] for k in ranked([table.header[k] for k in fit], names, units)]


def _time(table: Table, name: str | None) -> int | None:
    if name is not None:
        return _named(table, name, "time_column")
    ranks: dict[int, int] = {}
    for k, header in enumerate(table.header):
        split = words(header)
        plain = [word for word in split if word not in TIME_UNITS]
        if not plain and split and SECONDS.issuperset(split):
            plain = ["seconds"]
        for wanted in (" ".join(split), " ".join(plain)):
            if wanted in TIME_NAMES:
                ranks[k] = min(TIME_NAMES.index(wanted), ranks.get(k, len(TIME_NAMES)))
    if not ranks:  # an unknown name, but cells that can be nothing else
        ranks = {k: 0 for k, column in enumerate(table.columns) if is_stamp(_first(column))}
    best = [k for k, rank in ranks.items() if rank == min(ranks.values())]
    if len(best) > 1:
        raise table.fail(None, f"{len(best)} columns that may be the time: {_listed(table, best)}", "one",
                         "name it with time_column")
    return best[0] if best else None


def _date(table: Table, at_time: int | None, named: str | None) -> int | None:
    """Position of a column of dates without time that goes with a column of times of day."""
    if at_time is None or named is not None:
        return None
    clock = _first(table.columns[at_time])
    found = [k for k, h in enumerate(table.header) if k != at_time and " ".join(words(h)) in DATE_NAMES]
    if len(found) == 1 and re.match(r"\d\d?:", clock):
        is_date = re.fullmatch(r"[\d./-]{6,10}", _first(table.columns[found[0]]))
        return found[0] if is_date else None
    return None


def _first(column: Sequence[str]) -> str:
    """Return the first cell that is not blank."""
    return next((cell for cell in column if cell), "")


def _increases(column: Sequence[str]) -> bool:
    try:
        values = [float(cell.replace(",", ".")) for cell in column]
    except ValueError:
        return False
    return values[0] < values[-1] and all(a <= b for a, b in pairwise(values))


def _headerless(table: Table, at_time: int | None) -> int:
    """Position of the power without names: the only column, or the one of two that is not time."""
    width = len(table.header)
    if width == 1:
        return 0
    if width == 2 and at_time is not None:
        return 1 - at_time
    still = ", the first not increasing" if width == 2 else ""
    raise table.fail(0, f"{width} columns without names{still}",
                     "a header, or one column of power, or time and power",
                     "add a header row, or name the columns, as in power_column='column 2'")


def _not_one_power(table: Table, best: list[int]) -> InputError:
    if best:
        return table.fail(None, f"{len(best)} columns that may be the power: {_listed(table, best)}", "one",
                          "name it with power_column")
    if len(table.header) == 1:
        return table.fail(None, f"a single column, {_listed(table)}", "a column of power in W",
                          "begin the file with the header row, check the delimiter, or name it with "
                          "power_column")
    return table.fail(None, f"the columns {_listed(table)}", "one called power or watts",
                      "name it with power_column")


def _listed(table: Table, positions: list[int] | None = None) -> str:
    names = [shown(table.header[k]) for k in (range(len(table.header)) if positions is None else positions)]
    return ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
