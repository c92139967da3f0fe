"""`pair_trials`: from one table, or two joined by key, to `Trials`."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.errors import InputError, SampleSizeError
from agree.core.quantity import Quantity
from agree.files.table import Table, shown
from agree.trials.doubtful import refuse_mixup, refuse_same
from agree.trials.tables import columns, join
from agree.trials.tables.columns import Key
from agree.trials.tables.source import table_of
from agree.trials.trials import SetAside, Trials


def pair_trials(
    reference: Any,
    device: Any = None,
    *,
    by: str | Sequence[str] = ("subject", "trial"),
    reference_column: str | None = None,
    device_column: str | None = None,
    quantity: str | Quantity | None = None,
    unit: str | None = None,
    unpaired: bool = False,
    claim_unit: str = "",
) -> Trials:
    """Join the readings of two methods by subject and trial.

    Use it for a table with a row for each trial, such as jumps or steady states of several athletes. Rows are joined by
    their keys as trimmed text, never by their order; what has no partner is set aside and counted. For two recordings
    with a reading every second use `pair_recordings`.

    Parameters
    ----------
    reference, device : path, data frame, or mapping of columns
        Two tables with one column of readings each; or `reference` alone, a table with both.
    by : str or sequence of str
        Columns that make the key: the subject's first, then those that distinguish the subject's trials;
        "subject,trial".
    reference_column, device_column : str, optional
        Columns of readings, if not the only ones; several after commas are trials side by side ("plate1,plate2").
    quantity : str or Quantity, optional
        What is measured, if the columns' names do not say so: "heart rate".
    unit : str, optional
        Unit of columns whose names do not give it: "cm".
    unpaired : bool
        The trials of the two methods are not the same trials: only the subjects are joined, and a subject's true value
        is taken as constant.
    claim_unit : str
        Unit of the claim, which columns without any are taken to be in.

    Returns
    -------
    Trials
        Readings in one unit, subjects, and what was set aside.

    Raises
    ------
    InputError
        A column that is not there, keys that occur twice, no key in both, units that do not convert.
    SampleSizeError
        Fewer than 2 subjects, or no trial with both readings.

    See Also
    --------
    check_trials : Judge a claim on what this returns.
    pair_recordings : The same for recordings.

    References
    ----------
    "Check a table of trials" in the documentation.

    Examples
    --------
    >>> from agree import pair_trials
    >>> table = {"subject": ["A", "A", "B", "B"], "trial": [1, 2, 1, 2], "plate_cm": [30.1, 31.2, 40.2, None],
    ...          "mat_cm": [30.9, 31.0, 41.5, 40.9]}
    >>> trials = pair_trials(table, reference_column="plate_cm", device_column="mat_cm")
    >>> trials.count, trials.quantity.unit, trials.set_aside[0].first
    (3, 'cm', ('subject B, trial 2',))
    """
    names = tuple(part.strip() for part in by.split(",")) if isinstance(by, str) else tuple(map(str, by))
    join.refuse_unnamed(names)
    one, identity = table_of(reference, "reference")
    inputs = [identity] if identity else []
    other = one
    if device is not None:
        other, identity = table_of(device, "device")
        inputs += [identity] if identity else []
    if device is None and (reference_column is None or device_column is None):
        raise InputError(f"{one.source}: one table holds both methods; name their columns with `reference_column` and "
                         "`device_column`")
    found = [columns.readings_of(table, name, names, argument) for table, name, argument in (
        (one, reference_column, "reference_column"), (other, device_column, "device_column"))]
    first, second = found[0][0][0], found[1][0][0]
    if len(found[0][0]) != len(found[1][0]) and not unpaired:
        sizes = [f"{len(names)} ({', '.join(map(shown, names))})" for names, _ in found]
        raise InputError(f"`reference_column` names {sizes[0]} and `device_column` {sizes[1]}: columns side by side "
                         "are trials, the first of one with the first of the other, so that each needs as many; name "
                         "one column of each, or leave the trials unpaired with `unpaired`")
    own, units, notes = columns.measured((first, second), quantity, unit, claim_unit,
                                         (columns.is_clock(one, first), columns.is_clock(other, second)))
    sides = []
    for table, (headers, values), as_read in zip((one, other), found, units, strict=True):
        keys = columns.keys_of(table, names)
        sides.append(_long(keys, [columns.in_base(v, as_read, own) for v in values], headers, table, names))
    keyed = names if len(found[0][0]) == len(found[1][0]) == 1 else (*names, "column")
    tables = (sides[0][2], sides[1][2])
    made = _unpaired(tables, sides, keyed) if unpaired else _paired(tables, sides, keyed, both=device is None)
    _refuse_doubtful(made, own, found, (one.source, other.source), unpaired=unpaired)
    made["notes"] = (*columns.subjects_left_out(one, names), *notes, *made["notes"])
    return Trials(**made, quantity=own, by=keyed, paired=not unpaired, inputs=tuple(inputs),
                  reference_name=_called(one, found[0][0], device), device_name=_called(other, found[1][0], device),
                  device_column=found[1][0][0])


def _refuse_doubtful(made: dict[str, Any], own: Quantity, found: Sequence[tuple[list[str], Any]],
                     sources: tuple[str, str], *, unpaired: bool) -> None:
    """Refuse a method beside itself, and mixed-up units; of unpaired trials by the subjects' means."""
    x, y = made["reference"], made["device"]
    columns = (", ".join(found[0][0]), ", ".join(found[1][0]))
    named = [f"{source}, column {shown(column)}" for source, column in zip(sources, columns, strict=True)]
    refuse_same(np.sort(x) if unpaired else x, np.sort(y) if unpaired else y, (named[0], named[1]))
    if unpaired:
        x, y = (np.bincount(made[of], weights=values) / np.bincount(made[of])
                for of, values in (("subject", x), ("device_subject", y)))
    refuse_mixup(x, y, own, columns)


