"""`agree static`: a device's torque under hung masses."""

from __future__ import annotations

from typing import Any

import click

from agree.cli.terminal import outputs_are_no_inputs


@click.command("static")
@click.argument("masses", metavar="MASSES.csv")
@click.option("--crank-length", required=True, metavar="LENGTH",
              help="From the axle to where the masses hang: '172.5 mm'.")
@click.option("--claim", metavar="TEXT", help="The maker's claim, judged on torque: '1.5%' or '0.5 Nm'.")
@click.option("--gravity", type=float, metavar="M/S2", help="Local gravity.  [default: 9.80665]")
@click.option("--latitude", type=float, metavar="DEG", help="Compute gravity from the latitude (WGS 84) instead.")
@click.option("--height", type=float, default=0.0, metavar="M", help="Height for --latitude.")
@click.option("--length-uncertainty", type=float, default=0.25, show_default=True, metavar="MM",
              help="Standard uncertainty of the crank length.")
@click.option("--mass-uncertainty", type=float, default=0.005, show_default=True, metavar="KG",
              help="Standard uncertainty of each mass by itself.")
@click.option("--scale-uncertainty", type=float, default=0.05, show_default=True, metavar="PERCENT",
              help="Standard uncertainty of the scale that weighed them, per cent.")
@click.option("--angle-uncertainty", type=float, default=1.0, show_default=True, metavar="DEG",
              help="Standard uncertainty of the crank's angle at each hang.")
@click.option("--level", default="0.95", show_default=True, metavar="LEVEL", help="Of the intervals: 0.95 or 95%.")
@click.option("--json", "json_file", metavar="FILE", help="Write the results as JSON; - for stdout alone.")
def static(masses: str, **options: Any) -> None:
    """Compare a device's torque with that of hung masses.

    MASSES.csv has a row for each hang: mass_kg, reading_Nm, and if you like side, angle_deg (from the horizontal) and
    direction (up or down). Hooks and straps count as mass.

    Example: agree static masses.csv --crank-length "172.5 mm" --claim 1.5%
    """
    from agree.core.errors import InputError
    from agree.files.tables.hung_masses import read_hung_masses
    from agree.files.writing import json_text, write_text
    from agree.physics.gravity import ANOMALY, STANDARD_GRAVITY, local_gravity
    from agree.physics.static_check import static_check
    from agree.physics.torque import HungMass, length_mm

    if options["gravity"] is not None and options["latitude"] is not None:
        raise InputError("give either --gravity or --latitude")
    outputs_are_no_inputs([(masses,)], options["json_file"])
    known = options["latitude"] is not None
    gravity = local_gravity(options["latitude"], options["height"]) if known else options["gravity"] or STANDARD_GRAVITY
    data = read_hung_masses(masses)
    hang = HungMass(crank_length_mm=length_mm(options["crank_length"]), gravity=gravity,
                    u_gravity=ANOMALY if known or options["gravity"] is not None else 0.015,
                    u_length_mm=options["length_uncertainty"], u_mass_kg=options["mass_uncertainty"],
                    u_mass_percent=options["scale_uncertainty"], u_angle_deg=options["angle_uncertainty"])
    result = static_check(data.mass_kg, data.reading_Nm, hang=hang, side=data.side, direction=data.direction,
                          angle_deg=0.0 if data.angle_deg is None else data.angle_deg, claim=options["claim"],
                          level=level_of(options["level"]))
    if options["json_file"] == "-":
        click.echo(json_text(result))
        return
    click.echo(result.summary())
    if options["json_file"] is not None:
        write_text(options["json_file"], json_text(result) + "\n")
        click.echo(f"Written: {options['json_file']}")


def level_of(text: str) -> float:
    """Read a level such as 0.95 or 95%."""
    from agree.core.errors import InputError

    try:
        return float(text.rstrip("% ")) / (100 if "%" in text else 1)
    except ValueError:
        raise InputError(f"--level {text!r} is not understood; write 0.95 or 95%") from None
