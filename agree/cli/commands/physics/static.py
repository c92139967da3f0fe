"""`agree static`: a device's torque under hung masses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from agree.cli.answers import OUTPUTS, answer_options, hand_over
from agree.cli.groups import Grouped
from agree.cli.outputs import outputs_are_no_inputs
from agree.cli.terminal import say, written
from agree.cli.words import IntervalLevel

if TYPE_CHECKING:
    from agree.physics.static_check import StaticCheck
    from agree.physics.torque import HungMass

GROUPS = {
    "The question": ("claim", "crank_length", "step", "beside", "level"),
    "Gravity and what is uncertain": ("gravity", "latitude", "height", "length_uncertainty", "mass_uncertainty",
                                      "scale_uncertainty", "angle_uncertainty"),
    "A sheet for the next check": ("sheet_file", "masses_kg", "reading_sd"),
    "What is written": OUTPUTS,
}
EXAMPLE = """agree static masses.csv --crank-length "172.5 mm" --claim 1.5%
agree static --sheet sheet.pdf --crank-length "172.5 mm" --claim 1.5%"""


@click.command("static", cls=Grouped, groups=GROUPS, example=EXAMPLE)
@click.argument("masses", required=False, metavar="[MASSES.csv]")
@click.option("--crank-length", required=True, metavar="LENGTH",
              help="From the axle to where the masses hang: '172.5 mm'.")
@click.option("--claim", metavar="TEXT", help="The maker's claim, judged on torque: '1.5%' or '0.5 Nm'.")
@click.option("--gravity", type=float, metavar="M/S2", help="Local gravity.  [default: 9.80665]")
@click.option("--latitude", type=float, metavar="DEG", help="Compute gravity from the latitude (WGS 84) instead.")
@click.option("--height", type=float, metavar="M", help="Height for --latitude.  [default: 0]")
@click.option("--length-uncertainty", type=float, default=0.25, show_default=True, metavar="MM",
              help="Standard uncertainty of the crank length.")
@click.option("--mass-uncertainty", type=float, default=0.005, show_default=True, metavar="KG",
              help="Standard uncertainty of each mass by itself.")
@click.option("--scale-uncertainty", type=float, default=0.05, show_default=True, metavar="PERCENT",
              help="Standard uncertainty of the scale that weighed them, per cent.")
@click.option("--angle-uncertainty", type=float, default=1.0, show_default=True, metavar="DEG",
              help="Standard uncertainty of the crank's angle at each hang.")
@click.option("--level", type=IntervalLevel(), default="95%", show_default=True, metavar="LEVEL",
              help="Level of the intervals: 95% or 0.95.")
@click.option("--step", type=float, default=0.01, show_default=True, metavar="PERCENT",
              help="Step in which the device takes a factor.")
@click.option("--beside", metavar="RESULT.json",
              help="Rides of the same device, from agree check --json: do they agree?")
@click.option("--sheet", "sheet_file", metavar="FILE",
              help="Write a sheet to print that says which masses settle the claim: .pdf, .html or .txt.")
@click.option("--masses", "masses_kg", metavar="KG,KG,...",
              help="Masses at hand, for --sheet.  [default: 0 to 25 by 5]")
@click.option("--reading-sd", type=float, default=0.1, show_default=True, metavar="NM",
              help="SD of one reading of the device, for --sheet.")
@answer_options
def static(masses: str | None, **options: Any) -> None:
    """Compare a device's torque with that of hung masses, or write the sheet for it.

    MASSES.csv has a row for each hang: mass_kg, reading_Nm, and if you like side, angle_deg (from the horizontal) and
    direction (up or down). Hooks and straps count as mass.
    """
    from agree.cli.deliver import outputs_of
    from agree.core.errors import InputError

    if masses is None and options["sheet_file"] is None:
        raise click.UsageError("give MASSES.csv, or --sheet FILE for a sheet to fill in")
    if masses is not None and options["sheet_file"] is not None:
        raise InputError("--sheet is for the next check; leave MASSES.csv out")
    if options["height"] is not None and options["latitude"] is None:
        raise InputError("--height goes with --latitude DEG, from which gravity is computed; give both, or --gravity")
    json_file, pages = outputs_of(options["json_file"], options["page_files"], options["others"])
    outputs_are_no_inputs([], json_file, options["sheet_file"], *pages,
                          others={"the table of masses": masses, "the result of --beside": options["beside"]})
    hang = _hang(options)
    if masses is None:
        if pages:
            raise InputError(f"{pages[0]}: a page shows a check; give MASSES.csv for it, or --sheet alone")
        _write_sheet(hang, options, json_file)
        return
    _deliver(_checked(masses, hang, options), masses, options, json_file, pages)


def _deliver(result: StaticCheck, masses: str, options: dict[str, Any], json_file: str | None,
             pages: tuple[str, ...]) -> None:
    import json
    from hashlib import sha256
    from pathlib import Path

    from agree.cli.terminal import width
    from agree.files.writing import read_json
    from agree.physics.static_beside import beside_rides
    from agree.report.texts.static_text import static_text

    beside = None if options["beside"] is None else beside_rides(result, read_json(options["beside"]))
    more = {} if beside is None else {"beside_rides": beside.to_dict()}
    stored = json.dumps(result.to_dict() | more, indent=1, ensure_ascii=False, allow_nan=False)
    source = f"{Path(masses).name}, SHA-256 {sha256(Path(masses).read_bytes()).hexdigest()[:12]}"

    def draw(name: str) -> None:
        from agree.report.static_page import write_static_page

        write_static_page(result, name, beside=beside, source=source)

    text = static_text(result, beside, width=width(), details=options["details"])
    hand_over(json_file, pages, stored=stored, text=text, draw=draw)


def _hang(options: dict[str, Any]) -> HungMass:
    from agree.core.errors import InputError
    from agree.physics.gravity import ANOMALY, STANDARD_GRAVITY, local_gravity
    from agree.physics.torque import HungMass, length_mm

    if options["gravity"] is not None and options["latitude"] is not None:
        raise InputError("give either --gravity or --latitude")
    known = options["latitude"] is not None
    gravity = (local_gravity(options["latitude"], options["height"] or 0.0) if known
               else options["gravity"] or STANDARD_GRAVITY)
    return HungMass(crank_length_mm=length_mm(options["crank_length"]), gravity=gravity,
                    u_gravity=ANOMALY if known or options["gravity"] is not None else 0.015,
                    u_length_mm=options["length_uncertainty"], u_mass_kg=options["mass_uncertainty"],
                    u_mass_percent=options["scale_uncertainty"], u_angle_deg=options["angle_uncertainty"])


def _checked(masses: str, hang: HungMass, options: dict[str, Any]) -> StaticCheck:
    from agree.files.tables.hung_masses import read_hung_masses
    from agree.physics.static_check import static_check

    data = read_hung_masses(masses)
    return static_check(data.mass_kg, data.reading_Nm, hang=hang, side=data.side, direction=data.direction,
                        angle_deg=0.0 if data.angle_deg is None else data.angle_deg, claim=options["claim"],
                        step=options["step"], level=options["level"])


def _write_sheet(hang: HungMass, options: dict[str, Any], json_file: str | None) -> None:
    from agree.cli.terminal import width
    from agree.core.errors import InputError
    from agree.files.writing import json_text, write_text
    from agree.physics.static_plan import plan_static
    from agree.report.static_sheet import write_static_sheet
    from agree.report.texts.static_plan_text import static_plan_text

    if options["claim"] is None:
        raise InputError("--sheet needs the claim that the masses are to settle: --claim 1.5%")
    try:
        own = None if options["masses_kg"] is None else [float(part) for part in options["masses_kg"].split(",")]
    except ValueError:
        raise InputError(f"--masses {options['masses_kg']!r} is not understood; write it like 0,5,10,20") from None
    made = plan_static(options["claim"], hang=hang, masses_kg=own, reading_sd_Nm=options["reading_sd"],
                       level=options["level"])
    write_static_sheet(made, options["sheet_file"])
    if json_file == "-":
        click.echo(json_text(made))
        return
    say(static_plan_text(made, width=width()))
    if json_file is not None:
        write_text(json_file, json_text(made) + "\n")
    say(written([options["sheet_file"], *([json_file] if json_file else [])]))
