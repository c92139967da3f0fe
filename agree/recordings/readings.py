"""Readings of a quantity from the cells of a column: units, markers of missing values, ranges."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.quantities.units import convert, is_known, unit_in_header, unit_of
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.core.thresholds import (
    MARKER_ABOVE,
    MARKER_BELOW_W,
    MARKER_READINGS,
    MAX_POWER_W,
    MIN_POWER_W,
    TYPICAL_MEDIAN,
)
from agree.files.naming.headers import POWER, dimension, heading
from agree.files.table import Table, numbers, shown

# "No value" of signed and unsigned 16-bit, as such and as tenths, of 12-bit and of 8-bit fields, and what people write
# for it (common practice). -1 and 9999 are readings of other quantities, and of a power only where others are below 0
# or that high, as 999, 4095 and the tenths are.
POWER_MARKERS = (65_535.0, 32_767.0, 6_553.5, 3_276.7, 4_095.0, -32_768.0, 999.0, 9_999.0, 99_999.0, -1.0, -999.0,
                 -9_999.0)
MAY_BE_READ = frozenset({9_999.0, 4_095.0, 6_553.5, 3_276.7, 999.0, -999.0})
MARKERS: dict[str, tuple[float, ...]] = {
    POWER: POWER_MARKERS, "cadence": (255, 65_535, -1), "speed": (65_535, 32_767, -1, 9_999),
    "temperature": (127, 255, 65_535, 32_767), "balance": (255, 65_535, -1), "heart rate": (255, 65_535, -1, 9_999),
    "torque": (65_535, 32_767, 9_999), "core temperature": (65_535, 32_767, 655.35, -1, 9_999, 0),
    "oxygen uptake": (65_535, 32_767, 9_999, -1)}
PLAIN_MARKERS = (65_535.0, 32_767.0, 99_999.0)
SIDES = {"left": ("left", "l", "links", "linke", "gauche", "g", "izquierda", "sinistra", "esquerda", "lewa", "lewo"),
         "right": ("right", "r", "rechts", "rechte", "droite", "d", "derecha", "destra", "direita", "prawa", "prawo")}
DEVELOPER = re.compile(r" \(developer \d+[^)]*\)")  # whose field it is: no word of its name
PACE = re.compile(r"(\d{1,2}):([0-5]\d(?:[.,]\d+)?)", re.ASCII)


def unit_texts(header: str, below: str) -> str:
    """Return a header with what stands below it in a row of units."""
    return f"{header} [{below}]" if below else header


def readings(table: Table, at: int, label: str, quantity: Quantity) -> FloatArray:
    """Return the readings of the chosen column in the unit the quantity is computed in; what is doubtful is noted.

    Parameters
    ----------
    table : Table
        Without a row of units.
    at : int
        Position of the column.
    label : str
        Its header, with its cell in the row of units.
    quantity : Quantity
        What it is to hold.

    Raises
    ------
    InputError
        A cell that is no number, a unit of something else, or a power outside -2000 to 20000 W.
    """
    name, said = table.header[at], heading(label, quantity.name, quantity.aliases)
    unit = _unit(table, name, label, quantity)
    values = _numbers(table, table.columns[at], name, quantity)
    values = without_markers(table, values, quantity.name)
    if quantity.name == "balance":
        values = right_share(table, values, label, doubt=True)
    target = quantity.computed_in
    if unit != target:
        values = convert(values, unit, target)
        table.notes.append(Note(kind="read_converted", severity="trust" if quantity.name == POWER and unit != "kW"
                                else "detail", values={"column": name, "unit": unit, "to": target}))
    if quantity.name == POWER:
        wrong = np.flatnonzero((values < MIN_POWER_W) | (values > MAX_POWER_W))
        if wrong.size:
            raise table.fail(int(wrong[0]), f"{values[wrong[0]]:.10g} W in column {shown(name)}",
                             f"{MIN_POWER_W:.0f} to {MAX_POWER_W:.0f} W",
                             "check the unit, or leave the cell blank if there is no reading")
    kinds = [f"{kind}: {word}" for kind, word in said.derived if kind != quantity.name]
    unknown = heading(DEVELOPER.sub("", label), quantity.name, quantity.aliases).unknown
    if unknown and (said.named or quantity.name != POWER):
        table.notes.append(Note(kind="read_header_word", severity="trust",
                                values={"column": name, "words": ", ".join(unknown), "quantity": quantity.label}))
    if kinds:
        table.notes.append(Note(kind="read_header_derived", severity="answer",
                                values={"column": name, "words": ", ".join(kinds), "quantity": quantity.label}))
    _question(table, values, name, quantity)
    return values


def _unit(table: Table, name: str, label: str, quantity: Quantity) -> str:
    """Return the unit a column is in, that of the quantity if the header tells none."""
    said = heading(label, quantity.name, quantity.aliases)
    if dimension(quantity.name):
        if said.strange:
            raise table.fail(None, f"column {shown(name)} in {said.strange[0]}", f"{quantity.label} in {quantity.unit}",
                             f"convert it to {quantity.unit}, or name another column", code="unit")
        if said.unit == "hp":
            raise table.fail(None, f"column {shown(name)} in horsepower, which is 745.7 W or, metric, 735.5 W",
                             "power in W", "convert it to W, or call it PS if it is metric", code="unit")
        if not said.unit and quantity.name in ("speed", "pace") and not table.metric and not _has_pace(table, name):
            table.notes.append(Note(kind="read_unit_assumed", severity="answer",
                                    values={"column": name, "unit": quantity.unit}))
        return said.unit or quantity.unit
    found = unit_in_header(label)
    if found and unit_of(found).dimension != unit_of(quantity.unit).dimension:
        raise table.fail(None, f"column {shown(name)} in {found}", f"{quantity.label} in {quantity.unit}",
                         "name another column, or the quantity in that unit", code="unit")
    return found if found and is_known(quantity.unit) else quantity.unit


def _has_pace(table: Table, name: str) -> bool:
    cells = table.columns[table.header.index(name)]
    return any(PACE.fullmatch(cell) for cell in cells[:20])


def _numbers(table: Table, cells: Sequence[str], name: str, quantity: Quantity) -> FloatArray:
    """Return the numbers in cells; of a pace also m:ss."""
    if quantity.name == "pace" and any(PACE.fullmatch(cell) for cell in cells[:100]):
        found = {cell: PACE.fullmatch(cell) for cell in set(cells)}
        made = {cell: repr(int(m[1]) + float(m[2].replace(",", ".")) / 60) if m else cell for cell, m in found.items()}
        cells = [made[cell] for cell in cells]
    return numbers(table, cells, name, grouped=quantity.name == POWER)  # thousands of anything else are rare


def is_marker(values: FloatArray, quantity: str = POWER) -> np.ndarray:
    """Say which values are markers of a missing reading, by the values around them."""
    hit = np.zeros(values.size, bool)
    for marker in MARKERS.get(quantity, PLAIN_MARKERS):
        same = values == marker
        if not same.any():
            continue
        rest = values[np.isfinite(values) & ~same & ~hit]
        if marker == -1 and (rest < 0).any():
            continue  # a device that reads below 0 reads -1 too
        if marker in MAY_BE_READ and rest.size and np.max(np.sign(marker) * rest) * MARKER_ABOVE > abs(marker):
            continue
        hit |= same
    return hit | _only_below_zero(np.where(hit, np.nan, values)) if quantity == POWER else hit


def _only_below_zero(power: FloatArray) -> np.ndarray:
    """Say which readings are the only value below 0, again and again: what a program of its own way writes for none."""
    below = power[power < 0]
    only = below.size >= MARKER_READINGS and below.min() == below.max() <= MARKER_BELOW_W
    return np.asarray(power == below[0]) if only else np.zeros(power.size, bool)


def without_markers(table: Table, values: FloatArray, quantity: str) -> FloatArray:
    """Turn markers of an empty field into NaN, with a note for each."""
    hit = is_marker(values, quantity)
    for marker in sorted(set(values[hit].tolist())):
        count = int((values[hit] == marker).sum())
        table.notes.append(Note(kind="read_marker", severity="trust" if quantity == POWER and abs(marker) < 32_000
                                else "detail", values={"rows": count, "marker": f"{marker:g}", "channel": quantity}))
    return np.where(hit, np.nan, values) if hit.any() else values


def _question(table: Table, values: FloatArray, name: str, quantity: Quantity) -> None:
    """Question a median that no rider, heart or body shows."""
    span = TYPICAL_MEDIAN.get(quantity.name)
    known = values[np.isfinite(values) & (values != 0)]
    if span is None or not known.size or quantity.computed_in != _standard(quantity):
        return
    median = float(np.median(known))
    if not span[0] <= abs(median) <= span[1]:
        unit = quantity.unit if quantity.scale == "reciprocal" else quantity.computed_in
        median, *ends = (float(convert(value, quantity.computed_in, unit)) for value in (median, *span))
        table.notes.append(Note(kind="read_level", severity="answer", values={
            "column": name, "median": round(median, 6), "unit": unit, "low": float(f"{min(ends):.3g}"),
            "high": float(f"{max(ends):.3g}"), "quantity": quantity.label}))


def _standard(quantity: Quantity) -> str:
    return {"speed": "m/s", "pace": "m/s", POWER: "W", "core temperature": "°C"}.get(quantity.name,
                                                                                     quantity.computed_in)


def channel(table: Table, what: str, at: int, label: str, *, named: bool) -> FloatArray | None:
    """Return a channel of use, not of need: a column that nobody named and that holds no numbers is left alone."""
    from agree.core.quantities.known import named as quantity_named

    notes = list(table.notes)
    try:
        values = without_markers(table, numbers(table, table.columns[at], table.header[at]), what)
        if what == "balance":
            return right_share(table, values, label)
        said = heading(label, what)
        if said.strange or said.unit == "hp":
            raise table.fail(None, f"column {shown(table.header[at])} in {(*said.strange, said.unit)[0]}", what,
                             "convert it")
        known = quantity_named(what)
        target = "°C" if known is None else known.computed_in
        if said.unit and said.unit != target:
            table.notes.append(Note(kind="read_converted",
                                    values={"channel": what, "column": table.header[at], "unit": said.unit,
                                            "to": target}))
            return convert(values, said.unit, target)
        if what == "speed" and not said.unit and not table.metric:
            table.notes.append(Note(kind="read_speed_unit_unknown"))
        return values
    except InputError as exc:
        if named:
            raise
        table.notes[:] = [*notes, Note(kind="read_channel_unused", values={"channel": what, "why": str(exc)})]
        return None


def right_share(table: Table, values: FloatArray, label: str, *, doubt: bool = False) -> FloatArray:
    """Return the share of the right side; refuse what cannot be a share."""
    from agree.files.naming.vocabulary import words

    split = set(words(label))
    left, right = (bool(split & set(SIDES[side])) for side in ("left", "right"))
    wrong = np.flatnonzero((values < 0) | (values > 100))
    if wrong.size:
        raise table.fail(int(wrong[0]), f"a balance of {values[wrong[0]]:.10g}", "0 to 100 %",
                         "leave the cell blank if there is no reading")
    if left and not right:
        table.notes.append(Note(kind="read_balance_left"))
        return 100.0 - values
    if not table.metric and not (right and not left):
        table.notes.append(Note(kind="read_balance_side", severity="answer" if doubt else "detail"))
    return values


