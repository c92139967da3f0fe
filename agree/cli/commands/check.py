"""`agree check`: a claim on recordings of one or more sessions."""

from __future__ import annotations

import sys
from typing import Any

import click

from agree.cli.deliver import Outputs, deliver, outputs_of
from agree.cli.groups import Grouped
from agree.cli.outputs import outputs_are_no_inputs
from agree.cli.progress import be_quiet
from agree.cli.run import checked, paired
from agree.cli.session_list import SessionFiles, from_place
from agree.cli.words import MEANINGS, RULES, IntervalLevel, JsonFile, Words, hint

NOT_HOLDING = 1
GROUPS = {
    "The question": ("claim", "quantity", "meaning", "reference_uncertainty", "loss", "rule", "level", "bands",
                     "window", "side"),
    "Sessions": ("sessions", "session_list", "state", "splits", "looks", "declared_file"),
    "Reading and matching": ("reference_column", "device_column", "reference_read", "device_read", "max_lag", "lag",
                             "delay", "faults"),
    "What is printed and written": ("details", "quiet", "efforts", "page_files", "figures", "json_file", "schema",
                                    "others",
                                    "about_file", "show", "require_holds"),
}
EXAMPLE = """agree check reference.csv device.fit --claim 1.5% --reference-uncertainty "±1 %" -o page.pdf
agree check --sessions sessions.csv --claim 1.5% --details"""


@click.command(cls=Grouped, groups=GROUPS, example=EXAMPLE)
@click.argument("reference", required=False, metavar="[REFERENCE]")
@click.argument("device", required=False, metavar="[DEVICE]")
@click.option("--claim", required=True, metavar="TEXT",
              help="The maker's claim: '1.5%', '2 W' or '1.5 % or 2 W above 100 W' (the larger counts).")
@click.option("--meaning", type=Words({**MEANINGS, "mean-absolute": "mean_absolute"}), default="average",
              show_default=True, help="Which question the answer is given to; mean-absolute for --quantity alone.")
@click.option("--reference-uncertainty", metavar="TEXT",
              help="What is known of the reference: '±1 %', '1 % k=2', '2 W'. [default: taken as exact]")
@click.option("--loss", metavar="TEXT", help="Drivetrain loss between reference and device: '2.5 ± 1 %'.")
@click.option("--rule", type=Words(RULES), default="interval", show_default=True,
              help="Decision rule, chosen before the data are seen.")
@click.option("--level", type=IntervalLevel(), default="95%", show_default=True, metavar="LEVEL",
              help="Level of the intervals: 95% or 0.95.")
@click.option("--bands", metavar="W,W,...", help="Edges of the power bands, W.")
@click.option("--window", default=30, show_default=True, metavar="S", help="Averaging time of a reading, s.")
@click.option("--session", "sessions", nargs=2, multiple=True, metavar="REF DEV",
              help="A further session: its two files. Repeat for each.")
@click.option("--sessions", "session_list", metavar="LIST.csv",
              help="All sessions: a list with the columns reference, device (and session, state, expected), or a "
                   "folder.")
@click.option("--state", metavar="LABEL",
              help="Judge the sessions in this state of the list's column state.  [default: the last]")
@click.option("--split", "splits", multiple=True, metavar="H:MM:SS",
              help="Judge one recording from this place on, where the device was adjusted, and say what changed there; "
                   "declare the place beforehand (agree plan --declare). Repeat for each.")
@click.option("--side", type=click.Choice(["left", "right"]),
              help="The device senses this side and doubles it: judge it against twice the reference's own side too.")
@click.option("--reference-column", metavar="NAME", help="Power column of the reference, if not found by name.")
@click.option("--device-column", metavar="NAME", help="Power column of the device, if not found by name.")
@click.option("--reference-read", multiple=True, metavar="KEY=VALUE",
              help="How to read the reference, where agree look shows it is misread: power, time, cadence, speed = a "
                   "column; delimiter, decimal, dates, zone. Repeat for each.")
@click.option("--device-read", multiple=True, metavar="KEY=VALUE", help="The same for the device.")
@click.option("--quantity", metavar="NAME",
              help="What is measured, if not power: 'heart rate', speed, pace, cadence, torque, balance, 'oxygen "
                   "uptake', 'core temperature'.")
@click.option("--delay", type=click.Choice(["device", "clock", "unknown"]),
              help="Whose a delay is, for --quantity. [default: told by the quantity and the stamps]")
@click.option("--max-lag", type=float, metavar="S", help="Largest difference of the clocks to search, s.")
@click.option("--lag", type=float, metavar="S", help="Force the lag: device minus reference timestamp, s.")
@click.option("--faults", multiple=True, metavar="[KIND=]HOW",
              help="What to do with faulty seconds, of one kind or all: set-aside, report (used, but listed) or "
                   "keep (used, not looked for). Steps of the zero and warm-ups are set aside only by "
                   "name. [default: set-aside]")
