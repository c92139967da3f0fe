"""What a table without power is for: other quantities that its columns tell by their names, or trials."""

from __future__ import annotations

from collections.abc import Sequence

from agree.core.errors import InputError
from agree.core.quantities.known import POWER, in_header, quantity
from agree.core.results.note import Note
from agree.files.table import Table
from agree.files.tables.trials_table import TrialsTableError


def quantities_told(header: Sequence[str]) -> tuple[str, ...]:
    """Return the known quantities that columns are named after, power left out, each once.

    Examples
    --------
    >>> from agree.recordings.other_quantities import quantities_told
    >>> quantities_told(["time", "heart rate (bpm)", "speed (km/h)", "power", "note"])
    ('heart rate', 'speed')
    """
    found = [item.name for item in map(in_header, header) if item is not None and item.name not in ("", POWER.name)]
    return tuple(dict.fromkeys(found))


def instead(table: Table, error: InputError) -> list[Note]:
    """Tell what to do with a table that is no recording of power."""
    if isinstance(error, TrialsTableError):
        names = dict(zip(("reference", "device"), error.readings, strict=False))
        return [Note(kind="look_trials", severity="answer", values={"name": table.source, "by": error.key, **names})]
    others = quantities_told(table.header) if error.code == "no_column" else ()
    return [Note(kind="look_quantity", severity="answer", values={
        "names": ", ".join(others), "first": others[0], "claim": quantity(others[0]).claim_example})] if others else []
