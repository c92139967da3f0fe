"""Which masses settle a claim, the sheet to print, and a static check beside rides."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from agree import InputError, SampleSizeError
from agree.cli import main
from agree.files.tables.hung_masses import read_hung_masses
from agree.physics import static_plan
from agree.physics.static_beside import beside_rides
from agree.physics.static_check import static_check
from agree.physics.static_plan import StaticDesign, plan_static
from agree.physics.torque import HungMass
from agree.report.texts.static_plan_text import static_plan_text

HANG = HungMass(crank_length_mm=172.5)
MASSES = np.array([0.0, 5, 10, 15, 20])


def run(*words):
    done = CliRunner().invoke(main.command, list(map(str, words)), standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout


def test_more_masses_and_rounds_settle_more_and_the_smallest_set_is_chosen():
    made = plan_static("1%", hang=HANG, masses_kg=(20, 0, 5, 10))
    halves = [item.half_percent for item in made.designs]
    assert halves == sorted(halves, reverse=True)
    assert [item.rounds for item in made.designs] == [1, 2, 3]
    assert made.chosen is next(item for item in made.designs if min(item.holds, item.fails) >= 0.8)
    # u of length 0.145 %, of gravity 0.0306 %, of the scale 0.05 %, in squares, times 1.96: by hand 0.306 %
    assert made.shared_percent == pytest.approx(0.306, abs=0.001)
    assert [(item.mass_kg, round(item.torque_Nm, 2)) for item in made.torques][-1] == (20, 33.83)
    assert made.torques[-1].low_Nm == pytest.approx(0.99 * 33.83, abs=0.01)
    text = made.summary()
    assert max(map(len, text.splitlines())) <= 80
    assert len(text.splitlines()) <= 16


def test_gravity_is_stated_or_computed_not_both(tmp_path):
    words = ["static", "--crank-length", "172.5 mm", "--claim", "1%", "--sheet", tmp_path / "sheet.txt"]
    for one in (["--gravity", "9.81"], ["--latitude", "50"]):
        run(*words, *one)
    with pytest.raises(InputError, match="either --gravity or --latitude"):
        run(*words, "--gravity", "9.81", "--latitude", "50")


# STATIC_CHANCE
@pytest.mark.parametrize(("limit", "chosen"), [(0.79, False), (0.81, True)])
def test_a_set_is_chosen_from_a_chance_of_80_percent_on(monkeypatch, limit, chosen):
    made = StaticDesign(masses_kg=(0.0, 10.0, 20.0), rounds=1, half_percent=1.0, holds=limit, fails=1.0)
    monkeypatch.setattr(static_plan, "_design", lambda *_: made)
    assert (plan_static("1%", hang=HANG, masses_kg=(0, 10, 20)).chosen is not None) is chosen


def test_what_no_number_of_masses_settles_is_said():
    made = plan_static("0.2%", hang=HANG, masses_kg=(0, 10, 20))
    assert made.chosen is None
    assert "are left however many are hung" in made.summary().replace("\n              ", " ")


def test_masses_that_cannot_be_planned():
    with pytest.raises(InputError, match=r"^`masses_kg` must lie between 0 and 60 kg; got 0, 5, 5000$"):
        plan_static("1%", hang=HANG, masses_kg=(0, 5, 5000))
    with pytest.raises(SampleSizeError, match="at least 3 different masses"):
        plan_static("1%", hang=HANG, masses_kg=(0, 5, 5))
    with pytest.raises(InputError, match="write the claim in % or N m"):
        plan_static("2 W", hang=HANG, masses_kg=(0, 5, 10))


@pytest.mark.parametrize("suffix", [".txt", ".pdf", ".html"])
def test_the_sheet_to_print(tmp_path, suffix):
    sheet = tmp_path / f"sheet{suffix}"
    said = run("static", "--sheet", sheet, "--crank-length", "172.5 mm", "--claim", "1.5%", "--masses", "0,10,20")
    assert f"Written: {sheet}" in said
    made = sheet.read_bytes()
    if suffix == ".pdf":
        assert made.startswith(b"%PDF")
        return
    text = made.decode("utf-8")
    for words in ("33.83", "33.33 to 34.34", "Hung masses fall", "agree static TABLE.csv", "Crank length measured"):
        assert words in text
    with pytest.raises(InputError, match="--sheet needs the claim"):
        run("static", "--sheet", sheet, "--crank-length", "172.5 mm")


def rides(low, high, percent=1.5, level=0.95):
    """The part of a check's dictionary that is compared."""
    reading = {"meaning": "average", "unit": "%", "estimate": {"value": (low + high) / 2, "low": low, "high": high,
                                                              "level": level, "method": "t"}}
    return {"readings": [reading], "claim": {"percent": percent}}


