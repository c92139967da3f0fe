"""Units of measurement: their names, and how values and differences change from one to another."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from agree.core.checks import FloatArray
from agree.core.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit: value in the dimension's base unit = (value + `before`) * `factor`; its inverse times it if `inverse`.

    Attributes
    ----------
    symbol : str
        As it is printed.
    dimension : str
        What it is a unit of; values change only between units of one dimension. An unknown unit is its own.
    factor, before : float
        Factor to the base unit, and what is added before it.
    inverse : bool
        Time for a distance, such as min/km: base = factor / value.
    words : tuple of str
        How it is written, in lower case.

    Examples
    --------
    >>> from agree.core.quantities.units import unit_of
    >>> unit_of("kph").symbol, unit_of("inches").symbol, unit_of("furlong").dimension
    ('km/h', 'in', 'furlong')
    """

    symbol: str
    dimension: str
    factor: float = 1.0
    before: float = 0.0
    inverse: bool = False
    words: tuple[str, ...] = ()


def _units(dimension: str, *rows: tuple[str, float, str]) -> Iterator[Unit]:
    for symbol, factor, words in rows:
        yield Unit(symbol=symbol, dimension=dimension, factor=factor,
                   words=(symbol.lower(), *(word for word in words.split("|") if word)))


LB = 0.45359237       # kg, exact (international pound, 1959)
G_N = 9.80665         # m/s^2, exact (standard gravity, 3rd CGPM 1901)
INCH = 0.0254         # m, exact (1959)
MILE = 1609.344       # m, exact
# Horsepowers: metric 75 kgf m/s; mechanical 550 ft lbf/s.
PS, HP = 75 * G_N, 550 * 12 * INCH * LB * G_N
KNOWN_UNITS: tuple[Unit, ...] = (
    *_units("power", ("W", 1, "watt|watts"), ("kW", 1e3, "kilowatt|kilowatts"), ("hp", HP, "bhp|horsepower"),
            ("PS", PS, "cv|ch|pk")),
    *_units("pulse rate", ("bpm", 1, "beats/min|beats per minute|beat/min|s/min"), ("Hz", 60, "beats/s|hz (beats)")),
    *_units("turning rate", ("rpm", 1, "rev/min|r/min|u/min|1/min|revs/min|rounds per minute"), ("rps", 60, "rev/s")),
    *_units("step rate", ("spm", 1, "steps/min|strides/min|steps per minute|strokes/min")),
    *_units("speed", ("m/s", 1, "mps|m per s"), ("km/h", 1 / 3.6, "kmh|kph|kmph"), ("mph", MILE / 3600, "mi/h"),
            ("cm/s", 0.01, ""), ("kt", 1852 / 3600, "knots|knot")),
    Unit(symbol="min/km", dimension="speed", factor=1000 / 60, inverse=True, words=("min/km", "minutes per km")),
    Unit(symbol="min/mi", dimension="speed", factor=MILE / 60, inverse=True,
         words=("min/mi", "min/mile", "minutes per mile")),
    Unit(symbol="s/km", dimension="speed", factor=1000.0, inverse=True, words=("s/km",)),
    Unit(symbol="s/100m", dimension="speed", factor=100.0, inverse=True, words=("s/100m", "s/100 m")),
    *_units("torque", ("Nm", 1, "n m|n·m|newton metre"), ("kgf m", G_N, "kgfm|kgf·m|kpm"),
            ("lbf ft", LB * G_N * 12 * INCH, "ft lbf|lb ft|ft lb|lbfft")),
    *_units("force", ("N", 1, "newton|newtons"), ("kN", 1e3, ""), ("kgf", G_N, "kp|kilopond"), ("lbf", LB * G_N, "")),
    *_units("mass", ("kg", 1, "kilogram|kilograms"), ("g", 1e-3, "gram|grams"), ("lb", LB, "lbs|pound|pounds")),
    *_units("length", ("m", 1, "metre|metres|meter|meters"),
            ("cm", 0.01, "centimetre|centimetres|centimeter|centimeters"),
            ("mm", 1e-3, "millimetre|millimetres|millimeter|millimeters"),
            ("km", 1e3, "kilometre|kilometres|kilometer|kilometers"),
            ("in", INCH, "inch|inches|\""), ("ft", 12 * INCH, "foot|feet"), ("mi", MILE, "mile|miles")),
    *_units("time", ("s", 1, "sec|secs|second|seconds"), ("ms", 1e-3, "millisecond|milliseconds"),
            ("min", 60, "mins|minute|minutes"), ("h", 3600, "hour|hours")),
    *_units("flow", ("l/min", 1, "l min-1|litres/min|lpm"), ("ml/min", 1e-3, "")),
    *_units("flow for mass", ("ml/kg/min", 1, "ml/min/kg|ml kg-1 min-1|ml.kg-1.min-1|ml/(kg min)|ml/(min kg)")),
    *_units("energy", ("J", 1, "joule|joules"), ("kJ", 1e3, ""), ("kcal", 4184, ""), ("Wh", 3600, ""),
            ("BTU", 1055.05585262, "")),
    *_units("pressure", ("mmHg", 133.322387415, "mm hg"), ("kPa", 1e3, ""), ("Pa", 1, "")),
    *_units("angle", ("°", 1, "deg|degree|degrees"), ("rad", 180 / math.pi, "radian|radians")),
    *_units("share", ("%", 1, "percent|per cent|pct"), ("points", 1, "point|percentage points|% points|pp")),
    Unit(symbol="°C", dimension="temperature", before=273.15, words=("°c", "c", "degc", "deg c", "celsius", "ºc")),
    Unit(symbol="°F", dimension="temperature", factor=5 / 9, before=459.67,
         words=("°f", "f", "degf", "deg f", "fahrenheit", "ºf")),
    Unit(symbol="K", dimension="temperature", words=("k", "kelvin")),
)


