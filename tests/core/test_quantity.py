"""Quantities and units: conversion, names of columns, limits in another unit."""

import math

import pytest

from agree import InputError, Quantity
from agree.core.quantities.known import KNOWN, in_header, named, plain, quantity
from agree.core.quantities.units import KNOWN_UNITS, convert, factor, unit_in_header, unit_of
from tests.each import each

# Exact by definition of the units: international inch, pound, mile, standard gravity, 75 kgf m/s, 9/5 and 32.
CONVERSIONS = [
    (1, "in", "cm", 2.54), (2, "m", "cm", 200), (1, "mph", "km/h", 1.609344), (36, "km/h", "m/s", 10),
    (100, "°C", "°F", 212), (0, "K", "°C", -273.15), (37, "°C", "K", 310.15), (1, "kgf", "N", 9.80665),
    (1, "PS", "W", 735.49875), (1, "hp", "W", 745.69987158227), (4, "min/km", "km/h", 15), (0.05, "s", "ms", 50),
    (1, "kgf m", "Nm", 9.80665), (3.5, "l/min", "ml/min", 3500), (5, "min/km", "s/km", 300), (6, "min/mi", "mph", 10),
    (1, "rad", "°", 57.29577951308232), (2, "kW", "W", 2000), (50, "cm/s", "m/s", 0.5), (1, "kt", "km/h", 1.852),
    (1, "lbf ft", "Nm", 1.3558179483314004), (1, "kN", "N", 1000), (1, "lbf", "N", 4.4482216152605),
    (2, "kg", "g", 2000), (1, "lb", "kg", 0.45359237), (3, "m", "mm", 3000), (2, "km", "m", 2000),
    (1, "ft", "in", 12), (1, "mi", "km", 1.609344),
    (2, "h", "min", 120), (2, "min", "s", 120), (1, "kcal", "kJ", 4.184), (1, "Wh", "kJ", 3.6),
    (1, "kPa", "mmHg", 7.500615758456564), (20, "s/100m", "m/s", 5), (1.5, "rps", "rpm", 90), (2, "Hz", "bpm", 120),
]


@each(("value", "source", "target", "expected"), CONVERSIONS)
def test_conversions(value, source, target, expected):
    assert float(convert(value, source, target)) == pytest.approx(expected, rel=1e-12)
    assert float(convert(expected, target, source)) == pytest.approx(value, rel=1e-12, abs=1e-12)


def test_every_unit_goes_there_and_back():
    for unit in KNOWN_UNITS:
        base = next(u for u in KNOWN_UNITS if u.dimension == unit.dimension)
        assert float(convert(convert(37.5, unit.symbol, base.symbol), base.symbol, unit.symbol)) == pytest.approx(37.5)


def test_no_word_names_two_units():
    words = [word for unit in KNOWN_UNITS for word in set(unit.words)]
    assert len(words) == len(set(words))


def test_a_difference_is_no_value():
    assert factor("°F", "°C") == pytest.approx(5 / 9)
    with pytest.raises(InputError, match=r"^cm does not convert to s: length is not time$"):
        factor("cm", "s")
    with pytest.raises(InputError, match=r"^a difference in min/km is not the same difference in m/s at every level$"):
        factor("min/km", "m/s")


@pytest.mark.parametrize(("header", "name", "unit"), [
    ("wrist heart rate (bpm)", "heart rate", "bpm"), ("HR", "heart rate", "bpm"), ("plate_cm", "", "cm"),
    ("Power [W]", "power", "W"), ("speed (km/h)", "speed", "km/h"), ("pace (min/km)", "pace", "min/km"),
    ("core temp [°F]", "core temperature", "°F"), ("VO2 (ml/min)", "oxygen uptake", "ml/min"),
    ("cadence (spm)", "step rate", "spm"), ("peak flow (l/min)", "", "l/min")])
def test_columns_tell_their_quantity(header, name, unit):
    found = in_header(header)
    assert found is not None
    assert (found.name, found.unit) == (name, unit)


@pytest.mark.parametrize("header", ["subject", "trial", "mat", "chrome", "c"])
def test_columns_that_tell_none(header):
    assert in_header(header) is None
    assert unit_in_header(header) == ""


def test_limits_go_with_the_unit():
    warm = quantity("core temperature", "°F")
    assert (warm.low, warm.resolution) == (pytest.approx(91.4), pytest.approx(0.018))
    fast = quantity("speed", "km/h")
    assert (fast.high, fast.working, fast.spike) == tuple(map(pytest.approx, (108.0, 1.8, 18.0)))
    assert quantity("speed", "min/km").name == "pace"
    assert quantity("pace", "km/h").name == "speed"
    assert quantity("pace").computed_in == "m/s"
    assert quantity("pace", "min/mi").name == "pace"
    assert quantity("pace").resolution == pytest.approx(1 / 60)  # a second


def test_scales():
    assert [plain(unit).percent_has_meaning for unit in ("cm", "min/km", "°C", "°F", "K", "%")] == [
        True, True, False, False, False, False]
    assert [item.name for item in KNOWN if not item.percent_has_meaning] == ["balance", "core temperature"]


def test_errors():
    with pytest.raises(InputError, match=r"^heart rate is measured in bpm; got 'cm', a unit of length$"):
        quantity("heart rate", "cm")
    with pytest.raises(InputError, match=r"^quantity 'charm' is not known; known are power, .*; for another, give its "
                                         r"unit, like 'cm'$"):
        quantity("charm")
    with pytest.raises(InputError, match=r"^`unit` of a quantity must be text such as 'cm'; got ''$"):
        Quantity(name="x", unit="")


def test_frozen_and_hashable():
    assert quantity("power") == quantity("power")
    assert len({quantity("power"), quantity("Leistung")}) == 1
    assert named("nothing") is None
    assert math.isnan(plain("cm").working)
    assert unit_of("furlong").symbol == "furlong"


@pytest.mark.parametrize(("said", "hint"), [
    ("temperature", "perhaps 'core temperature'; known are .*; for another, give its unit, like '°C'"),
    ("hart rate", "perhaps 'heart rate'"), ("oxygen", "perhaps 'oxygen uptake'")])
def test_a_name_that_is_nearly_known(said, hint):
    with pytest.raises(InputError, match=hint):
        quantity(said)


def test_beats_in_hz():
    assert in_header("heart_rate_Hz").unit == "Hz"
    assert float(convert(2.0, "Hz", "bpm")) == pytest.approx(120)


@pytest.mark.parametrize(("header", "unit"), [
    ("gates_pace_min_per_km", "min/km"), ("speed_km_per_h", "km/h"), ("speed_km_h", "km/h"), ("speed_m_s", "m/s"),
    ("VO2_l_min", "l/min"), ("vo2_ml_per_kg_per_min", "ml/kg/min"), ("vo2 ml kg min", "ml/kg/min"),
    ("speed m per s", "m/s"), ("hr_beats_per_min", "bpm"), ("plate_m", "m"), ("time_s", "s"), ("lap_time_min", "min"),
    ("jump per trial", "")])
def test_units_in_names_without_a_slash(header, unit):
    assert unit_in_header(header) == unit