@click.option("--schema", type=click.Choice(["1", "2"]), default="1", show_default=True,
              help="Version of the JSON of power; other quantities have 2. See agree schema.")
@click.option("--details", is_flag=True, help="Print every figure after the first screen.")
@click.option("-q", "--quiet", is_flag=True, help="Print the answer and what changes it alone, and no progress.")
@click.option("--efforts", is_flag=True, help="Print best efforts too, from 1 s to 60 min.")
@click.option("--page", "page_files", multiple=True, metavar="FILE",
              help="Write one A4 page: .pdf, .png, .svg or .html. Repeat for each.")
@click.option("--figure", "figures", multiple=True, metavar="NAME=FILE",
              help="Write one panel for a paper: questions, bands, averaging, time, sessions or screen (16:9) = a "
                   ".pdf, .svg or .png. Repeat for each.")
@click.option("--json", "json_file", type=JsonFile(), metavar="FILE",
              help="Write the results as JSON; - for stdout alone.")
@click.option("-o", "--output", "others", multiple=True, metavar="FILE",
              help="Write a file of the kind its suffix says: .json, .pdf, .png, .svg, .html. Repeat for each.")
@click.option("--about", "about_file", metavar="FILE.toml",
              help="What you state of the instruments (serial, firmware, zero, crank length) and the days.")
@click.option("--open", "show", is_flag=True, help="Show the page when it is written.")
@click.option("--looks", metavar="N,N,...", help="Numbers of sessions after which looks were declared: '3,5,8'.")
@click.option("--declared", "declared_file", metavar="FILE", help="Compare with what agree plan --declare wrote.")
@click.option("--require-holds", is_flag=True, help="Exit with status 1 unless the claim holds.")
def check(reference: str | None, device: str | None, **options: Any) -> None:
    """Check a claim on recordings, and print the answer.

    Recordings are CSV and other text tables, FIT, TCX, GPX, JSON lines or Parquet, packed by gzip or not. Without
    DEVICE both powers are in one file: name their columns.
    """
    from agree.cli.commands.other_quantity import check_other_quantity, instead_of_trials
    from agree.cli.states import judged_by_side, judged_by_state
    from agree.core.errors import InputError
    from agree.report.about import NOTHING_STATED, read_about
    from agree.report.story.provenance import Provenance

    if options["quiet"]:
        be_quiet()
    files = _files(reference, device, options["sessions"], options["session_list"])
    json_file, pages = outputs_of(options["json_file"], options["page_files"], options["others"])
    figures = tuple(_figure(text) for text in options["figures"])
    outputs_are_no_inputs([item[:2] for item in files], json_file, *pages, *(name for _, name in figures), others={
        "the list of sessions": options["session_list"], "the declaration": options["declared_file"],
        "what is stated of the instruments": options["about_file"]})
    if options["show"] and not pages:
        raise InputError("--open needs a page to show: add -o page.pdf")
    about = NOTHING_STATED if options["about_file"] is None else read_about(options["about_file"])
    if options["quantity"] is not None:
        check_other_quantity(files, options)
        return
    if options["meaning"] == "mean_absolute":
        raise InputError("--meaning mean-absolute is for --quantity, such as heart rate, whose standards are stated "
                         "so; for power choose average, bands, readings or next-session")
    with instead_of_trials(files[0].reference, files[0].device, options["claim"]):
        pairs = paired(files, options)
    outputs = Outputs(json_file, pages, figures, options["details"], options["efforts"], options["quiet"],
                      options["show"], int(options["schema"]))
    provenance = Provenance(about, ("agree", *sys.argv[1:]))
    if any(item.state for item in files) or options["state"] or options["splits"]:
        result = judged_by_state(files, pairs, options, outputs, provenance)
    elif options["side"]:
        result = judged_by_side(files, pairs, options, outputs, provenance)
    else:
        result = checked(pairs, options)
        deliver(result, outputs, provenance)
    if options["require_holds"] and result.verdict != "holds":
        sys.exit(NOT_HOLDING)


def _files(reference: str | None, device: str | None, more: list[tuple[str, str]],
           place: str | None) -> list[SessionFiles]:
    """Return the files of every session, in the order given."""
    listed = [] if place is None else from_place(place)
    first = [] if reference is None else [SessionFiles(reference, device)]
    found = [*first, *(SessionFiles(*pair) for pair in more), *listed]
    if not found:
        raise click.UsageError("give the two recordings, REFERENCE and DEVICE, or --sessions LIST.csv")
    if place is not None and first:
        hint("the recordings given beside --sessions are taken as sessions before those of the list")
    return found


def _figure(text: str) -> tuple[str, str]:
    from agree.core.errors import InputError

    name, sign, file = text.partition("=")
    if not sign or not file:
        raise InputError(f"--figure {text!r} is not understood; write NAME=FILE, such as bands=bands.pdf")
    return name.strip(), file.strip()
