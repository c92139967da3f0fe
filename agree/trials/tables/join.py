"""Readings of two methods joined by key: every key once, never by the order of rows."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from math import gcd
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.files.table import Table, shown
from agree.trials.tables.columns import Key
from agree.trials.trials import FIRST_SHOWN, Aside, SetAside


def loose(key: Key) -> tuple[str, ...]:
    """Return a key without what writers vary: case, blanks and hyphens beside letters, leading and decimal zeros.

    Between numbers a hyphen or a blank stays: "1-1" is not "11", nor is day "-1" day "1".
    """
    return tuple(_loose_cell(cell) for cell in key.cells)


def _loose_cell(cell: str) -> str:
    text = re.sub(r"(?<=\d)\.0+$", "", cell.casefold())
    text = re.sub(r"(?<=[^\W\d_])[\s_-]+|[\s_-]+(?=[^\W\d_])|[\s_-]+$", "", text)
    return re.sub(r"(?<![\d.])0+(?=\d)", "", re.sub(r"[\s_-]+", "-", text))


def nearly(first: Iterable[Key], second: Iterable[Key]) -> list[tuple[Key, Key]]:
    """Keys of one table and of the other that differ in their writing alone."""
    others: dict[tuple[str, ...], Key] = {loose(key): key for key in second}
    return [(key, others[loose(key)]) for key in first if loose(key) in others and others[loose(key)] != key]


def told(key: Key, by: Sequence[str]) -> str:
    """Return a key as "subject 7, trial 2"."""
    return ", ".join(f"{name} {cell or '?'}" for name, cell in zip(by, key.cells, strict=True))


def aside(reason: Aside, names: Sequence[str]) -> list[SetAside]:
    """Return what is set aside for one reason, in a list that is empty if nothing is."""
    return [SetAside(reason=reason, count=len(names), first=tuple(names[:FIRST_SHOWN]))] if names else []


def once(table: Table, keys: Sequence[Key], by: Sequence[str]) -> dict[Key, int]:
    """Position of each whole key.

    Raises
    ------
    InputError
        Keys that occur twice.
    """
    found: dict[Key, int] = {}
    doubled: dict[Key, list[int]] = {}
    for row, key in enumerate(keys):
        if key.blank:
            continue
        if key in found:
            doubled.setdefault(key, [found[key]]).append(row)
        else:
            found[key] = row
    if doubled:
        first, rows = next(iter(doubled.items()))
        where = ", ".join(str(table.rows[row]) for row in rows[:4])
        raise InputError(f"{table.source}: {len(doubled)} of {len(found)} keys {','.join(by)} occur twice, first "
                         f"{told(first, by)} (rows {where}); expected each once; add a column to `by`")
    return found


class Joined(NamedTuple):
    """Rows of both tables that belong together, and what has no partner."""

    keys: list[Key]
    rows: tuple[list[int], list[int]]
    set_aside: list[SetAside]
    alone: tuple[int, ...] = ()  # rows of the reference without a partner


def join(tables: tuple[Table, Table], keys: tuple[Sequence[Key], Sequence[Key]], by: Sequence[str]) -> Joined:
    """Join two tables by key, as text.

    Raises
    ------
    InputError
        A key that occurs twice in a table, none that is in both, or some that would be if they were written alike.
    """
    first, second = (once(table, own, by) for table, own in zip(tables, keys, strict=True))
    both = [key for key in first if key in second]
    if not both:
        same = nearly(first, second)
        examples = ([repr(",".join(key.cells)) for key in same[0]] if same else
                    [repr(",".join(next(iter(own)).cells)) if own else "none" for own in (first, second)])
        more = f"{len(same)} differ in case, blanks, zeros or hyphens alone: " if same else ""
        raise InputError(f"{tables[0].source} and {tables[1].source}: no key {','.join(by)} is in both (first: "
                         f"{examples[0]} and {examples[1]}); {more}write them alike")
    alone = [[key for key in own if key not in other] for own, other in ((first, second), (second, first))]
    refuse_nearly(tables, by, len(both), alone[0], alone[1])
    blank = [f"{table.source} {table.word} {table.rows[k]}" for table, own in zip(tables, keys, strict=True)
             for k, key in enumerate(own) if key.blank]
    return Joined(both, ([first[key] for key in both], [second[key] for key in both]), [
        *aside("only_in_reference", [told(key, by) for key in alone[0]]),
        *aside("only_in_device", [told(key, by) for key in alone[1]]), *aside("blank_key", blank)],
        tuple(first[key] for key in alone[0]))


def refuse_nearly(tables: tuple[Table, Table], by: Sequence[str], joined: int, first: Iterable[Key],
                  second: Iterable[Key]) -> None:
    """Refuse keys without a partner that would have one if both tables wrote them alike.

    Left out, they would take subjects or trials away by how somebody wrote them: half a study, and no chance sample.

    Raises
    ------
    InputError
        With the first pairs.
    """
    pairs = nearly(first, second)
    if not pairs:
        return
    named = ", ".join(" and ".join(repr(",".join(key.cells)) for key in pair) for pair in pairs[:FIRST_SHOWN])
    raise InputError(f"{tables[0].source} and {tables[1].source}: {joined} keys {','.join(by)} are in both, and "
                     f"{len(pairs)} more differ in case, blanks, zeros or hyphens alone (first: {named}): write them "
                     "alike")


def subjects_nearly(source: str, *sides: Sequence[Key]) -> tuple[Note, ...]:
    """Refuse one subject under two names that differ in their writing alone; tell it where trials say that it is two.

    They are two where both have a trial under one key, as both would if each did all. Taken for two, one subject would
    count twice, and narrow what is said of others. The keys of each table are given by themselves.

    Raises
    ------
    InputError
        With the first pair.
    """
    done = [{(key.cells[0], *key.cells[1:]) for key in keys if not key.blank} for keys in sides]
    seen: dict[tuple[str, ...], str] = {}
    twice = [(seen[name], subject) for subject in sorted({key[0] for keys in done for key in keys})
             if seen.setdefault(name := loose(Key((subject,))), subject) != subject]
    if not twice:
        return ()
    one = [pair for pair in twice if not any(
        len(key) > 1 and key[0] == pair[0] and (pair[1], *key[1:]) in keys for keys in done for key in keys)]
    if one:
        raise InputError(f"{source}: subjects {one[0][0]!r} and {one[0][1]!r} differ in case, blanks, zeros or hyphens "
                         f"alone, and share no trial ({len(one)} of this kind): write them alike; if they are two, "
                         "give them names that differ by more")
    return (Note(kind="trials_subjects_nearly", severity="trust", values={
        "count": len(twice), "one": twice[0][0], "two": twice[0][1]}),)


def copies(subject: NDArray[np.intp], *readings: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Mask of trials to keep where every trial of the table occurs as often: a copied table holds nothing new.

    With k the greatest common divisor of how often each set of readings occurs with its subject, one in k is kept.
    """
    rows = list(zip(subject.tolist(), *(values.tolist() for values in readings), strict=True))
    count = Counter(rows)
    times = gcd(*count.values()) if rows else 1
    keep = np.ones(len(rows), bool)
    if times > 1:
        seen: Counter[tuple[float, ...]] = Counter()
        for k, row in enumerate(rows):
            seen[row] += 1
            keep[k] = seen[row] <= count[row] // times
    return keep


def numbered(names: Sequence[str]) -> tuple[NDArray[np.intp], tuple[str, ...]]:
    """Number names in their own order, so that the order of rows does not matter."""
    order = sorted(set(names))
    place = {name: k for k, name in enumerate(order)}
    return np.array([place[name] for name in names], dtype=np.intp), tuple(order)


def refuse_unnamed(by: Sequence[str]) -> None:
    """Refuse keys without a name, or one name twice."""
    if not by or any(not str(name).strip() for name in by) or len({str(name).lower() for name in by}) < len(by):
        raise InputError(f"`by` must name the subject's column, then those that tell its trials apart; got "
                         f"{shown(','.join(map(str, by)))}", option="by")
