"""Files as a new user brings them, by hand: forms that combine more than one oddity, each read rightly or refused.

All are invented. What is read must be WATTS at one reading a second; of what is refused a part of the reason is given.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from agree import InputError, read_recording

START = datetime(2024, 5, 31, 17, 2, 3, tzinfo=UTC)
WATTS = [0.0 if k == 50 else float(round(180 + 40 * np.sin(k / 9))) for k in range(120)]
SECONDS, PLAIN = [str(k) for k in range(120)], [f"{watts:.0f}" for watts in WATTS]
OTHER = [str(90 + 7 * k % 23) for k in range(120)]


def at(form):
    return [f"{START + timedelta(seconds=k):{form}}" for k in range(120)]


def table(header, *columns, sep=",", above=""):
    return above + "\n".join([header, *(sep.join(cells) for cells in zip(*columns, strict=True))]) + "\n"


def beside(header, *, sep=";", power=2):
    """Return a file whose columns are time, and others but for the power at a place."""
    count = header.count(sep)
    return table(header, SECONDS, *(PLAIN if k == power else OTHER for k in range(1, count + 1)), sep=sep)


def alone(header):
    return table(header, SECONDS, OTHER, sep=";")


RIGHT = {
    "an assisted bike, French": beside("temps;Puissance assistance;Puissance cycliste"),
    "an assisted bike, German": beside("Zeit;Unterstützungsleistung [W];Leistung [W]"),
    "an assisted bike, English": beside("time;Support power;Rider power"),
    "current of average and maximum": beside("Zeit;Leistung (Ø);Leistung (max.);Leistung (akt.)", power=3),
    "a moving average beside": beside("time;Power (MA 10);Power"),
    "of 30 s without a unit beside": beside("time;Power30;Power"),
    "facts by commas above": table("time,power", SECONDS, PLAIN,
                                   above="Device,Foo\nSerial,12\nMax Power,612\nAverage Power,204\n\n"),
    "a date, and seconds": table("Date,Seconds,power", at("%Y-%m-%d"), SECONDS, PLAIN),
    "year of two digits first": table("time,power", at("%y-%m-%d %H:%M:%S"), PLAIN),
    "year of two digits last": table("time,power", at("%d-%m-%y %H:%M:%S"), PLAIN),
    "a tenth of a watt's marker": table("time,power", SECONDS, [*(f"{w:.1f}" for w in WATTS[:119]), "6553.5"]),
    "quoted with a comma": table('"time, s","power, W"', SECONDS, PLAIN),
    "a name on two lines": table('"time\n(s)","power\n(W)"', SECONDS, PLAIN),
    "a leading index": table(",time,power", SECONDS, SECONDS, PLAIN),
    "three decimals by commas": table("t;power", SECONDS, [f"{w:.3f}".replace(".", ",") for w in WATTS], sep=";"),
    "ms by commas": table("t;power", [f"{k},000" for k in range(120)], PLAIN, sep=";"),
    "joined laps": "\n".join(["time,power", *map(",".join, zip(SECONDS[:60], PLAIN[:60], strict=True)), "time,power",
                              *map(",".join, zip(SECONDS[60:], PLAIN[60:], strict=True))]) + "\n"}
NAMES_REFUSED = {
    "Potencia de asistencia": "no reading: 'asistencia'", "Puissance d'assistance": "expected a column of measured",
    "Unterstützungsleistung [W]": "no reading: 'unterstutzung'", "Assistance power": "no reading: 'assistance'",
    "Potenza di supporto": "no reading", "power_ma": "smoothed: 'ma'", "Power (MA 10)": "smoothed: 'ma'",
    "power_ma30": "smoothed: 'ma'", "Power30": "smoothed: '30'", "power (BTU/h)": "in BTU",
    "power (0.1 W)": "not in its unit alone: '0.1 W'", "power (W*10)": "W*10", "power_x10": "x10",
    "power [W/10]": "W/10", "Leistung [1/10 W]": "1/10 W", "power 10x": "10x"}
REFUSED = {
    "minutes and seconds by a point": (table("time,power", [f"{k // 60}.{k % 60:02}" for k in range(120)], PLAIN),
                                       "write stamps as h:mm:ss"),
    "a spreadsheet's 1.71717E+09": (table("time,power", [f"{1_717_174_943 + k:.5e}" for k in range(120)], PLAIN),
                                    "stamps with seconds"),
    "seconds since 1900": (table("time,power", [str(3_926_163_723 + k) for k in range(120)], PLAIN),
                           "from 1900 or 1904")}


@pytest.mark.parametrize("name", RIGHT)
def test_read_rightly(name):
    found = read_recording(RIGHT[name].encode())
    wanted = [*WATTS[:119], np.nan] if "marker" in name else WATTS
    np.testing.assert_allclose(found.power, wanted)
    np.testing.assert_allclose(np.diff(found.time), 1)
    assert "two digits" not in name or found.start == "2024-05-31T17:02:03"


@pytest.mark.parametrize("name", NAMES_REFUSED)
def test_a_name_alone_is_refused(name):
    with pytest.raises(InputError) as caught:
        read_recording(alone(f"time;{name}").encode())
    assert NAMES_REFUSED[name] in str(caught.value)


@pytest.mark.parametrize("name", REFUSED)
def test_refused_with_its_reason(name):
    data, reason = REFUSED[name]
    with pytest.raises(InputError) as caught:
        read_recording(data.encode())
    assert reason in str(caught.value)


def test_a_short_year_that_may_be_either_is_told():
    """A month and a day come first, as is usual, where no order is ruled out."""
    found = read_recording(table("time,power", [f"23-05-24 {cell}" for cell in at("%H:%M:%S")], PLAIN).encode())
    assert found.start == "2024-05-23T17:02:03"
    assert any("year first fits as well" in str(note.values.get("form")) for note in found.notes)
