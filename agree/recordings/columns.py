"""Which column holds what, by its header: the readings, time and date, and the channels beside them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from agree.core.errors import InputError
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.files.naming.headers import (
    DATE_NAMES,
    LAST_TIME_NAMES,
    POWER,
    SECONDS,
    TIME_NAMES,
    TIME_UNITS,
    UNIT_SECONDS,
    barest,
    called,
    fitting,
    heading,
    passed_over,
    words,
)
from agree.files.naming.vocabulary import quantities
from agree.files.table import Table, shown
from agree.files.tables.trials_table import refuse_trials
from agree.recordings.stamps import is_stamp

# Beside the readings, if they are there.
CHANNELS = ("power", "cadence", "speed", "temperature", "balance", "heart rate", "torque", "core temperature",
            "oxygen uptake")
WHAT = {"left": "the left side", "right": "the right side", "side": "one side", "target": "a target",
        "average": "an average", "smoothed": "smoothed", "normalised": "normalised", "extreme": "an extreme",
        "part": "of a part of the recording", "threshold": "a threshold", "estimated": "an estimate",
        "other": "no reading", "place": "of a place or a distance", "foreign": "of something else",
        "scaled": "not in its unit alone"}

DAY_ALONE = re.compile(r"\d{1,4}[/.-]\d{1,2}[/.-]\d{1,4}")  # a date beside a column that counts seconds


class Choice(NamedTuple):
    """Positions of the columns; `date` is one to be put before `time`; `notes` say what was passed over."""

    readings: int
    time: int | None
    date: int | None
    others: dict[str, int]
    notes: list[Note]


def choose(
    table: Table, column: str | None, time: str | None, cadence: str | None = None, speed: str | None = None, *,
    quantity: Quantity, option: str = "power_column",
) -> Choice:
    """Find the columns by the names given, else by what such columns are usually called.

    Raises
    ------
    InputError
        A named column that is not there, no column of the quantity, several that may be it, or one column twice.
    """
    notes: list[Note] = []
    at_time = _time(table, time)
    if table.headerless and at_time is None and len(table.header) == 2 and _increases(table.columns[0]):
        at_time = 0
    if at_time is None and not table.headerless:
        refuse_trials(table)
    if column is not None:
        at = _named(table, column, option)
    elif table.headerless and quantity.name == POWER:
        at = _headerless(table, at_time, option)
    else:
        at = _one(table, quantity, option)
    named = {"cadence": cadence, "speed": speed}
    others = {what: _named(table, name, f"{what}_column") for what, name in named.items() if name is not None}
    taken = [k for k in (at, at_time, *others.values()) if k is not None]
    if len(set(taken)) < len(taken):
        twice = next(k for k in taken if taken.count(k) > 1)
        roles = f"{quantity.label}, time and cadence" if speed is None else f"{quantity.label}, time, cadence and speed"
        raise table.fail(None, f"column {shown(table.header[twice])} in two roles", f"different columns for {roles}",
                         "name each of them", option=option)
    for what in CHANNELS:
        if what not in others and what != quantity.name:
            fit = fitting(table.header, what) if what == POWER else barest(table.header, what)
            best = [k for k in fit if k not in taken]
            if what == POWER and len(best) > 1 and table.metric and "power" in table.header:
                best = [table.header.index("power")]
            if len(best) == 1:
                others[what] = best[0]
                taken.append(best[0])
            elif best:
                notes.append(Note(kind="read_channel_doubtful",
                                  values={"channel": what, "columns": listed(table, best)}))
    return Choice(at, at_time, _date(table, at_time, time), others, notes)


def _one(table: Table, quantity: Quantity, option: str) -> int:
    """Position of the one column of the quantity; in a recorder's own format its native field comes first."""
    fit = fitting(table.header, quantity.name, quantity.aliases)
    if table.metric and len(fit) > 1:
        native = [k for k in fit if table.header[k] == quantity.name]
        fit = native or fit
    if len(fit) > 1 and all(list(table.columns[k]) == list(table.columns[fit[0]]) for k in fit[1:]):
        fit = fit[:1]  # the same readings under two names
    if len(fit) != 1:
        raise _not_one(table, fit, quantity, option)
    return fit[0]


def _named(table: Table, name: str, option: str) -> int:
    """Position of a column by its name, by its name whatever its case, or as 'column 3'."""
    wanted = str(name).strip()
    found = called(table.header, wanted)
    if len(found) == 1:
        return found[0]
    if found:
        raise table.fail(None, f"{len(found)} columns called {shown(wanted)}", "one",
                         f"pass {option}='column {found[0] + 1}' to take the first of them", option=option)
    place = re.fullmatch(r"column (\d+)", wanted)
    if place and 1 <= int(place[1]) <= len(table.header):
        return int(place[1]) - 1
    raise table.fail(None, f"no column {shown(wanted)}", f"one of {listed(table)}", f"correct {option}", option=option)


