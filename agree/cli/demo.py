"""`agree demo`: invented data, written and checked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from agree.cli.terminal import progress

KINDS = ("power", "trials", "heart-rate")


@click.command()
@click.argument("words", nargs=-1, metavar="[power|trials|heart-rate] [FOLDER]")
def demo(words: tuple[str, ...]) -> None:
    """Write invented data into FOLDER (agree-demo if not given) and check them.

    Power of a crank and of pedals; a table of jumps by a plate and a mat; or heart rates of a strap and a wrist.
    """
    from agree.core.errors import InputError

    kind, rest = (words[0], words[1:]) if words and words[0] in KINDS else ("power", words)
    if len(rest) > 1:
        raise InputError(f"agree demo takes one of {', '.join(KINDS)}, then a folder; got {' '.join(words)!r}")
    folder = Path(rest[0] if rest else "agree-demo")
    {"power": _power, "trials": _trials, "heart-rate": _heart_rate}[kind](folder)


def _power(folder: Path) -> None:
    from agree.cli.run import checked, deliver, paired
    from agree.demo.power import write_recordings

    with progress("writing and checking the invented recordings"):
        reference, device = write_recordings(folder)
        options: dict[str, Any] = {"claim": "1.5 %", "reference_uncertainty": "0.5 %", "meaning": "average",
                                   "bands": None, "window": 30, "level": 0.95}
        result = checked(paired([(str(reference), str(device))], options), options)
    page = str(folder / "page.pdf")
    click.echo("Invented data: a 50-min indoor test with a crank as reference and pedals under test.\n")
    deliver(result, None, page)
    click.echo(f"\nWritten: {reference}, {device}, {page}\n"
               f"Again:   agree check {reference} {device} --claim 1.5% --reference-uncertainty '0.5 %'")


def _trials(folder: Path) -> None:
    from agree.demo.trials import write_tables
    from agree.trials.check import check_trials
    from agree.trials.pair import pair_trials

    reference, device = write_tables(folder)
    result = check_trials(pair_trials(reference, device, by="athlete,jump"), "2 cm")
    click.echo("Invented data: 24 athletes, three jumps each, on a plate as reference and a mat under test.\n")
    click.echo(result.summary())
    click.echo(f"\nWritten: {reference}, {device}\n"
               f"Again:   agree trials {reference} {device} --by athlete,jump --claim '2 cm'")


def _heart_rate(folder: Path) -> None:
    from agree.demo.heart_rate import write_recordings
    from agree.quantities.check import check_quantity
    from agree.quantities.read import overlay_recordings

    reference, device = write_recordings(folder)
    result = check_quantity(overlay_recordings(reference, device, "heart rate"), "5 bpm", meaning="readings")
    click.echo("Invented data: 50 min of running, a chest strap as reference and a wrist sensor under test.\n")
    click.echo(result.summary())
    click.echo(f"\nWritten: {reference}, {device}\n"
               f"Again:   agree check {reference} {device} --quantity 'heart rate' --claim '5 bpm' --meaning readings")
