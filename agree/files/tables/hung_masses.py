"""From a table of hung masses to columns: mass, reading, and side, angle and direction where given."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.files.formats.text import read_table
from agree.files.table import Table, numbers, shown

POWER = re.compile(r"power|watt|reading_w$|leistung")
WANTED = "a column mass_kg and a column reading_Nm, and if you like side, angle_deg, direction (up or down)"


class HungMasses(NamedTuple):
    """Columns of a table of hung masses; None where the table has no such column."""

    mass_kg: FloatArray
    reading_Nm: FloatArray
    side: tuple[str, ...] | None
    angle_deg: FloatArray | None
    direction: tuple[str, ...] | None


def read_hung_masses(path: str | Path) -> HungMasses:
    """Read a text table of hung masses.

    Raises
    ------
    InputError
        No columns of these names, a mass in another unit, or a cell that is not a number.
    """
    table = read_table(Path(path))
    names = {name.strip().lower(): k for k, name in enumerate(table.header)}
    if "reading_nm" not in names and (power := [name for name in names if POWER.search(name)]):
        raise InputError(f"{table.source}: found a column {table.header[names[power[0]]]!r}; expected torque, "
                         "reading_Nm: power is 0 while the crank stands still, so that a device which shows no torque "
                         "cannot be checked with hung masses. Ride it beside a trusted device (agree check), or "
                         "compare a climb (agree climb)")
    for wrong, right in (("mass_g", "mass_kg"), ("mass_lb", "mass_kg"), ("reading_ncm", "reading_Nm"),
                         ("reading_nmm", "reading_Nm"), ("reading_kgfm", "reading_Nm"), ("reading_lbft", "reading_Nm")):
        if wrong in names and right.lower() not in names:
            raise InputError(f"{table.source}: found a column {table.header[names[wrong]]!r}; expected {right}; "
                             "convert it and rename the column")

    def column(name: str) -> FloatArray | None:
        if name.lower() not in names:
            return None
        found = numbers(table, table.columns[names[name.lower()]], name)
        blank = np.flatnonzero(np.isnan(found))
        if blank.size:
            raise table.fail(int(blank[0]), f"no {name}", "a number", "write it, or remove the row")
        return found

    mass, reading = column("mass_kg"), column("reading_Nm")
    if mass is None or reading is None:
        raise InputError(f"{table.source}: found the columns {', '.join(map(shown, table.header))}; expected {WANTED}; "
                         "rename them")
    return HungMasses(mass, reading, _words(table, names, "side"), column("angle_deg"),
                      _words(table, names, "direction"))


def _words(table: Table, names: dict[str, int], name: str) -> tuple[str, ...] | None:
    if name not in names:
        return None
    cells: Sequence[str] = table.columns[names[name]]
    return tuple(cell.strip().lower() for cell in cells)
