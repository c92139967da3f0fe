"""`agree devices`: several recordings of one effort, none of them trusted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from agree.cli.groups import Grouped
from agree.cli.outputs import outputs_are_no_inputs
from agree.cli.progress import progress
from agree.cli.session_list import device_list

if TYPE_CHECKING:
    from agree.devices.compare import DeviceComparison
    from agree.trail.device_sessions import DeviceSessions


@click.command("devices", cls=Grouped, example="agree devices pedals.fit crank.fit hub.fit")
@click.argument("files", nargs=-1, metavar="[A B C...]")
@click.option("--sessions", "session_list", metavar="LIST.csv",
              help="Several sessions: a list with a column of files for each device, and session, state if you like.")
@click.option("--max-lag", type=float, metavar="S", help="Largest difference of the clocks to search, s.")
@click.option("--window", default=30, show_default=True, metavar="S", help="Averaging time of a reading, s.")
@click.option("-o", "--output", "pages", multiple=True, metavar="FILE",
              help="Write a page of one effort: .pdf, .svg, .png or .html. Repeat for each.")
@click.option("--json", "json_file", metavar="FILE", help="Write the results as JSON; - for stdout alone.")
def devices_command(files: tuple[str, ...], session_list: str | None, max_lag: float | None, window: int,
                    pages: tuple[str, ...], json_file: str | None) -> None:
    """Compare several devices that recorded one effort, with no trusted one among them.

    Prints each device's own error, the factors that line all up with the first, and which one stands apart.
    """
    from agree.core.errors import InputError
    from agree.files.writing import json_text, write_text

    result: DeviceComparison | DeviceSessions
    if session_list is not None:
        if files or pages:
            raise InputError("--sessions LIST.csv stands alone: give recordings, and a page, of one effort without it")
        from agree.trail.device_sessions import compare_device_sessions

        listed = device_list(session_list)
        outputs_are_no_inputs([tuple(map(str, row)) for row in listed.files], json_file,
                              others={"the list of sessions": session_list})
        with progress("reading and matching the recordings"):
            result = compare_device_sessions(listed.files, names=listed.names, states=listed.states, max_lag_s=max_lag,
                                             window_s=window)
    else:
        from agree.devices.compare import compare_devices

        if not files:
            raise click.UsageError("give the recordings of one effort, or --sessions LIST.csv")
        outputs_are_no_inputs([files], json_file, *pages)
        with progress("reading and matching the recordings"):
            result = compare_devices(files, max_lag_s=max_lag, window_s=window)
        for name in pages:
            from agree.report.devices_page import write_devices_page

            write_devices_page(result, name)
    if json_file == "-":
        click.echo(json_text(result))
        return
    click.echo(result.summary())
    if json_file is not None:
        write_text(json_file, json_text(result) + "\n")
    if written := [*pages, *([json_file] if json_file is not None else [])]:
        click.echo(f"Written: {', '.join(written)}")