@cache
def _by_word() -> dict[str, Unit]:
    return {word: unit for unit in KNOWN_UNITS for word in unit.words}


def unit_of(text: str) -> Unit:
    """Return the unit of a name; an unknown one is a unit of its own dimension, which nothing else converts to."""
    # "ms" is a thousandth of a second and "Mm" is not "mm", but nobody measures sport in megametres: case is ignored.
    plain = " ".join(str(text).strip().lower().split())
    found = _by_word().get(plain)
    return Unit(symbol=str(text).strip(), dimension=plain) if found is None else found


def is_known(text: str) -> bool:
    """Whether a unit's name is in the table."""
    return " ".join(str(text).strip().lower().split()) in _by_word()


def factor(source: str, target: str) -> float:
    """Return what a difference in `source` is multiplied by to be one in `target`.

    Raises
    ------
    InputError
        Units of different dimensions, or an inverse unit (min/km), in which no factor fits every level.

    Examples
    --------
    >>> from agree.core.quantities.units import factor
    >>> factor("in", "cm"), round(factor("°F", "°C"), 4), round(factor("km/h", "m/s"), 4)
    (2.54, 0.5556, 0.2778)
    """
    first, second = unit_of(source), unit_of(target)
    if first.dimension != second.dimension:
        raise InputError(f"{first.symbol} does not convert to {second.symbol}: {first.dimension} is not "
                         f"{second.dimension}")
    if first.symbol == second.symbol:
        return 1.0
    if first.inverse or second.inverse:
        raise InputError(f"a difference in {first.symbol} is not the same difference in {second.symbol} at every level")
    # Rounded to 15 digits, so that 0.01/1e-3 is 10.
    return float(f"{first.factor / second.factor:.15g}")


def convert(values: ArrayLike, source: str, target: str) -> FloatArray:
    """Return values in another unit, an array of the same shape; a pace of 0 or less becomes NaN.

    Raises
    ------
    InputError
        Units of different dimensions.

    Examples
    --------
    >>> from agree.core.quantities.units import convert
    >>> convert([37.0], "°C", "°F").round(6).tolist(), convert([5.0], "min/km", "km/h").round(6).tolist()
    ([98.6], [12.0])
    """
    first, second = unit_of(source), unit_of(target)
    array = np.array(values, dtype=np.float64)
    if first.symbol == second.symbol:
        return array
    if not (first.inverse or second.inverse or first.before or second.before):
        return np.asarray(array * factor(source, target), dtype=np.float64)
    if first.dimension != second.dimension:
        raise InputError(f"{first.symbol} does not convert to {second.symbol}: {first.dimension} is not "
                         f"{second.dimension}")
    base = _inverted(array, first.factor) if first.inverse else (array + first.before) * first.factor
    result: FloatArray = _inverted(base, second.factor) if second.inverse else base / second.factor - second.before
    return result


def _inverted(values: FloatArray, scale: float) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        result: FloatArray = np.where(values > 0, scale / values, np.nan)
    return result


_BRACKETS = re.compile(r"[\[(]\s*([^\])]+?)\s*[\])]\s*$")


def unit_in_header(header: str) -> str:
    """Return the unit at the end of a column's name, "" if none is known: "Height [cm]", "plate_cm", "time (s)".

    Examples
    --------
    >>> from agree.core.quantities.units import unit_in_header
    >>> [unit_in_header(text) for text in ("Height [cm]", "plate_cm", "Q (l/min)", "mat", "VO2, l/min", "v_km_per_h")]
    ['cm', 'cm', 'l/min', '', 'l/min', 'km/h']
    """
    bracket = _BRACKETS.search(header)
    if bracket is not None and is_known(bracket[1]):
        return unit_of(bracket[1]).symbol
    parts = re.split(r"[\s_,;]+", header.strip())
    # Longest ending first, so that "deg c" is not read as "c".
    for start in range(1, len(parts)):
        ending = " ".join(parts[start:])
        # Names of columns that may hold no "/": km_per_h, l_min.
        ways = (ending, ending.lower().replace(" per ", "/"), "/".join(parts[start:]))
        found = next((way for way in ways if is_known(way)), None)
        if found is not None and (len(ending) > 1 or "_" in header or "," in header):
            return unit_of(found).symbol
    return ""
