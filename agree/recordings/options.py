"""What a caller may say about how a recording is to be read, checked; and the same as text for a command line."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

from agree.core.errors import InputError
from agree.core.quantities.known import POWER
from agree.core.quantities.known import quantity as quantity_of
from agree.core.quantity import Quantity
from agree.files.table import shown
from agree.recordings.zones import zone_of

SIGNS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|", "space": " "}
DECIMALS = {"point": ".", "comma": ","}
DATES = {"day-first": True, "month-first": False}
WORDS: dict[str, dict[str, Any]] = {"delimiter": SIGNS, "decimal": DECIMALS, "dates": DATES}
READ_KEYS = {
    "power": "power_column", "time": "time_column", "cadence": "cadence_column", "speed": "speed_column",
    "delimiter": "delimiter", "decimal": "decimal", "dates": "day_first", "zone": "zone", "column": "column",
    "quantity": "quantity"}


class Options(NamedTuple):
    """How a recording is to be read; None is found out."""

    power_column: str | None = None
    time_column: str | None = None
    cadence_column: str | None = None
    speed_column: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    day_first: bool | None = None
    zone: str | None = None
    column: str | None = None
    quantity: str | Quantity = "power"

    @property
    def chosen(self) -> str | None:
        """Header of the column of readings, if it was named."""
        return self.column if self.column is not None else self.power_column

    @property
    def option(self) -> str:
        """Argument that names the column of readings."""
        return "column" if self.power_column is None and (self.column is not None or self.wanted.name != POWER.name
                                                          ) else "power_column"

    @property
    def wanted(self) -> Quantity:
        """Quantity that the readings are of."""
        return quantity_of(self.quantity)

    def checked(self) -> Options:
        """Return the options if all can be meant.

        Raises
        ------
        InputError
            A column that is no text, an unknown delimiter, decimal sign, zone or quantity, two names of one column.
        """
        for name in ("power_column", "time_column", "cadence_column", "speed_column", "column"):
            value = getattr(self, name)
            if value is not None and not (isinstance(value, str) and value.strip()):
                raise InputError(f"`{name}` must be the header of a column, or 'column 2'; got {shown(value)}",
                                 option=name)
        for name, signs in (("delimiter", SIGNS), ("decimal", DECIMALS)):
            value = getattr(self, name)
            if value is not None and value not in signs.values():
                raise InputError(f"`{name}` must be one of {', '.join(map(repr, signs.values()))}; got {shown(value)}",
                                 option=name)
        if self.day_first is not None and not isinstance(self.day_first, bool):
            raise InputError(f"`day_first` must be True, False or None; got {shown(self.day_first)}",
                             option="day_first")
        if self.zone is not None:
            zone_of(self.zone)
        if self.column is not None and self.power_column is not None:
            raise InputError("`column` and `power_column` both name the column of readings; give one of them",
                             option="column")
        if self.power_column is not None and self.wanted.name != POWER.name:
            raise InputError(f"`power_column` is given, but the readings are to be of {self.wanted.label}; "
                             "name their column by `column`", option="column")
        return self


def options_of(given: dict[str, Any]) -> Options:
    """Return checked options of keyword arguments.

    Raises
    ------
    InputError
        An argument that reading does not know, or a value that cannot be meant.
    """
    strange = [name for name in given if name not in Options._fields]
    if strange:
        raise InputError(f"reading knows {', '.join(Options._fields)}; got {shown(strange[0])}")
    return Options(**given).checked()


def options_from_text(texts: Iterable[str]) -> dict[str, Any]:
    """Return keyword arguments of `read_recording` from texts such as "decimal=comma".

    Parameters
    ----------
    texts : iterable of str
        Each KEY=VALUE; power, column, time, cadence, speed = a header, or "column 2"; delimiter = comma,
        semicolon, tab, pipe, space or the sign; decimal = comma, point or the sign; dates = day-first or
        month-first; zone = an IANA name;
        quantity = what the readings are of.

    Raises
    ------
    InputError
        No "=", an unknown key or value, or a key given twice.

    Examples
    --------
    >>> from agree.recordings.options import options_from_text
    >>> options_from_text(["power=Power 2", "decimal=comma", "dates=day-first"])
    {'power_column': 'Power 2', 'decimal': ',', 'day_first': True}
    """
    made: dict[str, Any] = {}
    for text in texts:
        key, equals, value = text.partition("=")
        key, value = key.strip().lower(), value if value.isspace() else value.strip()
        if not equals or key not in READ_KEYS:
            raise InputError(f"{shown(text)} does not say how to read; expected KEY=VALUE with a key of "
                             f"{', '.join(READ_KEYS)}, such as power='Power 2' or decimal=comma")
        name = READ_KEYS[key]
        if name in made:
            raise InputError(f"{key} is told twice, the second time in {shown(text)}; expected once; leave one out")
        words: dict[str, Any] = WORDS.get(key, {})
        wanted = "tab" if key == "delimiter" and value == "\\t" else value
        if words and wanted.lower() not in words and (key == "dates" or wanted not in words.values()):
            raise InputError(f"{shown(text)} is not understood; expected {key}= one of {', '.join(words)}")
        made[name] = words.get(wanted.lower(), wanted)
    options_of(made)
    return made
