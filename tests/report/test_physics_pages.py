"""Pages of hung masses and of climbs: every form, nothing small or overlapping, the same bytes twice."""

import re

import numpy as np
import pytest
from click.testing import CliRunner

from agree import InputError
from agree.cli import main
from agree.physics.climb import Ride
from agree.physics.climb_check import climb_check
from agree.physics.static_beside import beside_rides
from agree.physics.static_check import static_check
from agree.physics.torque import HungMass
from agree.report.climb_page import sheet_of_climb, write_climb_page
from agree.report.page.answer_sheet import draw_sheet
from agree.report.static_page import sheet_of_static, write_static_page
from tests.report.layouts import faults

HANG = HungMass(crank_length_mm=172.5)
MASSES = np.array([0.0, 5, 10, 15, 20, 25])
BOTH = np.tile(MASSES, 2)
UP_DOWN = ["up"] * 6 + ["down"] * 6
LEFT_RIGHT = ["left"] * 6 + ["right"] * 6


def hung(masses, scale, **more):
    reading = np.round(scale * HANG.torque(masses) + np.where(np.arange(masses.size) % 2, 0.02, -0.02), 2)
    return static_check(masses, reading, hang=HANG, **more)


MADE = {
    "holds": lambda: hung(MASSES, 1.0, claim="1.5%"),
    "fails": lambda: hung(MASSES, 0.96, claim="1.5%"),
    "no claim": lambda: hung(BOTH, 0.99, direction=UP_DOWN),
    "torque claim": lambda: hung(BOTH, 0.99, direction=UP_DOWN, claim="0.5 Nm"),
    "both claims": lambda: hung(BOTH, 0.99, claim="1.5% or 0.5 Nm"),
    "sides cancel": lambda: hung(BOTH, np.repeat([1.03, 0.97], 6), side=LEFT_RIGHT, claim="1.5%"),
    "long sides": lambda: hung(BOTH, np.repeat([1.0, -1.0], 6), claim="1.5%", side=["the drive side of the bicycle"] * 6
                               + ["the other side of the bicycle"] * 6),
    "slips": lambda: hung(MASSES, np.array([1, 1, -1, 1, 10, 1.0]), claim="1.5%"),
    "many masses": lambda: hung(np.tile(np.linspace(0, 28, 15), 2), 0.99, claim="1.5%"),
    "bent": lambda: hung(BOTH, 1 + 0.05 * np.sin(BOTH / 6), claim="1.5%"),
    "far": lambda: hung(MASSES, 40.0, claim="1.5%"),
}
STEADY = Ride(mass_kg=80, grade=0.08, speed=4.5)
CLIMBS = {
    "cannot": lambda: climb_check(STEADY, readings_W=(320.0,), claim="1.5%"),
    "fails": lambda: climb_check(STEADY, readings_W=(250.0,), claim="1.5%"),
    "no reading": lambda: climb_check(STEADY, claim="1.5%"),
    "no claim": lambda: climb_check(STEADY, readings_W=(320.0,)),
    "far": lambda: climb_check(STEADY, readings_W=(2900.0,), claim="1.5%"),
    "two": lambda: climb_check(Ride(mass_kg=80, grade=0.02, speed=3.5), Ride(mass_kg=80, grade=0.12, speed=3.5),
                               readings_W=(89.0, 371.0), claim="3%"),
    "downwind": lambda: climb_check(Ride(mass_kg=80, grade=0.02, speed=6.0, head_wind=-9.0), readings_W=(90.0,),
                                    claim="20%"),
}
FORMS = {".pdf": b"%PDF-", ".png": b"\x89PNG", ".svg": b"<?xml", ".html": b"<!DOCTYPE html>"}
SHEETS = {**{f"static, {name}": lambda make=make: sheet_of_static(make()) for name, make in MADE.items()},
          **{f"climb, {name}": lambda make=make: sheet_of_climb(make()) for name, make in CLIMBS.items()}}


@pytest.mark.parametrize("name", SHEETS)
def test_pages_are_whole(name):
    sheet = SHEETS[name]()
    assert faults(draw_sheet(sheet)) == []
    assert sheet.verdict in ("holds", "does not hold", "not settled", "")


