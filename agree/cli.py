"""The command line: parses, calls, prints, exits. Everything heavy is imported inside functions."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from agree._terminal import edges_of, handling_of, outputs_are_no_inputs, progress

if TYPE_CHECKING:
    from agree.pairs import Pairs
    from agree.verdict.check import ClaimCheck

BAD_INPUT, NOT_HOLDING = 2, 1


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(package_name="agree-devices", prog_name="agree", message="%(prog)s %(version)s")
def command() -> None:
    """Decide whether a measuring device keeps its maker's accuracy claim.

    Compares a device under test with a trusted reference that recorded the same effort.
    """


@command.command()
@click.argument("reference", metavar="REFERENCE")
@click.argument("device", required=False, metavar="[DEVICE]")
@click.option("--claim", required=True, metavar="TEXT",
              help="The maker's claim: '1.5%', '2 W' or '1.5 % or 2 W above 100 W' (the larger counts).")
@click.option("--meaning", type=click.Choice(["average", "bands", "readings", "next_session"]), default="average",
              show_default=True, help="Which meaning of the claim the verdict is given in.")
@click.option("--reference-uncertainty", metavar="TEXT",
              help="What is known of the reference: '±1 %', '1 % k=2', '2 W'. [default: taken as exact]")
@click.option("--loss", metavar="TEXT", help="Drivetrain loss between reference and device: '2.5 ± 1 %'.")
@click.option("--rule", type=click.Choice(["interval", "guard 2u", "guard 1.645u", "plain"]), default="interval",
              show_default=True, help="Decision rule, chosen before the data are seen.")
@click.option("--sessions", nargs=2, multiple=True, metavar="REF DEV",
              help="A further session: its two files. Repeat for each.")
@click.option("--json", "json_file", metavar="FILE", help="Write the results as JSON; - for stdout alone.")
@click.option("--page", "page_file", metavar="FILE", help="Write one A4 page: .pdf, .png, .svg or .html.")
@click.option("--bands", metavar="W,W,...", help="Edges of the power bands, W.")
@click.option("--window", default=30, show_default=True, metavar="S", help="Averaging time of a reading, s.")
@click.option("--level", default=0.95, show_default=True, help="Confidence level, a fraction.")
@click.option("--reference-column", metavar="NAME", help="Power column of the reference, if not found by name.")
@click.option("--device-column", metavar="NAME", help="Power column of the device, if not found by name.")
@click.option("--reference-read", multiple=True, metavar="KEY=VALUE",
              help="How to read the reference, where agree look shows it is misread: power, time, cadence, speed = a "
                   "column; delimiter, decimal, dates, zone. Repeat for each.")
@click.option("--device-read", multiple=True, metavar="KEY=VALUE", help="The same for the device.")
@click.option("--faults", multiple=True, metavar="[KIND=]HOW",
              help="What to do with faulty seconds, of one kind or all: 'set aside', 'report' (used, but listed) or "
                   "'keep' (used, not looked for). Steps of the zero and warm-ups are set aside only by "
                   "name. [default: set aside]")
@click.option("--match-response", is_flag=True,
              help="Compare at a matched response: the sharper trace is smoothed as the other one is.")
@click.option("--efforts", is_flag=True, help="Print best efforts too, from 1 s to 60 min.")
@click.option("--max-lag", type=float, metavar="S", help="Largest difference of the clocks to search, s.")
@click.option("--lag", type=float, metavar="S", help="Force the lag: device minus reference timestamp, s.")
@click.option("--require-holds", is_flag=True, help="Exit with status 1 unless the claim holds.")
def check(reference: str, device: str | None, **options: Any) -> None:
    """Check a claim on a pair of recordings, and print the answer.

    Recordings are CSV and other text tables, FIT, TCX or Parquet, packed by gzip or not. Without DEVICE both powers are
    in one file: name their columns.
    """
    files: list[tuple[str, str | None]] = [(reference, device), *options["sessions"]]
    outputs_are_no_inputs(files, options["json_file"], options["page_file"])
    with progress("reading and matching the recordings"):
        pairs = _pairs(files, options)
    result = _checked(pairs, options)
    _deliver(result, options["json_file"], options["page_file"], efforts=options["efforts"])
    if options["require_holds"] and result.verdict != "holds":
        sys.exit(NOT_HOLDING)


@command.command()
@click.argument("folder", default="agree-demo", metavar="[FOLDER]")
def demo(folder: str) -> None:
    """Write two invented recordings into FOLDER and check them."""
    from agree.demo import write_recordings

    with progress("writing and checking the invented recordings"):
        reference, device = write_recordings(Path(folder))
        options: dict[str, Any] = {"claim": "1.5 %", "reference_uncertainty": "0.5 %", "meaning": "average",
                                   "bands": None, "window": 30, "level": 0.95}
        result = _checked(_pairs([(str(reference), str(device))], options), options)
    page = str(Path(folder) / "page.pdf")
    click.echo("Invented data: a 50-min indoor test with a crank as reference and pedals under test.\n")
    _deliver(result, None, page)
    click.echo(f"\nWritten: {reference}, {device}, {page}\n"
               f"Again:   agree check {reference} {device} --claim 1.5% --reference-uncertainty '0.5 %'")


@command.command("look")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--read", "reads", multiple=True, metavar="KEY=VALUE",
              help="How to read it: power, time, cadence, speed = a column; delimiter, decimal, dates, zone.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text, a list with an entry for each file.")
def look_command(files: tuple[str, ...], reads: tuple[str, ...], as_json: bool) -> None:
    """Print what files hold: channels, units, span, sampling, gaps, values to distrust. Saves nothing."""
    import json

    from agree.recordings._options import options_from_text
    from agree.recordings.look import look

    options = options_from_text(reads)
    with progress("reading"):
        seen = [look(file, options=options) for file in files]
    click.echo(json.dumps([item.to_dict() for item in seen], indent=1, ensure_ascii=False) if as_json
               else "\n\n".join(item.summary() for item in seen))


@command.command("plan")
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
    from agree.report.files import json_text, read_json, write_text
    from agree.report.sheet import write_sheet
    from agree.verdict.claim import Claim
    from agree.verdict.planning import plan

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


@command.command()
@click.argument("recording", metavar="REC.csv")
@click.argument("copy", metavar="OUT.csv")
@click.option("--scale", type=float, metavar="FACTOR", help="corrected = (device - offset) * scale.  [default: 1]")
@click.option("--offset", type=float, metavar="W", help="What the device reads too much at every level.  [default: 0]")
@click.option("--from", "result", metavar="RESULT.json", help="Take the correction of an earlier agree check --json.")
@click.option("--even-if-unstable", is_flag=True, help="Take it even if it was refused or is not stable.")
@click.option("--column", metavar="NAME", help="Power column, if not found by name.")
@click.option("--force", is_flag=True, help="Write over an earlier OUT.csv; never over a recording given.")
def correct(recording: str, copy: str, **options: Any) -> None:
    """Write a corrected copy of a recording, and its history beside it."""
    from agree import __version__
    from agree.errors import InputError
    from agree.recordings import history
    from agree.recordings.corrected import checked_change, corrected_copy
    from agree.report.files import write_bytes, write_text

    scale, offset, result = options["scale"], options["offset"], options["result"]
    if (result is None) == (scale is None and offset is None):
        raise InputError("give either --from RESULT.json, or --scale FACTOR and/or --offset W")
    story = history.history_path(copy)
    outputs_are_no_inputs([(recording,) if result is None else (recording, result)], copy, str(story))
    existing = [str(path) for path in (Path(copy), story) if path.exists()]
    if existing and not options["force"]:
        raise InputError(f"{' and '.join(existing)} exist{'s' if len(existing) == 1 else ''} already; choose another "
                         "name, or say --force")
    change, ground = (history.correction_of(result, even_if_unstable=options["even_if_unstable"]) if result is not None
                      else (checked_change(1.0 if scale is None else scale, offset or 0.0), {}))
    history.refuse_reference(recording, ground)
    made = corrected_copy(recording, change, power_column=options["column"])
    remark = history.refuse_twice(recording, change)
    told = history.new_history(recording, copy, made, change, ground, version=__version__, command=sys.argv[1:])
    write_bytes(copy, made.content)
    write_text(story, told)
    click.echo(f"{copy}: {made.column!r} = {change}, {made.changed:,} readings; {made.kept:,} left as they are (0 or "
               f"missing). History: {story}" + (f"\n{remark}" if remark else ""))


def _pairs(files: Sequence[tuple[str, str | None]], options: dict[str, Any]) -> list[Pairs]:
    from agree.recordings._options import options_from_text
    from agree.recordings.pair import pair_recordings

    reads = [options_from_text(options.get(f"{role}_read", ())) for role in ("reference", "device")]
    columns = tuple(options.get(f"{role}_column") or read.pop("power_column", None)
                    for role, read in zip(("reference", "device"), reads, strict=True))
    pairs = [pair_recordings(reference, device, max_lag_s=options.get("max_lag"), lag_s=options.get("lag"),
                             power_columns=columns, reference_read=reads[0] or None, device_read=reads[1] or None,
                             faults=handling_of(options.get("faults", ())), session=str(number))
             for number, (reference, device) in enumerate(files, 1)]
    if not options.get("match_response"):
        return pairs
    from agree.estimators.response import match_response

    return [match_response(item) for item in pairs]


def _checked(pairs: list[Pairs], options: dict[str, Any]) -> ClaimCheck:
    import warnings

    from agree.errors import AgreeWarning
    from agree.verdict.beside import with_seconds
    from agree.verdict.check import check_claim

    edges = edges_of(options["bands"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # the report says the same in its notes
        return with_seconds(check_claim(
            pairs if len(pairs) > 1 else pairs[0], options["claim"], meaning=options["meaning"],
            reference_uncertainty=options["reference_uncertainty"], bands=edges, window_s=options["window"],
            level=options["level"], drivetrain_loss=options.get("loss"),
            decision_rule=options.get("rule", "interval")))


def _deliver(result: ClaimCheck, json_file: str | None, page_file: str | None, *, efforts: bool = False) -> None:
    """Files first, so that a failure to write them is not lost under the text."""
    from agree.report.files import json_text, write_text

    if page_file is not None:
        with progress("drawing the page"):
            from agree.report.page import write_page

            write_page(result, page_file)
    if json_file == "-":
        click.echo(json_text(result))
        return
    if json_file is not None:
        write_text(json_file, json_text(result) + "\n")
    click.echo(result.summary())
    for item, best in zip(result.pairs, result.efforts, strict=True) if efforts else ():
        session = f", session {item.session}" if len(result.pairs) > 1 else ""
        click.echo(f"\nBest efforts{session}\n" + (best.summary() if best is not None else "too few seconds"))


def _stop(message: str) -> NoReturn:
    named = ("power_column", "time_column", "cadence_column", "speed_column", "zone=")
    if sys.argv[1:2] in (["check"], ["look"]) and any(word in message for word in named):
        message += "; on the command line: --reference-read, --device-read or --read of look, with power=..., zone=..."
    click.echo("agree: " + " ".join(message.split()), err=True)
    sys.exit(BAD_INPUT)


def main() -> None:
    """Run the command; bad input ends in one line on stderr and exit status 2, never a traceback."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")  # a terminal without the sign ± still gets the numbers
    try:
        command.main(standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        sys.exit(BAD_INPUT)
    except click.ClickException as error:
        _stop(f"{error.format_message().rstrip('.')}; see agree --help")
    except (KeyboardInterrupt, click.exceptions.Abort):
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
    except OSError as error:
        _stop(f"{error.filename or ''}: {error.strerror or error}")
    except Exception as error:  # the last resort: a fault of ours must not look like a result
        from agree.errors import AgreeError

        _stop(str(error) if isinstance(error, AgreeError) else
              f"internal fault, {type(error).__name__}: {error}; please report it with the two files")
