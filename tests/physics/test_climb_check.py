"""A device on a climb: check values, what cannot be confirmed, two gradients, coasting."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from agree import InputError
from agree.cli import main
from agree.physics.climb import Ride
from agree.physics.climb_check import climb_check, drag_area_from_coasting

CLIMB = Ride(mass_kg=80, grade=0.08, speed=4.5, density=1.1)
DEGREES = [float(np.tan(np.radians(angle))) for angle in (1, 7)]


def run(*words):
    done = CliRunner().invoke(main.command, list(map(str, words)), standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout


def steep(speed=3.5, **known):
    return [Ride(mass_kg=80, grade=grade, speed=speed, **known) for grade in DEGREES]


def test_a_climb_cannot_confirm_a_narrow_claim_but_can_refute_it():
    """324.7 W at the crank by hand (80 kg, 8 %, 4.5 m/s, 1.1 kg/m3)."""
    found = climb_check(CLIMB, readings_W=(324.7,), claim="1.5%")
    assert found.power_W.value == pytest.approx(324.7, abs=0.05)
    assert found.error_percent.value == pytest.approx(0, abs=0.02)
    assert (found.verdict, found.can_confirm) == ("not settled", False)
    text = found.summary()
    assert text.startswith("CANNOT CONFIRM ±1.5 %")
    assert max(map(len, text.splitlines())) <= 80
    assert len(text.splitlines()) <= 16
    assert climb_check(CLIMB, readings_W=(300.0,), claim="1.5%").verdict == "does not hold"
    known = {f"u_{name}": 1e-6 for name in ("mass_kg", "grade", "speed", "rolling", "drag_area", "density", "head_wind",
                                            "efficiency")}
    sure = Ride(mass_kg=80, grade=0.08, speed=4.5, density=1.1, **known)
    exact = climb_check(sure, readings_W=(326.0,), claim="1.5%")
    assert (exact.verdict, exact.can_confirm) == ("holds", True)


@pytest.mark.parametrize("inside", [True, False])
def test_what_can_be_confirmed_is_the_half_width(inside):
    smallest = climb_check(CLIMB).smallest_percent
    assert climb_check(CLIMB, claim=f"{smallest * (1.01 if inside else 0.99):.4f}%").can_confirm is inside


def test_sensitivities_of_a_climb():
    """Of the trade, by hand: 0.5 kg 0.59 %, rolling 0.001 1.1 %, drag area 10 % 0.55 %, 1 m/s of wind 2.7 %, a point of
    efficiency 1.0 %, all of the power at the crank."""
    none = dict.fromkeys(("u_mass_kg", "u_grade", "u_speed", "u_rolling", "u_drag_area", "u_density", "u_head_wind",
                          "u_efficiency"), 0.0)
    for name, u, percent, room in (("mass_kg", 0.5, 0.59, 0.01), ("rolling", 0.001, 1.1, 0.02),
                                   ("drag_area", 0.035, 0.55, 0.01), ("head_wind", 1.0, 2.45, 0.3),
                                   ("efficiency", 0.00977, 1.0, 0.01), ("grade", 0.0008, 0.89, 0.01)):
        made = Ride(mass_kg=80, grade=0.08, speed=4.5, density=1.1, **{**none, f"u_{name}": u})
        found = climb_check(made)
        assert found.smallest_percent / 1.959964 == pytest.approx(percent, abs=room), name
        assert found.budget[0] == (name, pytest.approx(1.0))


def test_two_gradients():
    """286.7 W at the wheel by hand: 80 kg at 3.5 m/s, 1 and 7 degrees; rolling changes by cos alone, 0.0005."""
    low, high = steep(efficiency=1.0, rolling=0.0)
    found = climb_check(low, high)
    assert found.power_W.value == pytest.approx(286.7, abs=0.05)
    low, high = steep()
    both = climb_check(low, high, readings_W=(low.power() + 5, high.power() + 5), claim="3%")
    assert both.error_percent.value == pytest.approx(0, abs=1e-9)  # an offset of the device drops out
    parts = dict(both.budget)
    alone = dict(climb_check(high).budget)
    assert parts["head_wind"] < 1e-6 < alone["head_wind"]
    assert parts["rolling"] < 1e-4
    assert both.smallest_percent < climb_check(high).smallest_percent


def test_the_uncertainty_of_a_difference_is_that_of_drawn_coefficients():
    low, high = steep()
    rng = np.random.default_rng(3)
    drawn = []
    for _ in range(1500):
        shared = {name: getattr(low, name) + getattr(low, f"u_{name}") * rng.normal()
                  for name in ("mass_kg", "rolling", "drag_area", "density", "head_wind")}
        shared["efficiency"] = min(low.efficiency + low.u_efficiency * rng.normal(), 1.0)
        powers = [Ride(grade=item.grade + item.u_grade * rng.normal(), speed=item.speed + item.u_speed * rng.normal(),
                       **shared).power() for item in (low, high)]
        drawn.append(powers[1] - powers[0])
    found = climb_check(low, high)
    assert np.std(drawn) == pytest.approx(found.power_W.standard_error, rel=0.06)


def test_coasting_tells_the_drag_area():
    """At the steady speed on the way down, power at the crank is 0: the same formula, solved for the drag area."""
    ride = Ride(mass_kg=80, grade=0.08, speed=4.5, drag_area=0.31)
    speeds = np.linspace(5, 25, 20001)
    coasting = [Ride(mass_kg=80, grade=-0.05, speed=float(speed), drag_area=0.31).power() for speed in speeds[::200]]
    speed = float(np.interp(0.0, coasting, speeds[::200]))
    found = drag_area_from_coasting(ride, grade_down=0.05, speed=speed)
    assert found.value == pytest.approx(0.31, abs=0.001)
    assert 0 < found.standard_error < 0.05
    with pytest.raises(InputError, match="rolling resistance alone holds the bicycle"):
        drag_area_from_coasting(ride, grade_down=0.005, speed=5)


@pytest.mark.parametrize(("call", "text"), [
    (climb_check, "one climb or two are needed; got 0"),
    (lambda: climb_check(CLIMB, readings_W=(1.0, 2.0)),
     "`readings_W` must hold one reading for each climb; got 2 for 1"),
    (lambda: climb_check(CLIMB, readings_W=(4000.0,)), "`readings_W` must lie between 0 and 3000 W; got 4000"),
    (lambda: climb_check(CLIMB, claim="2 W"), "claim '±2 W': a climb is judged in per cent; write the claim like 1.5%"),
    (lambda: climb_check(*reversed(steep())),
     "the second climb must ask for at least 1.5 times the power of the first; got 366 and 73 W: give the steeper one "
     "last"),
    (lambda: climb_check(CLIMB, Ride(mass_kg=81, grade=0.12, speed=4.5)),
     "two climbs are of one rider and bicycle: they must differ in grade and speed alone; got other mass_kg, density"),
])
def test_errors_say_what_to_do(call, text):
    with pytest.raises(InputError) as caught:
        call()
    assert str(caught.value) == text


def test_the_command(tmp_path):
    words = ("--mass", "80 kg", "--grade", "8%", "--speed", "16.2 km/h", "--density", "1.1")
    said = run("climb", *words, "--reading", "320", "--claim", "1.5%")
    assert said.startswith("CANNOT CONFIRM ±1.5 %")
    assert "324.7" in said or "325" in said
    stored = json.loads(run("climb", *words, "--coast", "5%", "46.4 km/h", "--uncertain", "wind=0.1", "--uncertain",
                            "grade=0.02%", "--json", "-"))
    assert stored["climbs"][0]["u_head_wind"] == 0.1
    assert stored["climbs"][0]["u_grade"] == pytest.approx(0.0002)
    assert stored["climbs"][0]["drag_area"] == pytest.approx(0.37, abs=0.03)
    for more, text in ((("--uncertain", "mood=1"), "write NAME=SD with one of mass"),
                       (("--grade", "9%"), "give a --speed for each --grade")):
        with pytest.raises(InputError, match=text):
            run("climb", *words, *more)
    with pytest.raises(InputError, match="write the grade as a fraction"):
        run("climb", "--mass", "80", "--grade", "8", "--speed", "4.5 m/s")


STEADY = ("climb", "--mass", "80", "--grade", "8%", "--claim", "1.5%")


def test_what_is_called_exact_is_taken_but_not_all_of_it():
    exact = [word for name in ("mass", "grade", "speed", "rolling", "drag-area", "density", "efficiency")
             for word in ("--uncertain", f"{name}=0")]
    said = run(*STEADY, "--speed", "4.5 m/s", "--reading", "330", *exact)
    assert "wind 100 %" in said
    with pytest.raises(InputError, match="every standard uncertainty is 0"):
        run(*STEADY, "--speed", "4.5 m/s", *exact, "--uncertain", "wind=0")
    with pytest.raises(InputError, match="`u_head_wind` must be 0 or more"):
        run(*STEADY, "--speed", "4.5 m/s", "--uncertain", "wind=-1")


@pytest.mark.parametrize("reading", [(), ("--reading", "100")])
def test_a_descent_asks_for_no_power(reading):
    with pytest.raises(InputError, match=r"asks for -250 W: no power of a rider can be judged"):
        run("climb", "--mass", "80", "--grade", "-8%", "--speed", "16.2 km/h", "--claim", "1.5%", *reading)
    with pytest.raises(InputError, match=r"asks for -250 W"):
        climb_check(Ride(mass_kg=80, grade=-0.08, speed=4.5), Ride(mass_kg=80, grade=0.08, speed=4.5))


def test_a_power_that_may_be_none_has_no_upper_limit_of_error():
    said = run("climb", "--mass", "80", "--grade", "-2.5%", "--speed", "9.2 m/s", "--reading", "100")
    assert "to no limit)." in said
    assert "no limit to no limit" not in said


@pytest.mark.parametrize("words", [("--speed", "16.2"), ("--speed", "4.5 m/s", "--coast", "5%", "46.4")])
def test_a_speed_without_unit(words):
    with pytest.raises(InputError, match=r"no unit of speed; write '4.5 m/s' or '16.2 km/h'"):
        run(*STEADY, *words)


@pytest.mark.parametrize(("reading", "slips"), [
    (163, ["one side is not counted"]), (652, ["one side is counted twice"]), (0.326, ["reading in kW"]),
    (0.443, ["reading in PS", "reading in hp"]), (326, []), (250, [])])
def test_a_unit_or_a_side_is_named_and_the_answer_stays_open(reading, slips):
    found = climb_check(Ride(mass_kg=80, grade=0.08, speed=4.5), readings_W=(reading,), claim="1.5%")
    assert [note.values["slip"] for note in found.hints] == slips
    assert found.verdict == ("does not hold" if reading == 250 else "not settled")
    assert ("Look first" in found.summary()) is bool(slips)


def test_a_climb_that_is_hardly_known_names_no_slip():
    loose = Ride(mass_kg=80, grade=0.08, speed=4.5, u_head_wind=4.0)
    assert not climb_check(loose, readings_W=(163.0,)).hints


def test_a_mass_in_grams_has_a_hint():
    with pytest.raises(InputError, match=r"in grams\? 80000 g are 80 kg"):
        Ride(mass_kg=80000, grade=0.08, speed=4.5)


def test_readings_in_the_wrong_order_are_refused():
    rides = [Ride(mass_kg=80, grade=grade, speed=3.5) for grade in (0.02, 0.12)]
    with pytest.raises(InputError, match=r"in the order of the climbs, the steeper one last; got 371 and 89 W"):
        climb_check(*rides, readings_W=(371.0, 89.0), claim="3%")
