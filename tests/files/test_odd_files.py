"""Whole files by hand, of kinds that the made dialects do not hold: each is read rightly, or refused with its reason.

All are invented. `RIGHT` files hold WATTS at one reading a second; of REFUSED ones a part of the message is given.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from agree import InputError, read_recording
from tests.each import each

START = datetime(2024, 5, 31, 23, 59, 30, tzinfo=UTC)  # so that each passes midnight
WATTS = [200.0 + k % 9 for k in range(90)]


def at(form):
    return [f"{START + timedelta(seconds=k):{form}}" for k in range(90)]


SECONDS = [str(k) for k in range(90)]
PLAIN = [f"{w:.0f}" for w in WATTS]


def table(header, *columns, sep=",", above="", below=""):
    rows = [sep.join(cells) for cells in zip(*columns, strict=True)]
    return above + "\n".join([header, *rows]) + "\n" + below


def but(cells, place, cell):
    return [*cells[:place], cell, *cells[place + 1:]]


OTHER = [str(90 + 7 * k % 23) for k in range(90)]
COMMA = [f"{w:.1f}".replace(".", ",") for w in WATTS]
RIGHT = {
    "total of three sides": table("t,L W,R W,total W", SECONDS, OTHER, OTHER, PLAIN),
    "Soll and Ist": table("t;Soll [W];Ist [W]", SECONDS, OTHER, PLAIN, sep=";"),
    "cible and réelle": table("t,cible (W),réelle (W)", SECONDS, OTHER, PLAIN),
    "Doel and Vermogen": table("tijd;Vermogen;Vermogen (gem);Doel", SECONDS, PLAIN, OTHER, OTHER, sep=";"),
    "śr., maks. and Moc": table("czas;Moc śr.;Moc maks.;Moc", SECONDS, OTHER, OTHER, PLAIN, sep=";"),
    "smoothed beside": table("time,power (3s),power (10s),power", SECONDS, OTHER, OTHER, PLAIN),
    "watts per kg beside": table("time,W/kg,W", SECONDS, OTHER, PLAIN),
    "power written twice alike": table("time,power,power", SECONDS, PLAIN, PLAIN),
    "decimal commas by semicolons": table("time;power", SECONDS, COMMA, sep=";"),
    "decimal commas in quotes": table("time,power", SECONDS, [f'"{cell}"' for cell in COMMA]),
    "kW by commas": table("time;power (kW)", SECONDS, [f"{w / 1000:.4f}".replace(".", ",") for w in WATTS], sep=";"),
    "tabs": table("time\tpower", SECONDS, PLAIN, sep="\t"), "pipes": table("time|power", SECONDS, PLAIN, sep="|"),
    "wide spaces": table("time   power (W)", SECONDS, PLAIN, sep="   "),
    "carriage returns alone": table("time,power", SECONDS, PLAIN).replace("\n", "\r"),
    "a mark at the start": "\ufeff" + table("time,power", SECONDS, PLAIN),
    "a spreadsheet's first line": table("time;power", SECONDS, PLAIN, sep=";", above="sep=;\n"),
    "averages above": table("time,power", SECONDS, PLAIN, above="Average,204\nMax,208\n"),
    "text above": table("time,power", SECONDS, PLAIN, above="Ride of a day\nSerial,17\n\n"),
    "averages below": table("time,power", SECONDS, PLAIN, below="\n\nAverage,204\nMax,208\n"),
    "a summary of words": table("time;power", SECONDS, PLAIN, sep=";", below="Gemiddelde;204\nTotaal;18360\n"),
    "a row of units": table("time,power", ["s", *SECONDS], ["W", *PLAIN]),
    "a row of units in brackets": table("Zeit;Leistung", ["[s]", *SECONDS], ["[W]", *PLAIN], sep=";"),
    "a row of units ms": table("time,power", ["ms", *(f"{1000 * k}" for k in range(90))], ["W", *PLAIN]),
    "clock past midnight": table("time,power", at("%H:%M:%S"), PLAIN),
    "12 h past midnight": table("time,power", at("%I:%M:%S %p"), PLAIN),
    "HHMMSS past midnight": table("time,power", at("%H%M%S"), PLAIN),
    "date and time apart": table("Date;Time;power", at("%d/%m/%Y"), at("%H:%M:%S"), PLAIN, sep=";"),
    "day first": table("time,power", at("%d/%m/%Y %H:%M:%S"), PLAIN),
    "month first": table("time,power", at("%m/%d/%Y %I:%M:%S %p"), PLAIN),
    "two digits of a year": table("time,power", at("%d.%m.%y %H:%M:%S"), PLAIN),
    "half an hour's zone": table("time,power", [f"{cell}+05:30" for cell in at("%Y-%m-%dT%H:%M:%S")], PLAIN),
    "a quarter's zone": table("time,power", [f"{cell} +0545" for cell in at("%Y-%m-%d %H:%M:%S")], PLAIN),
    "words of a zone": table("time,power", [f"{cell} UTC" for cell in at("%Y-%m-%d %H:%M:%S")], PLAIN),
    "seconds since 1989": table("timestamp,power", [str(1_086_000_000 + k) for k in range(90)], PLAIN),
    "elapsed ms": table("time_ms,power", [str(1000 * k) for k in range(90)], PLAIN),
    "mm:ss past the hour": table("time,power", [f"{(59 + k // 60) % 60:02}:{k % 60:02}" for k in range(90)], PLAIN)}
MISSING = {cell: table("time,power", SECONDS, but(PLAIN, 40, cell)) for cell in (
    "", "-", "--", "n/a", "#N/A", "NULL", "NaN", "-1", "9999", "32767", "65535", "-32768", "-999", "99999")}
VALUES = {"1,234": 1234, "1'234": 1234, "1.234": 1234, "206,5": 206.5, "+206": 206, "2e2": 200, "−5": -5, "0": 0}
REFUSED = {
    "letters of sides": (table("t;Potência E;Potência D", SECONDS, OTHER, OTHER, sep=";"), "the left side"),
    "two candidates": (table("t,crank power,hub power", SECONDS, PLAIN, OTHER), "2 columns that may be the power"),
    "a target alone": (table("t,erg_watts", SECONDS, PLAIN), "a target: 'erg'"),
    "an average alone": (table("t,Ø Leistung", SECONDS, PLAIN), "an average"),
    "horsepower": (table("t,power (HP)", SECONDS, ["0.3"] * 90), "in horsepower"),
    "kcal an hour": (table("t,power kcal/h", SECONDS, PLAIN), "in kcal"),
    "W called kW": (table("t,power kW", SECONDS, PLAIN), "expected -2000 to 20000 W"),
    "minutes": (table("time,power", at("%H:%M"), PLAIN), "to the minute"),
    "minutes without a word": (table("time,power", [f"{k / 60:.5f}" for k in range(90)], PLAIN), "they count minutes"),
    "days of a spreadsheet": (table("time,power", [f"{45443.7 + k / 86400:.8f}" for k in range(90)], PLAIN), "days"),
    "a zone of several": (table("time,power", [f"{c} IST" for c in at("%Y-%m-%d %H:%M:%S")], PLAIN), "not the name of"),
    "a pace alone": (table("pace,speed", at("%M:%S"), PLAIN), "expected one called power or watts"),
    "one odd comma": (table("t;power", SECONDS, but([f"{w:.1f}" for w in WATTS], 40, "206,5"), sep=";"), "row 42: fo"),
    "one odd point": (table("t;power", SECONDS, but(COMMA, 40, "206.5"), sep=";"), "row 42: found '206.5'"),
    "a stamp back": (table("time,power", but(SECONDS, 40, "30"), PLAIN), "row 42: found '30' after '39'"),
    "rows turned round": (table("time,power", SECONDS[::-1], PLAIN), "time not to go back"),
    "a clock not set": (table("time,power", but(at("%Y-%m-%d %H:%M:%S"), 0, "1970-01-01 00:00:00"), PLAIN), "7 days"),
    "a gap of 8 days": (table("time,power", but(SECONDS, 89, "700000"), PLAIN), "row 91: found 8.1 days"),
    "power twice": (table("time,power,power", SECONDS, PLAIN, OTHER), "2 columns that may be the power"),
    "time twice": (table("time,time,power", SECONDS, SECONDS, PLAIN), "2 columns that may be the time"),
    "a sum without a stamp": (table("time,power", SECONDS, PLAIN, below=",18360\n"), "a reading without a stamp"),
    "a unit in the cell": (table("time,power", SECONDS, but(PLAIN, 40, "200 W")), "row 42: found '200 W'"),
    "an infinite reading": (table("time,power", SECONDS, but(PLAIN, 40, "inf")), "a finite number"),
    "an error of a spreadsheet": (table("time,power", SECONDS, but(PLAIN, 40, "#DIV/0!")), "row 42: found '#DIV/0!'"),
    "digits of another script": (table("time,power", SECONDS, but(PLAIN, 40, "٢٠٠")), "row 42")}


@each("name", RIGHT)
def test_read_rightly(name):
    found = read_recording(RIGHT[name].encode())
    np.testing.assert_allclose(found.power, WATTS, rtol=1e-9)
    np.testing.assert_allclose(np.diff(found.time), 1, atol=1e-6)


@pytest.mark.parametrize("cell", MISSING)
def test_missing(cell):
    power = read_recording(MISSING[cell].encode()).power
    assert np.flatnonzero(np.isnan(power)).tolist() == [40]


@pytest.mark.parametrize("cell", VALUES)
def test_a_value_in_another_form(cell):
    data = table("time;power", SECONDS, but(PLAIN, 40, cell), sep=";")
    assert read_recording(data.encode()).power.tolist() == but(WATTS, 40, VALUES[cell])


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-be", "cp1252", "utf-8-sig"])
def test_encodings(encoding):
    found = read_recording(table("Zeit;Ø Leistung;Leistung", SECONDS, OTHER, PLAIN, sep=";").encode(encoding))
    assert (found.columns["power"], found.power.tolist()) == ("Leistung", WATTS)


@each("name", REFUSED)
def test_refused_with_its_reason(name):
    data, reason = REFUSED[name]
    with pytest.raises(InputError) as caught:
        read_recording(data.encode())
    assert reason in str(caught.value)