def masses(scale):
    return static_check(MASSES, np.round(scale * HANG.torque(MASSES), 2), hang=HANG)


@pytest.mark.parametrize(("centre", "half", "answer"), [
    (-3.0, 0.3, "agree"), (0.0, 0.3, "differ"), (-3.0, 1.5, "not settled"), (-1.8, 0.3, "differ")])
def test_masses_and_rides_agree_or_not(centre, half, answer):
    """A scale of 0.97 under masses, and rides that read `centre` per cent."""
    found = beside_rides(masses(0.97), rides(centre - half, centre + half))
    assert found.answer == answer
    assert found.difference_percent.value == pytest.approx(centre + 3.0, abs=0.05)
    text = found.summary().replace("\n              ", " ")
    assert ("the rides' reference reads low" in text) == (answer == "differ")
    assert max(map(len, found.summary().splitlines())) <= 80


@pytest.mark.parametrize(("off", "answer"), [(0.74, "agree"), (0.76, "not settled")])
def test_agreement_is_within_half_the_claim(off, answer):
    exact = masses(1.0)
    own = 50 * (exact.scale.high - exact.scale.low)
    half = np.sqrt(off**2 - own**2)  # so that both together are `off` wide
    found = beside_rides(exact, rides(-half + 100 * (exact.scale.value - 1), half + 100 * (exact.scale.value - 1)))
    assert found.difference_percent.high == pytest.approx(off)
    assert found.answer == answer


def test_rides_that_cannot_be_compared():
    with pytest.raises(InputError, match="write it with agree check"):
        beside_rides(masses(1.0), {"verdict": "holds"})
    with pytest.raises(InputError, match="give both one level"):
        beside_rides(masses(1.0), rides(-1, 1, level=0.9))


def test_the_command_sets_both_beside_each_other(tmp_path):
    table, result, out = tmp_path / "masses.csv", tmp_path / "rides.json", tmp_path / "out.json"
    rows = "".join(f"{mass:g},{0.97 * float(HANG.torque(mass)):.2f}\n" for mass in MASSES)
    table.write_text("mass_kg,reading_Nm\n" + rows, encoding="utf-8")
    result.write_text(json.dumps(rides(-3.3, -2.8)), encoding="utf-8")
    said = run("static", table, "--crank-length", "172.5 mm", "--beside", result, "--step", "0.5", "--json", out)
    assert "they agree" in said
    stored = json.loads(out.read_text(encoding="utf-8"))
    assert stored["beside_rides"]["answer"] == "agree"
    assert stored["entered"] == 1.03


@pytest.mark.parametrize(("head", "text"), [
    ("mass_kg,power_W", "power is 0 while the crank stands still"),
    ("mass_kg,reading_W", "a device which shows no torque cannot be checked with hung masses"),
    ("mass_g,reading_Nm", "found a column 'mass_g'; expected mass_kg; convert it and rename the column"),
    ("mass_lb,reading_Nm", "found a column 'mass_lb'; expected mass_kg"),
    ("mass_kg,reading_Ncm", "found a column 'reading_Ncm'; expected reading_Nm")])
def test_columns_of_another_quantity_or_unit(tmp_path, head, text):
    table = tmp_path / "masses.csv"
    table.write_text(head + "\n0,0\n5,8\n10,17\n15,25\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_hung_masses(table)
    assert text in str(caught.value)


@pytest.mark.parametrize("width", [40, 80])
def test_the_plan_is_as_wide_as_the_terminal(width):
    made = plan_static("1.5%", hang=HungMass(crank_length_mm=172.5))
    text = static_plan_text(made, width=width)
    assert max(map(len, text.splitlines())) <= width
    assert "of two, each is judged by itself" in " ".join(text.split())
    assert all(f"{100 * item.fails:.0f} %" in text for item in made.designs)
