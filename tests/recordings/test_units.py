"""Units of readings: converted, or refused with what to do; what no rider shows is questioned; markers are named."""

from __future__ import annotations

import numpy as np
import pytest

from agree import InputError, read_recording
from agree.core.quantity import Quantity
from tests.said import said

PS = 735.49875  # 75 kgf m/s, exact


def text(header, cells, time="time"):
    return (f"{time},{header}\n" + "\n".join(f"{k},{cell}" for k, cell in enumerate(cells)) + "\n").encode()


@pytest.mark.parametrize(("header", "factor"), [
    ("power (kW)", 1000), ("Leistung [PS]", PS), ("Puissance (ch)", PS), ("Potenza [CV]", PS), ("Vermogen (pk)", PS),
    ("Moc [KM]", PS), ("power (metric hp)", PS), ("Power [W]", 1), ("power (J/s)", 1),
    ("power 2 (kW)", 1000), ("Power1 [PS]", PS), ("Watt 2", 1), ("power at 20 Hz", 1)])
def test_power_in_other_units(header, factor):
    found = read_recording(text(header, [0.2, 0.25, 0.3, 0]))
    np.testing.assert_allclose(found.power, np.array([0.2, 0.25, 0.3, 0]) * factor, rtol=1e-12)


@pytest.mark.parametrize("header", ["power (hp)", "horsepower", "Power [bhp]", "power (kcal/h)", "Power (kJ)",
                                    "Power (kcal)", "Power (Nm)", "Leistung (Wh)", "power 2 (hp)", "power 1 kcal",
                                    "Leistung 2 [Nm]"])
def test_units_that_are_refused(header):
    with pytest.raises(InputError, match="expected power in W; convert it to W"):
        read_recording(text(header, [0.2, 0.25, 0.3]))


@pytest.mark.parametrize("header", ["Km", "KM", "DISTANCE (KM)", "distance (km)", "Strecke km", "total km", "ch", "CV",
                                    "PS", "hp", "pk", "Altitude (m)"])
def test_a_distance_or_a_channel_is_no_power(header):
    """"km" was the Polish horsepower in any header: beside power two powers, alone it was read in PS."""
    rows = "".join(f"{k},{k / 100},{200 + k},{120 + k}\n" for k in range(9))
    assert read_recording(f"time,{header},power,hr\n{rows}".encode()).columns["power"] == "power"
    with pytest.raises(InputError, match="expected one called power or watts"):
        read_recording(f"time,{header},x,hr\n{rows}".encode())


def test_a_distance_is_no_torque_and_a_rate_no_pulse():
    rows = "".join(f"{k},{200 + k},{k / 100},50\n" for k in range(9))
    found = read_recording(f"time,power,distance (nm),Hz\n{rows}".encode())
    assert (found.torque, found.heart_rate) == (None, None)


def test_a_unit_row_counts_too():
    assert read_recording(b"time,power\ns,kW\n0,0.2\n1,0.3\n2,0.4\n").power.tolist() == [200, 300, 400]
    with pytest.raises(InputError, match="horsepower"):
        read_recording(b"time,power\ns,hp\n0,0.2\n1,0.3\n2,0.4\n")


@pytest.mark.parametrize(("median", "kinds"), [
    (0.25, ["read_level"]), (14.9, ["read_level"]), (15.1, []), (250, []), (1499, []), (1501, ["read_level"])])
def test_a_median_that_no_rider_has_is_questioned(median, kinds):
    found = read_recording(text("power", [median] * 5 + [0] * 9))
    assert [note.kind for note in found.notes if note.severity == "answer"] == kinds
    if kinds:
        assert f"column 'power': a median of {median:g} W is no power of a rider" in " ".join(said(found))


@pytest.mark.parametrize(("cells", "missing", "marker"), [
    ([200, -1, 210, 220], 1, "-1"), ([200, 9999, 210, 220], 1, "9999"), ([200, 32767, 210, 220], 1, "32767"),
    ([200, 65535, 210, 220], 1, "65535"), ([200, -32768, 210, 220], 1, "-32768"), ([200, 4095, 2040, 220], 1, "4095"),
    ([200, 99999, 1, 2], 1, "99999")])
def test_markers_are_named(cells, missing, marker):
    found = read_recording(text("power", cells))
    assert int(np.isnan(found.power).sum()) == missing
    assert f"1 row with the missing marker {marker} read as missing" in said(found)


@pytest.mark.parametrize("cells", [
    [200, -1, -3, 210], [200, 999, 998, 1001], [5100, 9999, 6000, 7000], [200, 4095, 2050, 220]])
