"""`agree trials`: a claim on a table of trials."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from agree.cli.groups import Grouped
from agree.cli.outputs import outputs_are_no_inputs
from agree.cli.progress import progress
from agree.cli.terminal import say
from agree.cli.words import IntervalLevel, JsonFile, Words

if TYPE_CHECKING:
    from agree.core.results.result import Result

NOT_HOLDING, WIDEST = 1, 80
MEANINGS = {"average": "average", "levels": "levels", "readings": "readings", "next-subject": "next_subject",
            "mean-absolute": "mean_absolute"}
# Arguments of the library as a user of the command knows them.
OPTIONS = {"`by`": "--by", "`reference_column`": "--reference", "`device_column`": "--device", "`claim`": "claim",
           "`unit`": "--unit", "`mean_of`": "--mean-of", "`reference_uncertainty`": "--reference-uncertainty",
           "`subject_sd`": "--subject-sd", "`trial_sd`": "--trial-sd", "`trials`": "--trials", "`window_s`": "--window",
           "`lag_s`": "--lag", "`level`": "--level", "`delay`": "--delay", "`unpaired`": "--unpaired"}

GROUPS = {
    "The question": ("claim", "meaning", "mean_of", "assume", "level", "reference_uncertainty"),
    "The table": ("by", "reference", "device", "unpaired", "quantity", "unit"),
    "What is written": ("json_file", "page_files", "others", "require_holds")}
EXAMPLE = """agree trials jumps.csv --reference plate_cm --device mat_cm --claim "2 cm"
agree trials plate.csv mat.csv --by subject,trial --claim 5%"""


def in_options(message: str) -> str:
    """Return a message of the library with its arguments named as options."""
    for argument, option in OPTIONS.items():
        message = message.replace(argument, option)
    return message


def deliver(result: Result, json_file: str | None, *, brief: bool = False,
            text: Callable[..., str] | None = None) -> None:
    """Print text (`brief`: the answer alone), or JSON; write JSON into a file. `text` takes the result and a width."""
    from agree.cli.terminal import width
    from agree.files.writing import json_text, write_text

    if json_file == "-":
        click.echo(json_text(result))
        return
    if json_file is not None:
        write_text(json_file, json_text(result) + "\n")
    told = result.summary() if text is None else text(result, width=min(width(), WIDEST) - 1)
    say(told.split("\n\n")[0] if brief else told)


@click.command("trials", cls=Grouped, groups=GROUPS, example=EXAMPLE)
@click.argument("table", metavar="TABLE")
@click.argument("other", required=False, metavar="[TABLE]")
@click.option("--claim", required=True, metavar="TEXT", help="'2 cm', '5 %' or '10 % or 5 bpm' (the larger counts).")
@click.option("--by", default="subject,trial", show_default=True, metavar="COLUMNS",
              help="The subject's column, then those that tell its trials apart.")
@click.option("--reference", "reference", metavar="COLUMN",
              help="Column of the reference; several after commas are trials side by side.")
@click.option("--device", "device", metavar="COLUMN", help="The same for the device.")
@click.option("--meaning", type=Words(MEANINGS), default="average", show_default=True,
              help="The meaning the verdict is given in, chosen beforehand.")
@click.option("--mean-of", default=1, show_default=True, metavar="M",
              help="Trials that are averaged for a subject, for next-subject.")
@click.option("--assume", type=click.Choice(["nothing", "normal"]), default="nothing", show_default=True,
              help="Count single trials, or take errors for normal; chosen beforehand.")
@click.option("--unpaired", is_flag=True, help="The two methods' trials are not the same trials; subjects are joined.")
@click.option("--quantity", metavar="NAME", help="What is measured: 'heart rate'.  [default: told by the columns]")
@click.option("--unit", metavar="UNIT", help="Unit of columns that name none.")
@click.option("--reference-uncertainty", metavar="TEXT",
              help="What is known of the reference: '±0.5 cm', '1 % k=2'.  [default: taken as exact]")
@click.option("--level", type=IntervalLevel(), default="95%", show_default=True, metavar="LEVEL",
              help="Level of the intervals: 95% or 0.95.")
@click.option("--json", "json_file", type=JsonFile(), metavar="FILE",
              help="Write the results as JSON; - for stdout alone.")
@click.option("--page", "page_files", multiple=True, metavar="FILE",
              help="Write one A4 page: .pdf, .png, .svg or .html. Repeat for each.")
@click.option("-o", "--output", "others", multiple=True, metavar="FILE",
              help="Write a file of the kind its suffix says: .json, .pdf, .png, .svg, .html. Repeat for each.")
@click.option("--require-holds", is_flag=True, help="Exit with status 1 unless the claim holds.")
def trials_command(table: str, other: str | None, **options: Any) -> None:
    """Check a claim on a table with a row for each trial, or on two, joined by key."""
    from agree.cli.deliver import outputs_of
    from agree.core.errors import InputError
    from agree.trials.check import check_trials
    from agree.trials.pair import pair_trials
    from agree.verdict.claim import Claim

    json_file, pages = outputs_of(options["json_file"], options["page_files"], options["others"])
    outputs_are_no_inputs([(table, other)], json_file, *pages)
    try:
        claim = Claim.parse(options["claim"])
        with progress("joining the trials"):
            paired = pair_trials(
                table, other, by=options["by"], reference_column=options["reference"], device_column=options["device"],
                quantity=options["quantity"], unit=options["unit"], unpaired=options["unpaired"],
                claim_unit=claim.absolute_unit)
            result = check_trials(
                paired, claim, meaning=options["meaning"], mean_of=options["mean_of"],
                assume=options["assume"], reference_uncertainty=options["reference_uncertainty"],
                level=options["level"])
    except InputError as error:
        raise type(error)(in_options(str(error))) from None
    for page in pages:
        from agree.report.other_page import write_other_page

        with progress(f"drawing {page}"):
            write_other_page(result, page)
    from agree.report.texts.trials_text import check_text

    deliver(result, json_file, text=check_text)
    if options["require_holds"] and result.verdict != "holds":
        sys.exit(NOT_HOLDING)
