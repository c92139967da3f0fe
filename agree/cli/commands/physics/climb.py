"""`agree climb`: a device's power on a climb against mass, grade, speed and losses."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import click

from agree.cli.answers import OUTPUTS, answer_options, hand_over
from agree.cli.groups import Grouped
from agree.cli.outputs import outputs_are_no_inputs
from agree.cli.words import IntervalLevel

if TYPE_CHECKING:
    from agree.physics.climb import Ride

GROUPS = {
    "The question": ("claim", "readings", "level"),
    "The climb": ("mass", "grades", "speeds", "gravity"),
    "Losses": ("rolling", "drag_area", "density", "wind", "efficiency", "coast"),
    "What is uncertain": ("uncertain",),
    "What is written": OUTPUTS,
}
EXAMPLE = """agree climb --mass 80 --grade 8% --speed "16.2 km/h" --reading 320 --claim 1.5%
agree climb --mass 80 --grade 2% --speed 3.5m/s --grade 12% --speed 3.5m/s --reading 89 --reading 371 --claim 3%"""
NAMES = {"mass": "mass_kg", "grade": "grade", "speed": "speed", "rolling": "rolling", "drag-area": "drag_area",
         "density": "density", "wind": "head_wind", "efficiency": "efficiency"}
_NUMBER = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*(%|km/h|m/s|kg|)\s*")


@click.command("climb", cls=Grouped, groups=GROUPS, example=EXAMPLE)
@click.option("--mass", required=True, metavar="KG", help="Rider, bicycle, clothes, bottles.")
@click.option("--grade", "grades", multiple=True, required=True, metavar="PERCENT",
              help="Rise over run: '8%' or 0.08. Twice for the difference of two climbs, the steeper one last.")
@click.option("--speed", "speeds", multiple=True, required=True, metavar="SPEED", help="'4.5 m/s' or '16.2 km/h'.")
@click.option("--reading", "readings", multiple=True, type=float, metavar="W", help="The device's mean power on it.")
@click.option("--claim", metavar="TEXT", help="The maker's claim, in per cent.")
@click.option("--rolling", type=float, default=0.005, show_default=True, metavar="CRR", help="Rolling resistance.")
@click.option("--drag-area", type=float, default=0.35, show_default=True, metavar="M2",
              help="Drag area, wheels included.")
@click.option("--density", type=float, default=1.2, show_default=True, metavar="KG/M3", help="Of the air.")
@click.option("--wind", type=float, default=0.0, show_default=True, metavar="M/S", help="Head wind.")
@click.option("--efficiency", type=float, default=0.977, show_default=True, metavar="SHARE",
              help="Power at the wheel over power at the crank; 1 for a device at the hub.")
@click.option("--coast", nargs=2, metavar="PERCENT SPEED",
              help="A steady coast downhill, its grade and speed: the drag area is taken from it.")
@click.option("--gravity", type=float, default=9.80665, show_default=True, metavar="M/S2", help="Local gravity.")
@click.option("--uncertain", multiple=True, metavar="NAME=SD",
              help="Standard uncertainty of mass, grade, speed, rolling, drag-area, density, wind or efficiency. "
                   "Repeat for each.")
@click.option("--level", type=IntervalLevel(), default="95%", show_default=True, metavar="LEVEL",
              help="Level of the intervals: 95% or 0.95.")
@answer_options
def climb(**options: Any) -> None:
    """Judge a device's power on a steady climb against the power that mass, grade, speed and losses ask for."""
    from agree.cli.deliver import outputs_of
    from agree.cli.terminal import width
    from agree.core.errors import InputError
    from agree.files.writing import json_text
    from agree.physics.climb_check import climb_check
    from agree.report.texts.climb_text import climb_text

    json_file, pages = outputs_of(options["json_file"], options["page_files"], options["others"])
    outputs_are_no_inputs([], json_file, *pages)
    if len(options["grades"]) != len(options["speeds"]):
        raise InputError(f"give a --speed for each --grade; got {len(options['speeds'])} for {len(options['grades'])}")
    rides = [_ride(grade, speed, options) for grade, speed in zip(options["grades"], options["speeds"], strict=True)]
    result = climb_check(*rides, readings_W=tuple(options["readings"]), claim=options["claim"], level=options["level"])

    def draw(name: str) -> None:
        from agree.report.climb_page import write_climb_page

        write_climb_page(result, name)

    hand_over(json_file, pages, stored=json_text(result), draw=draw,
              text=climb_text(result, width=width(), details=options["details"]))


def _ride(grade: str, speed: str, options: dict[str, Any]) -> Ride:
    from dataclasses import replace

    from agree.physics.climb import Ride
    from agree.physics.climb_check import drag_area_from_coasting

    known: dict[str, Any] = dict(_uncertain(text) for text in options["uncertain"])
    made = Ride(mass_kg=_number(options["mass"], "--mass"), grade=_grade(grade), speed=_speed(speed),
                rolling=options["rolling"], drag_area=options["drag_area"], density=options["density"],
                head_wind=options["wind"], efficiency=options["efficiency"], gravity=options["gravity"], **known)
    if not options["coast"]:
        return made
    grade_down, coasting = options["coast"]
    found = drag_area_from_coasting(made, grade_down=abs(_grade(grade_down)), speed=_speed(coasting, "--coast"))
    return replace(made, drag_area=found.value, u_drag_area=found.standard_error)


def _parsed(text: str, option: str) -> tuple[float, str]:
    from agree.core.errors import InputError

    found = _NUMBER.fullmatch(text)
    if found is None:
        raise InputError(f"{option} {text!r} is not understood; write a number, with no unit, %, kg, m/s or km/h, "
                         "such as 80, '8%' or '16.2 km/h'")
    return float(found[1].replace(",", ".")), found[2]


def _number(text: str, option: str) -> float:
    return _parsed(text, option)[0]


def _grade(text: str) -> float:
    value, unit = _parsed(text, "--grade")
    return value / 100 if unit == "%" else value


def _speed(text: str, option: str = "--speed") -> float:
    from agree.core.errors import InputError

    value, unit = _parsed(text, option)
    if unit not in ("m/s", "km/h"):
        raise InputError(f"{option} {text!r} has no unit of speed; write '4.5 m/s' or '16.2 km/h'")
    return value / 3.6 if unit == "km/h" else value


def _uncertain(text: str) -> tuple[str, float]:
    from agree.core.errors import InputError

    name, _, value = text.partition("=")
    if name.strip() not in NAMES or not value:
        raise InputError(f"--uncertain {text!r} is not understood; write NAME=SD with one of {', '.join(NAMES)}")
    found, unit = _parsed(value, "--uncertain")
    return f"u_{NAMES[name.strip()]}", found / 100 if unit == "%" else found