def test_readings_that_look_like_markers(cells):
    assert read_recording(text("power", cells)).power.tolist() == cells


QUANTITIES = [
    ("heart rate", "Heart Rate [bpm]", [120, 121, 122], [120, 121, 122]),
    ("heart rate", "hr", [120, 255, 122, 121], [120, np.nan, 122, 121]),
    ("speed", "Geschwindigkeit [km/h]", [36, 18, 9], [10, 5, 2.5]),
    ("pace", "pace (min/km)", ["4:00", "5:00", "8:20"], [1000 / 240, 1000 / 300, 2]),
    ("pace", "pace 1 [min/km]", ["4:00", "5:00", "8:20"], [1000 / 240, 1000 / 300, 2]),
    ("cadence", "cadence 2 [1/min]", [80, 81, 82], [80, 81, 82]),
    ("cadence", "Trittfrequenz", [80, 81, 82], [80, 81, 82]),
    ("torque", "Drehmoment [Nm]", [30.5, 31, 29], [30.5, 31, 29]),
    ("balance", "L/R balance right [%]", [48, 50, 51], [48, 50, 51]),
    ("core temperature", "Core Temp [°F]", [98.6, 100.4, 102.2], [37, 38, 39]),
    ("oxygen uptake", "VO2 (ml/min)", [3000, 3200, 2900], [3, 3.2, 2.9]),
    (Quantity(name="jump height", unit="cm"), "jump height [m]", [0.3, 0.35, 0.31], [30, 35, 31]),
]


@pytest.mark.parametrize(("quantity", "header", "cells", "values"), QUANTITIES)
def test_any_quantity(quantity, header, cells, values):
    found = read_recording(text(f"power,{header}", [f"200,{cell}" for cell in cells]), quantity=quantity)
    np.testing.assert_allclose(found.values, values, rtol=1e-12)
    assert found.unit == found.quantity.computed_in
    assert found.columns[found.quantity.name] == header
    assert found.power is not None


@pytest.mark.parametrize("quantity", ["heart rate", "speed", "torque", "oxygen uptake"])
def test_power_is_never_another_quantity(quantity):
    with pytest.raises(InputError) as caught:
        read_recording(text("power,watts right", ["200,100"] * 4), quantity=quantity)
    assert caught.value.option == "column"
    with pytest.raises(InputError, match=r"expected a column of power|one called power|expected power in W"):
        read_recording(text("heart rate", [120] * 4))


def test_speed_without_a_unit_is_said():
    found = read_recording(text("speed", [10, 11, 12]), quantity="speed")
    assert [note.kind for note in found.notes if note.severity == "answer"] == ["read_unit_assumed"]


def test_one_name_for_the_column():
    with pytest.raises(InputError) as caught:
        read_recording(text("power", [1, 2, 3]), column="power", power_column="power")
    assert (caught.value.option, "give one of them" in str(caught.value)) == ("column", True)


@pytest.mark.parametrize("header", [
    "km", "Km", "KM", "distance (km)", "dist km", "Distanz [km]", "Strecke km", "dystans (km)", "total km", "km total",
    "odometer km"])
def test_a_distance_in_kilometres_is_no_power_in_horsepower(header):
    rows = "".join(f"{k},{0.01 * k:.2f},{200 + k}\n" for k in range(40))
    assert read_recording(f"time,{header},watts\n{rows}".encode()).power.tolist() == [200 + k for k in range(40)]
    with pytest.raises(InputError):
        read_recording(f"time,{header},hr\n{rows}".encode())


@pytest.mark.parametrize(("highest", "missing"), [pytest.param(499, 2, id="MARKER_ABOVE"),
                                                  pytest.param(500, 0, id="MARKER_ABOVE")])
def test_999_stands_for_no_reading_where_no_other_is_half_as_high(highest, missing):
    assert int(np.isnan(read_recording(text("power", [200, 210, 999, 999, highest])).power).sum()) == missing


@pytest.mark.parametrize(("cells", "missing"), [
    pytest.param([-20] * 3, 3, id="MARKER_BELOW_W"), pytest.param([-19] * 3, 0, id="MARKER_BELOW_W"),
    pytest.param([-99] * 2, 0, id="MARKER_READINGS"), pytest.param([-99, -99, -98], 0, id="two values")])
def test_the_only_value_below_zero_stands_for_no_reading(cells, missing):
    found = read_recording(text("power", [200, *cells, 210, 220]))
    assert int(np.isnan(found.power).sum()) == missing
    assert sum("missing marker" in one for one in said(found)) == (missing > 0)
