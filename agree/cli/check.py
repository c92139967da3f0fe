"""`agree check`: a claim on a pair of recordings."""

from __future__ import annotations

import sys
from typing import Any

import click

from agree.cli.run import checked, deliver, paired
from agree.cli.terminal import outputs_are_no_inputs, progress

NOT_HOLDING = 1


@click.command()
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
@click.option("--quantity", metavar="NAME",
              help="What is measured, if not power: 'heart rate', speed, pace, cadence, torque, balance, 'oxygen "
                   "uptake', 'core temperature'.")
@click.option("--delay", type=click.Choice(["device", "clock", "unknown"]),
              help="Whose a delay is, for --quantity. [default: told by the quantity and the stamps]")
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
    from agree.cli.other_quantity import check_other_quantity, instead_of_trials

    if options["quantity"] is not None:
        check_other_quantity(files, options)
        return
    with progress("reading and matching the recordings"), instead_of_trials(reference, device, options["claim"]):
        pairs = paired(files, options)
    result = checked(pairs, options)
    deliver(result, options["json_file"], options["page_file"], efforts=options["efforts"])
    if options["require_holds"] and result.verdict != "holds":
        sys.exit(NOT_HOLDING)