def _time(table: Table, name: str | None) -> int | None:
    if name is not None:
        return _named(table, name, "time_column")
    ranks: dict[int, int] = {}
    for k, header in enumerate(table.header):
        split = words(header)
        plain = [word for word in split if word not in TIME_UNITS]
        if not plain and split and SECONDS.issuperset(split):
            plain = ["seconds"]
        if not plain and {"hhmmss", "hhmm"} & set(split):
            plain = ["time"]
        for wanted in (" ".join(split), " ".join(plain)):
            if wanted in TIME_NAMES:
                ranks[k] = min(TIME_NAMES.index(wanted), ranks.get(k, len(TIME_NAMES)))
    if not ranks:  # an unknown name, but cells that can be nothing else
        ranks = {k: 0 for k, column in enumerate(table.columns)
                 if is_stamp(_first(column)) and not any(heading(table.header[k], what).named for what in quantities())}
    if not ranks:
        ranks = {k: 0 for k, column in enumerate(table.columns)
                 if _is_last_resort(words(table.header[k])) and _increases([cell for cell in column if cell])}
    ranks = {k: rank for k, rank in ranks.items() if not DAY_ALONE.fullmatch(_first(table.columns[k]))} or ranks
    best = [k for k, rank in ranks.items() if rank == min(ranks.values())]
    if len(best) > 1:
        raise table.fail(None, f"{len(best)} columns that may be the time: {listed(table, best)}", "one",
                         "name it with time_column", option="time_column")
    return best[0] if best else None


def _is_last_resort(split: Sequence[str]) -> bool:
    """Tell whether a name may be of time: a duration, or nothing but a unit, as in "ms"."""
    plain = " ".join(word for word in split if word not in TIME_UNITS)
    return bool(split) and (plain in LAST_TIME_NAMES if plain else UNIT_SECONDS.keys() >= set(split))


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
    return bool(values) and values[0] < values[-1] and all(a <= b for a, b in pairwise(values))


def _headerless(table: Table, at_time: int | None, option: str) -> int:
    """Position of the power without names: the only column, or the one of two that is not time."""
    width = len(table.header)
    if width == 1:
        return 0
    if width == 2 and at_time is not None:
        return 1 - at_time
    still = ", the first not increasing" if width == 2 else ""
    raise table.fail(0, f"{width} columns without names{still}",
                     "a header, or one column of power, or time and power",
                     f"add a header row, or name the columns, as in {option}='column 2'", option=option)


def _not_one(table: Table, fit: list[int], quantity: Quantity, option: str) -> InputError:
    remedy = f"name it with {option}"
    if fit:
        return table.fail(None, f"{len(fit)} columns that may be the {quantity.label}: {listed(table, fit)}", "one",
                          remedy, option=option, code="several_columns")
    if table.fields is not None:
        state = "always blank" if quantity.name.replace(" ", "_") in table.fields else "missing"
        names = ", ".join(map(shown, table.fields[:20])) + (" and more" if len(table.fields) > 20 else "")
        return table.fail(None, f"{len(table.rows)} {table.word}s with {quantity.label} {state}, and the fields "
                          f"{names or 'none'}", f"readings of {quantity.label}",
                          f"check that the recorder was connected to its sensor, or {remedy}", option=option,
                          code="no_column")
    over = passed_over(table.header, quantity.name)
    if over:
        said = ", ".join(f"{shown(table.header[k])} ({WHAT.get(kind, kind)}: {word!r})" for k, kind, word in over[:6])
        more = f" and {len(over) - 6} more" if len(over) > 6 else ""
        sides = len({kind for _, kind, _ in over} & {"left", "right", "side"}) > 1
        return table.fail(None, f"no plain column of {quantity.label}, but {said}{more}",
                          f"a column of measured {quantity.label}",
                          ("add the two sides up in a column of their own, or " if sides else "")
                          + f"{remedy} if it is what is meant", option=option, code="no_column")
    if quantity.name != POWER:
        return table.fail(None, f"the columns {listed(table)}",
                          f"one called {quantity.label} or {' or '.join(quantity.aliases[1:4]) or 'the like'}", remedy,
                          option=option, code="no_column")
    if len(table.header) == 1:
        return table.fail(None, f"a single column, {listed(table)}", "a column of power in W",
                          f"begin the file with the header row, check the delimiter, or {remedy}", option=option,
                          code="no_column")
    return table.fail(None, f"the columns {listed(table)}", "one called power or watts", remedy, option=option,
                      code="no_column")


def listed(table: Table, positions: list[int] | None = None) -> str:
    """Return the names of columns, 12 of them at most."""
    names = [shown(table.header[k]) for k in (range(len(table.header)) if positions is None else positions)]
    return ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
