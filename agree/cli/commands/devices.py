"""`agree devices`: several recordings of one effort, none of them trusted."""

from __future__ import annotations

import click

from agree.cli.progress import progress
from agree.cli.terminal import outputs_are_no_inputs


@click.command("devices")
@click.argument("files", nargs=-1, required=True, metavar="A B C...")
@click.option("--max-lag", type=float, metavar="S", help="Largest difference of the clocks to search, s.")
@click.option("--window", default=30, show_default=True, metavar="S", help="Averaging time of a reading, s.")
@click.option("--json", "json_file", metavar="FILE", help="Write the results as JSON; - for stdout alone.")
def devices_command(files: tuple[str, ...], max_lag: float | None, window: int, json_file: str | None) -> None:
    """Compare several devices that recorded one effort, with no trusted one among them.

    Prints each device's own error, the factors that line all up with the first, and which one stands apart.

    Example: agree devices pedals.fit crank.fit hub.fit
    """
    from agree.devices.compare import compare_devices
    from agree.files.writing import json_text, write_text

    outputs_are_no_inputs([files], json_file)
    with progress("reading and matching the recordings"):
        result = compare_devices(files, max_lag_s=max_lag, window_s=window)
    if json_file == "-":
        click.echo(json_text(result))
        return
    click.echo(result.summary())
    if json_file is not None:
        write_text(json_file, json_text(result) + "\n")
        click.echo(f"Written: {json_file}")
