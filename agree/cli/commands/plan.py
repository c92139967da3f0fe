"""`agree plan`: what to record to settle a claim."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from agree.cli.groups import Grouped
from agree.cli.outputs import outputs_are_no_inputs
from agree.cli.terminal import edges_of, looks_of, say, written
from agree.cli.words import MEANINGS, RULES, IntervalLevel, JsonFile, Level, Words, hint

if TYPE_CHECKING:
    from agree.planning.plan import Plan
    from agree.verdict.declaration import Declaration

CHANCES = (0.8, 0.9)  # to be settled, where none is asked for


GROUPS = {
    "The question": ("claim", "meaning", "reference_uncertainty", "level", "bands", "window", "looks"),
    "Offset in W or N m": ("cadences", "offset"),
    "What is known or assumed": ("session_sd", "pilot", "minutes", "chance"),
    "A study of trials": ("trials", "subject_sd", "trial_sd", "assume"),
    "What else --declare fixes": ("splits", "rule", "loss", "faults", "exclusions"),
    "What is written": ("sheet_file", "declare_file", "force", "json_file"),
}


@click.command("plan", cls=Grouped, groups=GROUPS,
               example='agree plan --claim 1.5% --reference-uncertainty "±0.5 %" --sheet sheet.pdf')
@click.option("--claim", required=True, metavar="TEXT", help="The maker's claim, as for agree check.")
@click.option("--meaning", type=Words(MEANINGS), default="average", show_default=True,
              help="The meaning it is to be settled in.")
@click.option("--reference-uncertainty", metavar="TEXT", help="As for agree check. [default: taken as exact]")
@click.option("--session-sd", default=0.8, show_default=True, metavar="PERCENT",
              help="SD between sessions of one unit: an assumption.")
@click.option("--from", "pilot", metavar="RESULT.json",
              help="Sessions recorded already, from agree check --json; their SDs replace the assumed ones.")
@click.option("--minutes", default=60.0, show_default=True, metavar="MIN", help="Minutes of riding a session.")
@click.option("--chance", multiple=True, type=Level(), metavar="P",
              help="Wanted chance to settle it: 80% or 0.8. Repeat for each. [default: 0.8 and 0.9]")
@click.option("--power", multiple=True, type=Level(), hidden=True)
@click.option("--bands", metavar="W,W,...", help="Edges of the power bands, W. [default: 100 to 350 by 50]")
@click.option("--window", default=30, show_default=True, metavar="S", help="Averaging time of a reading, s.")
@click.option("--level", type=IntervalLevel(), default="95%", show_default=True, metavar="LEVEL",
              help="Level of the intervals: 95% or 0.95.")
@click.option("--sheet", "sheet_file", metavar="FILE",
              help="Write a sheet to print and fill in: .pdf, .html or .txt; and beside it a blank file for "
                   "agree check --about.")
@click.option("--looks", metavar="N,N,...", help="Numbers of sessions after which the data are looked at: '3,5,8'.")
@click.option("--split", "splits", multiple=True, metavar="H:MM:SS",
              help="Where in a recording the device will be adjusted, for --declare. Repeat for each.")
@click.option("--rule", type=Words(RULES), default="interval", show_default=True,
              help="Decision rule of the later check, for --declare; the numbers are for 'interval'.")
@click.option("--loss", metavar="TEXT", help="Drivetrain loss, as for agree check, for --declare.")
@click.option("--faults", multiple=True, metavar="[KIND=]HOW", help="As for agree check, for --declare.")
@click.option("--exclude", "exclusions", multiple=True, metavar="TEXT",
              help="What will be left out, in your words, for --declare: 'rides below 5 °C'. Repeat for each.")
@click.option("--cadences", metavar="RPM,RPM,...",
              help="Plan blocks of equal power at two or three cadences: they tell an offset in W from one in N m.")
@click.option("--offset", type=float, metavar="W",
              help="The offset to be told by --cadences.  [default: the claim at 100 W]")
@click.option("--declare", "declare_file", metavar="FILE",
              help="Write the question, the looks and what else is fixed with a digest, for agree check --declared.")
@click.option("--force", is_flag=True, help="Let --declare replace a declaration that is there.")
@click.option("--trials", metavar="M,M,...", help="Plan a study of trials: numbers of each subject, as 1,3,5.")
@click.option("--subject-sd", type=float, metavar="SD", help="For trials: SD of the error between subjects.")
@click.option("--trial-sd", type=float, metavar="SD", help="For trials: SD of a trial's error within a subject.")
@click.option("--assume", type=click.Choice(["nothing", "normal"]), default="nothing", show_default=True,
              help="For trials: what the later check will assume.")
@click.option("--json", "json_file", type=JsonFile(), metavar="FILE",
              help="Write the plan as JSON; - for stdout alone.")
def plan_command(**options: Any) -> None:
    """Say how many sessions, or subjects and trials, would settle a claim."""
    from agree.cli.commands.plan_of_trials import plan_trials_command, refuse_without_trials

    if options["trials"] is not None:
        plan_trials_command(options)
        return
    refuse_without_trials()
    from agree.files.writing import json_text, read_json, write_text
    from agree.planning.plan import plan
    from agree.report.sheet import write_sheet
    from agree.verdict.claim import Claim

    _needs_declaration(options)
    json_file, sheet_file, source = options["json_file"], options["sheet_file"], options["pilot"]
    outputs_are_no_inputs([], json_file, sheet_file, others={"the result of --from": source},
                          declaration=options["declare_file"], force=options["force"])
    claim = Claim.parse(options["claim"])
    limit = float(claim.percent or claim.watts or 0)
    result = plan(claim, true_error=[0.0, limit / 2, limit, 2 * limit], session_sd=options["session_sd"],
                  level=options["level"], minutes=options["minutes"],
                  reference_uncertainty=options["reference_uncertainty"],
                  power=options["chance"] or options["power"] or CHANCES, meaning=options["meaning"],
                  bands=edges_of(options["bands"]), looks=looks_of(options["looks"]), window_s=options["window"],
                  pilot=read_json(source) if source else None)
    result = _with_cadences(result, options)
    if options["power"]:
        hint("--power is --chance now")
    files = []
    if sheet_file is not None:
        write_sheet(result, sheet_file)
        files = [sheet_file, *_blank(Path(sheet_file), result.sessions or 1)]
    if options["declare_file"] is not None:
        write_text(options["declare_file"], _declared(claim.text, result.looks, options).text())
        files.append(options["declare_file"])
    if json_file == "-":
        click.echo(json_text(result))
        return
    if json_file is not None:
        write_text(json_file, json_text(result) + "\n")
        files.append(json_file)
    say(result.summary())
    if files:
        say("\n" + written(files))


def _needs_declaration(options: dict[str, Any]) -> None:
    """Refuse what a declaration alone takes where none is written."""
    from agree.core.errors import InputError

    of_it = {"splits": "--split", "loss": "--loss", "faults": "--faults", "exclusions": "--exclude"}
    for name, option in of_it.items():
        if options[name] and options["declare_file"] is None:
            raise InputError(f"{option} is declared beforehand; say where to write the declaration: --declare FILE")
    if options["rule"] != "interval" and options["declare_file"] is None:
        raise InputError("--rule is declared beforehand; say where to write the declaration: --declare FILE")


def _declared(claim: str, looks: tuple[int, ...], options: dict[str, Any]) -> Declaration:
    """Return the declaration of what is asked for, checked as a check will."""
    from agree.cli.run import faults_done
    from agree.trail.split import place_s, place_text
    from agree.verdict.declaration import Declaration
    from agree.verdict.reference import ReferenceUncertainty

    ReferenceUncertainty.parse(options["reference_uncertainty"], loss=options["loss"])
    return Declaration(
        claim=claim, meaning=options["meaning"], level=options["level"], rule=options["rule"],
        bands=tuple(edges_of(options["bands"]) or ()), looks=looks, exclusions=tuple(options["exclusions"]),
        splits=tuple(place_text(place_s(text)) for text in options["splits"]), window_s=options["window"],
        reference_uncertainty=options["reference_uncertainty"] or "", loss=options["loss"] or "",
        faults=faults_done(options))


def _with_cadences(result: Plan, options: dict[str, Any]) -> Plan:
    """Add the blocks of equal power, if they are asked for."""
    from dataclasses import replace

    from agree.core.errors import InputError
    from agree.planning.cadence import cadence_protocol

    if options["cadences"] is None:
        if options["offset"] is not None:
            raise InputError("--offset goes with --cadences 60,100")
        return result
    try:
        cadences = [float(part) for part in options["cadences"].split(",")]
    except ValueError:
        raise InputError(f"--cadences {options['cadences']!r} is not understood; write it like 60,100") from None
    power = 100.0
    to_watts = 1.0 if result.unit == "W" else power / 100
    session = 1 if result.meaning != "bands" else len(result.bands) - 1
    long_run = result.within * math.sqrt(60 * result.minutes / session) * to_watts
    return replace(result, cadence=cadence_protocol(
        result.limit * to_watts if options["offset"] is None else options["offset"], long_run_W=long_run,
        cadences_rpm=cadences, power_W=power, level=result.level))


def _blank(sheet: Path, sessions: int) -> list[str]:
    """Write the blank file for --about beside the sheet; one that may be filled in already is left alone."""
    from agree.files.writing import write_text
    from agree.report.about import blank_about

    place = sheet.with_name(f"{sheet.stem}-about.toml")
    if place.exists():
        return []
    write_text(place, blank_about(sessions))
    return [str(place)]