def test_every_form_and_the_same_bytes_twice(tmp_path):
    static, climb = MADE["sides cancel"](), CLIMBS["cannot"]()
    for suffix, twice in ((".pdf", True), (".svg", True), (".html", False), (".png", False)):
        write, check = (write_static_page, static) if suffix in (".pdf", ".html") else (write_climb_page, climb)
        for name in ("one", "two") if twice else ("one",):
            write(check, tmp_path / f"{name}{suffix}")
        data = (tmp_path / f"one{suffix}").read_bytes()
        assert data.startswith(FORMS[suffix])
        assert not twice or data == (tmp_path / f"two{suffix}").read_bytes()
    data, html = ((tmp_path / f"one{suffix}").read_bytes() for suffix in (".pdf", ".html"))
    assert data.count(b"/FontFile2") == 2
    assert re.findall(rb"/MediaBox \[0 0 (\S+) (\S+)\]", data) == [(b"595.28", b"841.89")]
    assert ">NOT SETTLED</text>" in (tmp_path / "one.svg").read_text(encoding="utf-8")
    assert html.count(b"<h1>") == 1
    assert b"<script" not in html
    for write, check in ((write_static_page, static), (write_climb_page, climb)):
        with pytest.raises(InputError, match="must end in"):
            write(check, tmp_path / "page.gif")


def test_rides_stand_beside_the_masses(tmp_path):
    check = MADE["fails"]()
    found = {"value": -3.9, "low": -4.2, "high": -3.6, "level": 0.95, "method": "t"}
    rides = {"readings": [{"meaning": "average", "unit": "%", "estimate": found}], "claim": {"percent": 1.5}}
    beside = beside_rides(check, rides)
    with pytest.raises(InputError, match="a claim in W"):
        beside_rides(check, {**rides, "readings": [{"meaning": "average", "unit": "W", "estimate": found}]})
    write_static_page(check, tmp_path / "page.html", beside=beside, source="masses.csv")
    text = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "Beside rides" in text
    assert "masses.csv" in text


def test_pages_from_the_command_line(tmp_path):
    table = tmp_path / "masses.csv"
    table.write_text("mass_kg,reading_Nm\n" + "".join(f"{m:g},{m * 1.64:.2f}\n" for m in MASSES), encoding="utf-8")
    words = ["static", str(table), "--crank-length", "172.5 mm", "--claim", "1.5%"]
    pages = [str(tmp_path / name) for name in ("a.pdf", "b.html", "c.json")]
    climb = ["climb", "--mass", "80", "--grade", "8%", "--speed", "4.5 m/s", "--claim", "1.5%"]
    for command in (words, climb):
        done = CliRunner().invoke(main.command, [*command, "--page", pages[0], "-o", pages[1], "-o", pages[2]])
        assert done.exit_code == 0, done.output
        assert f"Written: {', '.join(pages)}" in done.output
        assert "--details" not in CliRunner().invoke(main.command, [*command, "--details"]).output
    assert "SHA-256" not in (tmp_path / "b.html").read_text(encoding="utf-8")  # a climb has no file
    before = table.read_bytes()
    done = CliRunner().invoke(main.command, [*words, "-o", str(table)], standalone_mode=False)
    assert isinstance(done.exception, InputError)
    assert table.read_bytes() == before
    with pytest.raises(InputError, match="a page shows a check"):
        CliRunner().invoke(main.command, ["static", "--sheet", str(tmp_path / "s.txt"), *words[2:], "--page", pages[0]],
                           standalone_mode=False, catch_exceptions=False)


def test_wrong_tables_and_options_name_the_place_and_the_option(tmp_path):
    table = tmp_path / "masses.csv"
    for text, told in (("0,0\n5,\n10,16.9\n15,25\n", "row 3: found no reading_Nm; expected a number"),
                       ("0,0\n5000,8\n10000,17\n15000,25\n", "in grams")):
        table.write_text("mass_kg,reading_Nm\n" + text, encoding="utf-8")
        with pytest.raises(InputError, match=told):
            CliRunner().invoke(main.command, ["static", str(table), "--crank-length", "170"], standalone_mode=False,
                               catch_exceptions=False)
    assert main.in_options("x", "crank_length_mm", ["static"]) == "x; on the command line: --crank-length"
    assert main.in_options("x", "mass_kg", ["static"]) == "x"
    assert main.in_options("x", "mass_kg", ["climb"]) == "x; on the command line: --mass"
    sides = ["left", "left", "left", "links", "links"]
    with pytest.raises(InputError, match=r"the sides are 'left', 'links': write each side in one way"):
        static_check([0, 5, 10, 15, 20], [0, 8.4, 16.9, 25.3, 33.7], hang=HANG, side=sides)
