"""`agree study`: many pairs, from their list to tables."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from agree.cli.groups import Grouped
from agree.cli.outputs import outputs_are_no_inputs
from agree.cli.progress import progress
from agree.cli.terminal import say, written
from agree.cli.words import IntervalLevel, Level

if TYPE_CHECKING:
    from agree.study.running import Study


NOTHING_CHECKED = 2  # the exit status where not one pair could be checked
GROUPS = {
    "The question": ("claim", "meaning", "reference_uncertainty", "level", "quantity", "by"),
    "Statistics over units": ("device", "condition", "athlete", "assume_units"),
    "How it runs": ("workers", "retry", "dry_run", "quiet"),
    "What is written": ("out", "tables", "pages")}


@click.group("study")
def study() -> None:
    """Check many pairs: units, sessions, athletes and conditions.

    Example: agree study list rides > rides/study.csv, look at it, then
    agree study check rides/study.csv --claim 1.5% --out results
    """


@study.command("list", cls=Grouped, example="agree study list rides > rides/study.csv")
@click.argument("folder", metavar="FOLDER")
@click.option("--pattern", metavar="TEXT",
              help="Named parts of the files' names: '{athlete}-{condition}-{session}-{unit}-{role}'.")
@click.option("--reference-word", "word", metavar="WORD",
              help="One more word that names the reference's files or folder.")
def list_command(folder: str, pattern: str | None, word: str | None) -> None:
    """Print the list of pairs that a folder holds, as CSV.

    Files are a pair if their names differ in one word such as ref and dev, or, where names do not tell, if they were
    recorded at the same time. What belongs to no pair is named on stderr.
    """
    from agree.study.finding import find_pairs
    from agree.study.listing import list_text

    found = find_pairs(folder, pattern, reference_word=word)
    say(list_text(found.rows), nl=False)
    left = [item for item in found.leftovers if not _is_stdout(Path(folder) / item[0])]
    for name, why in left:
        say(f"left over: {name}: {why}", err=True)
    beside = {Path(row.reference).parent for row in found.rows}
    if not pattern and any(Path(name).parent in beside and why.startswith("no word") for name, why in left):
        say("Files beside a pair may be other devices: with --pattern, such as '{athlete}/{condition}/{role}', "
                   "each name that is no reference is a unit.", err=True)
    units = len({row.unit for row in found.rows})
    alike = units - len({row.unit.casefold() for row in found.rows})
    if alike:
        say(f"{_count(alike, 'unit')} of the same name but for capitals: one unit has one name.", err=True)
    counts = ", ".join([_count(len(found.rows), "pair"), _count(units, "unit"), _count(len(left), "file")])
    say(f"{counts} left over. Paths are relative to "
               "the folder: save the list there.", err=True)


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _is_stdout(path: Path) -> bool:
    """Whether a file is where the list itself goes, opened by the shell before the folder was searched."""
    try:
        return os.path.samestat(os.fstat(sys.stdout.fileno()), path.stat())
    except (OSError, ValueError):  # a stdout that is no file
        return False


@study.command("check", cls=Grouped, groups=GROUPS, example="agree study check study.csv --claim 1.5% --out results")
@click.argument("list_file", metavar="LIST")
@click.option("--claim", required=True, metavar="TEXT", help="The maker's claim, for rows without one of their own.")
@click.option("--out", required=True, metavar="FOLDER",
              help="Where tables and finished pairs go; a second run goes on there.")
@click.option("--reference-uncertainty", metavar="TEXT", help="What is known of the reference: '±1 %', '1 % k=2'.")
@click.option("--meaning", default="average", show_default=True, metavar="MEANING",
              help="As for agree check or agree trials.")
@click.option("--level", type=IntervalLevel(), default="95%", show_default=True, metavar="LEVEL",
              help="Level of the intervals: 95% or 0.95.")
@click.option("--quantity", metavar="NAME",
              help="What was recorded, for rows without one of their own.  [default: power]")
@click.option("--by", metavar="COLUMNS", help="Files are tables of trials, told apart by these columns: subject,trial.")
@click.option("--table", "tables", multiple=True, metavar="FILE",
              help="Write devices by conditions: .csv, .md, .tex or .html; may be repeated.")
@click.option("--device", metavar="COLUMN", help="The devices of the table.  [default: model, or unit]")
@click.option("--condition", metavar="COLUMN", help="Its conditions.  [default: condition, if there]")
@click.option("--athlete", metavar="COLUMN", help="Who its intervals count.  [default: athlete, if there]")
@click.option("--assume-units", type=click.Choice(["nothing", "normal"]), default="nothing",
              help="Take the units' true errors for normal in the statistics over them.")
@click.option("--page", "pages", multiple=True, metavar="FILE",
              help="Write one A4 page (.pdf, .svg, .png) or a report (.html): devices by conditions, or units sorted.")
@click.option("--workers", type=int, metavar="N", help="Processes.  [default: one a core]")
@click.option("--retry", is_flag=True, help="Try pairs again that ended in an error.")
@click.option("--dry-run", is_flag=True, help="Say what would be done, and do nothing.")
@click.option("--quiet", is_flag=True, help="Print nothing but errors.")
def check_command(list_file: str, **options: Any) -> None:
    """Check every pair and every unit of a list.

    Writes pairs.csv, units.csv and results.jsonl into FOLDER. A run that was interrupted goes on where it was.
    """
    from agree.study import intended, run

    _suffixes_are_known(options["tables"], options["pages"])
    _nothing_is_written_over(list_file, options)
    asked: dict[str, Any] = {"meaning": options["meaning"].replace("-", "_"), "level": options["level"]}
    asked |= {name: options[name] for name in ("reference_uncertainty", "quantity", "by") if options[name]}
    if options["dry_run"]:
        plan = intended(list_file, options["claim"], out=options["out"], retry=options["retry"], **asked)
        say(f"{_count(plan.to_check, 'pair')} to check, {plan.done} found done, {_count(plan.errors, 'row')} "
                   f"with an error, {plan.repeats} given twice; {_count(plan.units, 'unit')}. Nothing was done.")
        return
    with progress("checking pairs") as state:
        def show(done: int, total: int) -> None:
            state.done, state.steps = done, total

        made = run(list_file, options["claim"], out=options["out"], workers=options["workers"], retry=options["retry"],
                   progress=show, assume_units=options["assume_units"], athlete=options["athlete"], **asked)
    files = _tables(made, options)
    if not options["quiet"]:
        say(made.summary())
        say(written([options["out"] + "/pairs.csv", "units.csv", "results.jsonl", *files]))
    if made.failed:
        sys.stderr.write(f"agree: {made.failed} of {len(made.pairs)} pairs could not be checked; see the column error "
                         "of pairs.csv\n")
    if made.failed == len(made.pairs):
        sys.exit(NOTHING_CHECKED)


def _nothing_is_written_over(list_file: str, options: dict[str, Any]) -> None:
    """Refuse tables and pages in the place of the list, of a recording it names, or of a file of others."""
    from agree.study.listing import read_list

    rows, folder = read_list(list_file)
    tables = [str(Path(options["out"], name)) for name in ("pairs.csv", "units.csv", "results.jsonl")]
    outputs_are_no_inputs([tuple(str(folder / name) for name in (row.reference, row.device) if name) for row in rows],
                          *options["pages"], others={"the list": list_file}, own_forms=(*tables, *options["tables"]))


def _suffixes_are_known(tables: tuple[str, ...], pages: tuple[str, ...]) -> None:
    """Refuse a file name before hours of work, not after."""
    from agree.report.answer_file import SUFFIXES as PAGES
    from agree.report.studies.table_forms import SUFFIXES
    from agree.report.suffix import suffix_of

    for name in tables:
        suffix_of(name, "table", SUFFIXES)
    for name in pages:
        suffix_of(name, "page", PAGES)


def _tables(made: Study, options: dict[str, Any]) -> list[str]:
    """Write tables and pages; return their names."""
    from agree.report.studies.pages import write_study_page
    from agree.report.studies.table_forms import write_table
    from agree.study.statistics.table import study_table

    files = [*options["tables"], *options["pages"]]
    if files:
        table = study_table(made, **{name: options[name] for name in ("device", "condition", "athlete")})
        for name in options["tables"]:
            write_table(table, name)
        for name in options["pages"]:
            write_study_page(made, name, table=table)
    return files


@study.command("unit", cls=Grouped, example="agree study unit study.csv unit17 --claim 1.5% --page unit17.pdf")
@click.argument("list_file", metavar="LIST")
@click.argument("unit", metavar="UNIT")
@click.option("--claim", required=True, metavar="TEXT", help="The maker's claim, for rows without one of their own.")
@click.option("--reference-uncertainty", metavar="TEXT", help="As for study check.")
@click.option("--meaning", default="average", show_default=True, metavar="MEANING", help="As for study check.")
@click.option("--level", type=IntervalLevel(), default="95%", metavar="LEVEL", help="As for study check.")
@click.option("--quantity", metavar="NAME", help="As for study check.")
@click.option("--by", metavar="COLUMNS", help="As for study check.")
@click.option("--athlete", metavar="COLUMN", help="As for study check.")
@click.option("--page", "pages", multiple=True, metavar="FILE", help="Write its page: .pdf, .png, .svg or .html.")
def unit_command(list_file: str, unit: str, **options: Any) -> None:
    """Check one unit of a list over its sessions, as agree check does, and write its page."""
    from agree.assessment.claim_check import ClaimCheck
    from agree.report.other_page import write_other_page
    from agree.report.pages import write_page
    from agree.study import check_unit

    outputs_are_no_inputs([], *options["pages"], others={"the list": list_file})
    asked = {name: options[name] for name in ("reference_uncertainty", "quantity", "by") if options[name]}
    with progress("checking the unit"):
        made = check_unit(list_file, unit, options["claim"], meaning=options["meaning"].replace("-", "_"),
                          level=options["level"], athlete=options["athlete"], **asked)
    for name in options["pages"]:
        if isinstance(made, ClaimCheck):
            write_page(made, name)
        else:
            write_other_page(made, name)
    say(made.summary())
    if options["pages"]:
        say(written(options["pages"]))


@study.command("plan", cls=Grouped,
               example="agree study plan --claim 1.5% --athlete-sd 0.5 --session-sd 0.5 --difference 1")
@click.option("--claim", required=True, metavar="TEXT", help="The maker's claim, in per cent.")
@click.option("--athlete-sd", type=float, metavar="PERCENT", help="SD of a device's error between athletes.")
@click.option("--unit-sd", type=float, metavar="PERCENT", help="SD of the error between units.")
@click.option("--session-sd", type=float, default=0.8, show_default=True, metavar="PERCENT",
              help="SD of the error between sessions.")
@click.option("--difference", type=float, metavar="PERCENT", help="Difference of devices or conditions to be found.")
@click.option("--reference-uncertainty", metavar="TEXT", help="As for study check.")
@click.option("--chance", type=Level(), default="80%", show_default=True, metavar="P",
              help="Wanted chance: 80% or 0.8.")
def plan_study_command(**options: Any) -> None:
    """Say how many athletes, units and sessions a study needs."""
    from agree.study.planning import plan_study

    say(plan_study(options.pop("claim"), **options).summary())
