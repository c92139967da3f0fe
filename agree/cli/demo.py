"""`agree demo`: invented recordings, written and checked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from agree.cli.run import checked, deliver, paired
from agree.cli.terminal import progress


@click.command()
@click.argument("folder", default="agree-demo", metavar="[FOLDER]")
def demo(folder: str) -> None:
    """Write two invented recordings into FOLDER and check them."""
    from agree.demo.power import write_recordings

    with progress("writing and checking the invented recordings"):
        reference, device = write_recordings(Path(folder))
        options: dict[str, Any] = {"claim": "1.5 %", "reference_uncertainty": "0.5 %", "meaning": "average",
                                   "bands": None, "window": 30, "level": 0.95}
        result = checked(paired([(str(reference), str(device))], options), options)
    page = str(Path(folder) / "page.pdf")
    click.echo("Invented data: a 50-min indoor test with a crank as reference and pedals under test.\n")
    deliver(result, None, page)
    click.echo(f"\nWritten: {reference}, {device}, {page}\n"
               f"Again:   agree check {reference} {device} --claim 1.5% --reference-uncertainty '0.5 %'")