def _called(table: Table, headers: list[str], device: Any) -> str:
    """Name of a method: its column's in one table, its file's where there are two."""
    if device is None or not isinstance(device, str | os.PathLike):
        return headers[0]
    return table.source.rsplit(".", 1)[0] or headers[0]


Side = tuple[list[Key], FloatArray, Table]


def _long(keys: list[Key], values: list[FloatArray], headers: list[str], table: Table, by: tuple[str, ...]) -> Side:
    """Readings side by side become rows; of a single column nothing changes."""
    if len(values) == 1:
        return keys, values[0], table
    long = [Key((*key.cells, str(k + 1)) if not key.blank else ("",)) for k in range(len(headers)) for key in keys]
    rows = [row for _ in headers for row in table.rows]
    return long, np.concatenate(values), table._replace(rows=rows)


def _paired(tables: tuple[Table, Table], sides: Sequence[Side], by: tuple[str, ...], *, both: bool) -> dict[str, Any]:
    """Fields of paired trials."""
    keys = (sides[0][0], sides[1][0])
    if not keys[0] or not keys[1]:
        empty = tables[0 if not keys[0] else 1].source
        raise SampleSizeError(f"{empty}: found no row of trials; expected one for each trial; export the table again")
    if both and len(keys[0][0].cells) == 1:  # a row is a trial: nothing tells them apart, and nothing has to
        rows = [k for k, key in enumerate(keys[0]) if not key.blank]
        blank = [f"row {tables[0].rows[k]}" for k, key in enumerate(keys[0]) if key.blank]
        made = join.Joined([keys[0][k] for k in rows], (rows, rows), join.aside("blank_key", blank))
    else:
        made = join.join(tables, keys, by)
        if both:  # one table: a blank key is one row, not two
            halved = [SetAside(reason=item.reason, count=item.count // 2, first=item.first)
                      if item.reason == "blank_key" else item for item in made.set_aside]
            made = made._replace(set_aside=halved)
    x, y = sides[0][1][made.rows[0]], sides[1][1][made.rows[1]]
    held = np.isfinite(x) & np.isfinite(y)
    lacking = [join.told(key, by) for key, whole in zip(made.keys, held, strict=True) if not whole]
    kept = [key for key, whole in zip(made.keys, held, strict=True) if whole]
    absent = sides[0][1][list(made.alone)]
    unread = np.sort(np.concatenate((x[np.isfinite(x) & ~np.isfinite(y)], absent[np.isfinite(absent)])))
    x, y = x[held], y[held]
    subject, subjects = _subjects([key.cells[0] for key in kept])
    new = join.copies(subject, x, y)
    copied = [join.told(key, by) for key, first in zip(kept, new, strict=True) if not first]
    unread = unread[::x.size // int(new.sum())]  # of a copied table, once
    return {"reference": x[new], "device": y[new], "subject": subject[new], "subjects": subjects, "unread": unread,
            "notes": join.subjects_nearly(tables[0].source, kept),
            "set_aside": (*made.set_aside, *join.aside("no_reading", lacking), *join.aside("copied", copied))}


def _unpaired(tables: tuple[Table, Table], sides: Sequence[Side], by: tuple[str, ...]) -> dict[str, Any]:
    """Fields of trials of which the subjects alone are joined."""
    held: list[tuple[list[str], FloatArray]] = []
    put_aside: list[SetAside] = []
    for (keys, values, _), table in zip(sides, tables, strict=True):
        if len(by) > 1:
            join.once(table, keys, by)
        keep = [k for k, key in enumerate(keys) if not key.blank and np.isfinite(values[k])]
        put_aside += join.aside("blank_key", [f"{table.source} row {table.rows[k]}"
                                              for k, key in enumerate(keys) if key.blank])
        put_aside += join.aside("no_reading", [join.told(key, by) for k, key in enumerate(keys)
                                               if not key.blank and not np.isfinite(values[k])])
        held.append(([keys[k].cells[0] for k in keep], values[keep]))
    common = set(held[0][0]) & set(held[1][0])
    join.refuse_nearly(tables, by[:1], len(common), *(
        [Key((name,)) for name in sorted(set(names) - common)] for names, _ in held))
    for (names, _), reason in zip(held, ("only_in_reference", "only_in_device"), strict=True):
        put_aside += join.aside(reason, [f"{by[0]} {name}" for name in sorted(set(names) - common)])  # type: ignore[arg-type]
    made: list[tuple[NDArray[np.intp], FloatArray]] = []
    subjects: tuple[str, ...] = ()
    for names, values in held:
        keep = [k for k, name in enumerate(names) if name in common]
        subject, subjects = _subjects([names[k] for k in keep])
        own = values[keep]
        new = join.copies(subject, own)
        made.append((subject[new], own[new]))
    return {"reference": made[0][1], "device": made[1][1], "subject": made[0][0], "device_subject": made[1][0],
            "notes": join.subjects_nearly(tables[0].source, *(keys for keys, _, _ in sides)),
            "subjects": subjects, "set_aside": tuple(put_aside), "unread": _unread(sides, held[0], common)}


def _unread(sides: Sequence[Side], of_reference: tuple[list[str], FloatArray], common: set[str]) -> FloatArray:
    """Levels at which an unpaired device has no reading: of subjects without any, and of blank cells of the others."""
    names, index = np.unique(of_reference[0], return_inverse=True)
    means = dict(zip(names.tolist(), (np.bincount(index, of_reference[1]) / np.bincount(index)).tolist(), strict=True))
    keys, values, _ = sides[1]
    return np.array([
        *(value for name, value in zip(*of_reference, strict=True) if name not in common),
        *(means[key.cells[0]] for key, value in zip(keys, values, strict=True)
          if not key.blank and key.cells[0] in common and not np.isfinite(value))], dtype=float)


def _subjects(names: list[str]) -> tuple[NDArray[np.intp], tuple[str, ...]]:
    if len(set(names)) < 2:
        raise SampleSizeError(f"at least 2 subjects with both readings are needed; got {len(set(names))}")
    return join.numbered(names)
