"""Quantities other than power that the columns of a table tell by their names."""

from __future__ import annotations

from collections.abc import Sequence

from agree.core.quantities.known import POWER, in_header


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
