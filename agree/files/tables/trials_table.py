"""Tables of trials: told by their keys, so that they are never read as seconds of a recording."""

from __future__ import annotations

import shlex
from collections import Counter
from collections.abc import Sequence
from typing import Any

from agree.core.errors import InputError
from agree.files.table import LOOKS_NUMERIC, MISSING, Table

SUBJECT_WORDS = frozenset({"subject", "athlete", "participant", "id", "player", "rider", "runner", "proband", "sujet"})
TRIAL_WORDS = frozenset({"trial", "jump", "rep", "repetition", "attempt", "set", "versuch", "essai"})
NUMBER_WORDS = frozenset({"id", "no", "nr", "number", "code"})
TIME_WORDS = frozenset({"time", "timestamp", "datetime", "seconds", "elapsed", "zeit", "temps", "tiempo"})


class TrialsTableError(InputError):
    """A table of trials where a recording was expected.

    Attributes
    ----------
    source, key : str
        The table and its key, as `by` of pair_trials takes it.
    found : str
        What it holds.
    readings : tuple of str
        Columns of numbers besides the key.
    """

    def __init__(self, source: str, key: str, found: str, readings: tuple[str, ...]) -> None:
        self.source, self.key, self.found, self.readings = source, key, found, readings
        super().__init__(f"{source}: {found}, and no time; expected one recording, a reading every second; for trials "
                         f"use pair_trials(..., by='{key}') and check_trials", code="trials_table")

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.source, self.key, self.found, self.readings)

    def as_command(self, path: str, other: str | None, claim: str) -> str:
        """Return the message with the command to use instead."""
        names = [] if other is not None or len(self.readings) < 2 else [
            f"--reference '{self.readings[0]}'", f"--device '{self.readings[1]}'"]
        files = [shlex.quote(name) for name in (path, other) if name is not None]
        command = " ".join(["agree trials", *files, "--by", shlex.quote(self.key), *names])
        return (f"{self.source}: {self.found}, and no time; agree check expects one recording, a reading every second; "
                f"for trials: {command} --claim '{claim}'")


def header_words(header: str) -> list[str]:
    """Return the words of a header in lower case."""
    return "".join(c if c.isalnum() else " " for c in header.lower()).split()


def is_key(words: list[str], allowed: frozenset[str]) -> bool:
    """Whether a header names a key of this kind, such as "athlete" or "subject id"."""
    return bool(words) and words[0] in allowed and (len(words) == 1 or (len(words) == 2 and words[1] in NUMBER_WORDS))


def refuse_trials(table: Table) -> None:
    """Refuse a table without time that has a repeated column of subjects or trials.

    Raises
    ------
    TrialsTableError
        Such a table.
    """
    plain = [header_words(header) for header in table.header]
    if any(TIME_WORDS.intersection(words) for words in plain):
        return
    keys = [k for allowed in (SUBJECT_WORDS, TRIAL_WORDS) for k, words in enumerate(plain) if is_key(words, allowed)]
    for k in keys:
        counts = Counter(cell for cell in table.columns[k] if cell.lower() not in MISSING)
        if len(counts) < 2 or max(counts.values()) < 2:
            continue
        least, most = min(counts.values()), max(counts.values())
        each = f"{least} rows each" if least == most else f"{least} to {most} rows each"
        found = f"{len(counts)} values in column {table.header[k]!r}, {each}"
        readings = tuple(name for j, name in enumerate(table.header) if j not in keys and _numbers(table.columns[j]))
        raise TrialsTableError(table.source, ",".join(table.header[j] for j in keys), found, readings)


def _numbers(cells: Sequence[str]) -> bool:
    held = [cell for cell in cells if cell.lower() not in MISSING]
    return bool(held) and all(LOOKS_NUMERIC.fullmatch(cell) for cell in held)
