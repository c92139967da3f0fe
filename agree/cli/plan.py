"""`agree plan`: what to record to settle a claim."""

from __future__ import annotations

from typing import Any

import click

from agree.cli.terminal import edges_of, outputs_are_no_inputs


@click.command("plan")
@click.option("--claim", required=True, metavar="TEXT", help="The maker's claim, as for agree check.")
@click.option("--meaning", type=click.Choice(["average", "bands", "next_session"]), default="average",
              show_default=True, help="The meaning it is to be settled in.")
@click.option("--reference-uncertainty", metavar="TEXT", help="As for agree check. [default: taken as exact]")
@click.option("--session-sd", default=0.8, show_default=True, metavar="PERCENT",
              help="SD between sessions of one unit: an assumption.")
@click.option("--from", "pilot", metavar="RESULT.json",
              help="Sessions recorded already, from agree check --json; their SDs replace the assumed ones.")
@click.option("--minutes", default=60.0, show_default=True, metavar="MIN", help="Minutes of riding a session.")
@click.option("--power", multiple=True, type=float, default=(0.8, 0.9), metavar="P",
              help="Wanted chance to settle it, a fraction. Repeat for each. [default: 0.8 and 0.9]")
@click.option("--bands", metavar="W,W,...", help="Edges of the power bands, W. [default: 100 to 350 by 50]")
@click.option("--level", default=0.95, show_default=True, help="Confidence level, a fraction.")
@click.option("--sheet", "sheet_file", metavar="FILE", help="Write a sheet to print and fill in: .pdf, .html or .txt.")
@click.option("--json", "json_file", metavar="FILE", help="Write the plan as JSON; - for stdout alone.")
def plan_command(**options: Any) -> None:
    """Say how many sessions would settle a claim."""
    from agree.planning.plan import plan
    from agree.report.sheet import write_sheet
    from agree.report.write import json_text, read_json, write_text
    from agree.verdict.claim import Claim

    json_file, sheet_file, source = options["json_file"], options["sheet_file"], options["pilot"]
    outputs_are_no_inputs([(source,)] if source else [], json_file, sheet_file)
    claim = Claim.parse(options["claim"])
    limit = float(claim.percent or claim.watts or 0)
    result = plan(claim, true_error=[0.0, limit / 2, limit], session_sd=options["session_sd"], level=options["level"],
                  minutes=options["minutes"], reference_uncertainty=options["reference_uncertainty"],
                  power=options["power"], meaning=options["meaning"], bands=edges_of(options["bands"]),
                  pilot=read_json(source) if source else None)
    if sheet_file is not None:
        write_sheet(result, sheet_file)
    if json_file not in (None, "-"):
        write_text(json_file, json_text(result) + "\n")
    click.echo(json_text(result) if json_file == "-" else result.summary())
