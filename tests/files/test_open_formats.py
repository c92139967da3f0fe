"""GPX with the open extensions, TCX and FIT with heart rate and laps, JSON lines. All samples are invented here."""

from __future__ import annotations

import io
import json
import zipfile

import numpy as np
import pytest
from fit_writer import EPOCH, FIELDS, START, FitWriter

from agree import InputError, read_recording
from tests.said import said

POINT = """<trkpt lat="1" lon="2"><ele>3</ele><time>2024-05-31T17:02:{k:02}Z</time><extensions>{power}
<gpxtpx:TrackPointExtension><gpxtpx:atemp>21</gpxtpx:atemp><gpxtpx:hr>{hr}</gpxtpx:hr><gpxtpx:cad>88</gpxtpx:cad>
<gpxtpx:speed>8.5</gpxtpx:speed></gpxtpx:TrackPointExtension></extensions></trkpt>"""
POWERS = {"plain": "<power>{w}</power>", "named": "<pwr:PowerInWatts>{w}</pwr:PowerInWatts>",
          "watts": "<x:watts>{w}</x:watts>", "short": "<pwr>{w}</pwr>", "french": "<x:Puissance>{w}</x:Puissance>",
          "wish": "<power>{w}</power><x:targetPower>9</x:targetPower>",
          "twice": "<power>{w}</power><x:PowerInWatts>{w}</x:PowerInWatts>"}


def gpx(power="plain", points=20):
    body = "".join(POINT.format(k=k, hr=120 + k, power=POWERS[power].format(w=200 + k) if power else "")
                   for k in range(points))
    return ('<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1" xmlns:gpxtpx="a" xmlns:pwr="b" '
            f'xmlns:x="c"><trk><trkseg>{body}</trkseg></trk></gpx>').encode()


@pytest.mark.parametrize("power", POWERS)
def test_gpx(power):
    found = read_recording(gpx(power))
    assert found.power.tolist() == list(range(200, 220))
    assert found.heart_rate.tolist() == list(range(120, 140))
    assert (found.cadence[0], found.speed[0], found.temperature[0]) == (88, 8.5, 21)
    assert (found.clock, found.start) == ("utc", "2024-05-31T17:02:00Z")
    assert read_recording(gpx(power), quantity="heart rate").values.tolist() == list(range(120, 140))


@pytest.mark.parametrize(("power", "column"), [("short", "Pwr"), ("french", "Puissance"), ("wish", "Power"),
                                               ("twice", "Power")])
def test_elements_of_power_are_read_by_their_names(power, column):
    assert read_recording(gpx(power)).columns["power"] == column


def test_elements_of_two_powers_are_refused_and_what_is_none_is_listed():
    """The first of them was taken; of what was there beside time and cadence nothing was said."""
    two = gpx("").replace(b"<extensions>", b"<extensions><power>200</power><x:PowerInWatts>207</x:PowerInWatts>")
    assert "2 columns that may be the power: 'Power', 'PowerInWatts'" in str(pytest_error(two))
    assert read_recording(two, power_column="PowerInWatts").power.tolist() == [207] * 20
    wish = gpx("").replace(b"<extensions>", b"<extensions><x:targetPower>207</x:targetPower><x:grade>1</x:grade>")
    assert "and the fields 'Time', 'Cadence'" in str(pytest_error(wish))
    assert "'TargetPower', " in str(pytest_error(wish))
    assert "'grade'" in str(pytest_error(wish))


def test_many_elements_of_power_take_no_memory():
    """20 of them at most are columns, whatever a file holds."""
    body = "".join(f"<power{k}>{k}</power{k}>" for k in range(2000, 2300))
    many = gpx("").replace(b"<extensions>", b"<extensions>" + body.encode())
    assert "20 columns that may be the power" in str(pytest_error(many))


def test_gpx_without_power():
    assert read_recording(gpx(""), quantity="heart rate").power is None
    with pytest.raises(InputError, match="20 lines with power missing, and the fields 'Time', 'Cadence'"):
        read_recording(gpx(""))
    with pytest.raises(InputError, match="found XML without a Trackpoint or trkpt"):
        read_recording(b'<?xml version="1.0"?><gpx><wpt lat="1" lon="2"/></gpx>')


@pytest.mark.parametrize("head", [
    b'<!DOCTYPE gpx [<!ENTITY a "ha">]>', b'<!DOCTYPE gpx SYSTEM "http://localhost:9/x.dtd">'])
def test_gpx_keeps_the_limits_of_xml(head):
    with pytest.raises(InputError, match=r"found a document type \(DTD\)"):
        read_recording(gpx().replace(b"<gpx ", head + b"<gpx ", 1))
    with pytest.raises(InputError, match="elements 65 deep"):
        read_recording(b"<gpx>" + b"<a>" * 100)


def test_every_cut_of_gpx_is_refused():
    data = gpx(points=3)
    for size in range(1, len(data)):
        with pytest.raises(InputError):
            read_recording(data[:size])


def fit():
    FIELDS.setdefault("core_temperature", (139, "uint16"))
    writer = FitWriter().describe(0, 0, "uint16", "Ünïcödé Leistung", units="watts")
    writer.describe(0, 1, "float32", "smo2 left", units="%").describe(0, 2, "uint8", "weird\x1b[31m\u202ename")
    for k in range(60):
        if k in (0, 20, 45):
            writer.message(19, [(253, "uint32", START + k + 10), (2, "uint32", START + k)], local=3)
        writer.record(timestamp=START + k, power=200 + k % 9, heart_rate=120 + k, cadence=90, temperature=20,
                      core_temperature=3750 + k, developer=[(0, 0, "uint16", 300 + k), (0, 1, "float32", 60.5),
                                                            (0, 2, "uint8", k)])
    return writer.done()


