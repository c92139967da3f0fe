"""`agree devices`: several recordings of one effort, none of them trusted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from agree.cli.answers import answer_options, hand_over
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
@answer_options
def devices_command(files: tuple[str, ...], session_list: str | None, max_lag: float | None, window: int,
                    **options: Any) -> None:
    """Compare several devices that recorded one effort, with no trusted one among them.

    Prints each device's own error, the factors that line all up with the first, and which one stands apart.
    """
    from agree.cli.deliver import outputs_of
    from agree.cli.terminal import width
    from agree.core.errors import InputError
    from agree.files.writing import json_text
    from agree.report.texts.devices_text import devices_text

    json_file, pages = outputs_of(options["json_file"], options["page_files"], options["others"])
    result: DeviceComparison | DeviceSessions
    if session_list is not None:
        if files:
            raise InputError("--sessions LIST.csv stands alone: give the recordings of one effort without it")
        from agree.trail.device_sessions import compare_device_sessions

        listed = device_list(session_list)
        outputs_are_no_inputs([tuple(map(str, row)) for row in listed.files], json_file, *pages,
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

    def draw(name: str) -> None:
        from agree.report.devices_page import write_devices_page

        write_devices_page(result, name)

    hand_over(json_file, pages, stored=json_text(result), draw=draw,
              text=devices_text(result, width=width(), details=options["details"]))