def test_fit_channels_laps_and_developer_fields():
    found = read_recording(fit())
    assert found.power[0] == 200
    assert found.heart_rate.tolist() == list(range(120, 180))
    np.testing.assert_allclose(found.core_temperature, 37.5 + np.arange(60) / 100)
    assert (found.laps - START - EPOCH).tolist() == [0, 20, 45]
    for quantity, first in (("heart rate", 120), ("core temperature", 37.5), ("cadence", 90)):
        assert read_recording(fit(), quantity=quantity).values[0] == pytest.approx(first)
    assert read_recording(fit(), power_column="Ünïcödé Leistung (developer 0) [watts]").power[0] == 300
    named = read_recording(fit(), column="smo2 left (developer 0) [%]", quantity="balance")
    assert named.values[0] == pytest.approx(60.5, abs=50)
    assert "weird?[31m?name (developer 0)" in str(pytest_error(fit(), power_column="nothing"))
    assert any("further powers" in note for note in said(found))


@pytest.mark.parametrize(("name", "units", "factor", "words"), [
    ("Power", "kW", 1000, None), ("Leistung", "PS", 735.49875, None), ("Pod", "watts", 1, "pod"),
    ("Power", "W", 1, None),
    ("Power", "hp", 0, None), ("Left Power", "W", 0, None)])
def test_units_and_names_of_developer_fields(name, units, factor, words):
    """The number of the developer before a unit hid it: kW and hp were read as W. An unknown name was not said."""
    writer = FitWriter().describe(0, 0, "float32", name, units=units)
    for k in range(9):
        writer.record(timestamp=START + k, developer=[(0, 0, "float32", 0.25)])
    if not factor:
        assert "horsepower" in str(pytest_error(writer.done())) or name != "Power"
        return
    found = read_recording(writer.done())
    np.testing.assert_allclose(found.power, 0.25 * factor)
    assert [n.values["words"] for n in found.notes if n.kind == "read_header_word"] == ([words] if words else [])


def pytest_error(data, **options):
    with pytest.raises(InputError) as caught:
        read_recording(data, **options)
    return caught.value


def test_tcx_heart_rate_and_laps():
    points = "".join(f"<Trackpoint><Time>2024-05-31T17:02:{k:02}Z</Time><HeartRateBpm><Value>{120 + k}</Value>"
                     f"</HeartRateBpm><Extensions><TPX><Watts>{200 + k}</Watts></TPX></Extensions></Trackpoint>"
                     for k in range(20))
    data = ("<TrainingCenterDatabase><Activity><Lap StartTime='2024-05-31T17:02:00Z'><Track>" + points
            + "</Track></Lap><Lap StartTime='2024-05-31T17:02:10Z'/></Activity></TrainingCenterDatabase>").encode()
    found = read_recording(data)
    assert found.heart_rate.tolist() == list(range(120, 140))
    assert (found.laps - found.time[0]).tolist() == [0, 10]
    assert read_recording(data, quantity="heart rate").values[0] == 120


def lines(rows):
    return "\n".join(json.dumps(row) for row in rows).encode() + b"\n"


ROWS = [{"time": k, "power": 200 + k if k != 3 else None, "cadence": 80, "where": [1, 2]} for k in range(9)]


def test_json_lines():
    found = read_recording(lines(ROWS))
    assert found.time.tolist() == list(range(9))
    assert np.isnan(found.power[3])
    assert "9 x where that is an array or object, left blank" in said(found)
    late = [{"time": 0, "power": 1}, {"time": 1, "power": 2, "cadence": 7}, {"time": 2, "power": 3}]
    np.testing.assert_array_equal(read_recording(lines(late)).cadence, [np.nan, 7, np.nan])


@pytest.mark.parametrize(("data", "found"), [
    (json.dumps(ROWS).encode(), "JSON that is a list, no object"), (b"[200, 201, 202]", "JSON that is a list"),
    (b'{"time": 0, "power": 200, "power": 207}\n', "line 1: found the key 'power' twice in one object"),
    (b'{"time": [0, 1, 2], "power": [200, 201, 202]}\n', "JSON of one object that holds arrays"),
    (json.dumps({"a": {"b": [1]}}, indent=1).encode(), "JSON that is no whole object in its line"),
    (lines(ROWS)[:-20], "JSON that is no whole object in its line"),
    (b'{"time": 0, "power": 2}\nx\n', "no whole object"), (b"[" * 100_000, "JSON that is no whole object"),
    (b"[[" + b'{"a":' * 10_000, "JSON that is no whole object")])
def test_other_json_is_refused(data, found):
    error = pytest_error(data)
    assert found in str(error)
    assert 'write one object a line, such as {"time": 0, "power": 200}, or export the recording as CSV' in str(error)


def test_an_object_in_each_line_is_named():
    nested = lines([{"time": k, "data": {"power": 200}} for k in range(9)])
    assert "the columns 'time', 'data (array or object)'" in str(pytest_error(nested))


def test_a_workbook_is_refused_with_what_to_do():
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as book:
        book.writestr("xl/workbook.xml", "<x/>")
    assert "open a spreadsheet and save the sheet with the readings as CSV" in str(pytest_error(made.getvalue()))


def test_a_table_of_two_columns_with_negative_decimals():
    from agree.files.formats.text import text_table

    table = text_table(b"mass_kg,reading_Nm\n0,-0.1\n5,-8.31\n10,-16.5\n", "masses")
    assert (table.header, table.columns[1]) == (["mass_kg", "reading_Nm"], ["-0.1", "-8.31", "-16.5"])
