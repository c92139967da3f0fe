"""What commands with an answer of their own share: their outputs as options, and how they are written and printed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from agree.cli.progress import progress
from agree.cli.terminal import say, written
from agree.cli.words import JsonFile

OUTPUTS = ("details", "json_file", "page_files", "others")


def answer_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add --details, --json, --page and -o to a command."""
    for option in (
            click.option("-o", "--output", "others", multiple=True, metavar="FILE",
                         help="Write a file of the kind its suffix says: .json, .pdf, .png, .svg, .html. Repeat for "
                              "each."),
            click.option("--page", "page_files", multiple=True, metavar="FILE",
                         help="Write one A4 page: .pdf, .png, .svg or .html. Repeat for each."),
            click.option("--json", "json_file", type=JsonFile(), metavar="FILE",
                         help="Write the results as JSON; - for stdout alone."),
            click.option("--details", is_flag=True, help="Print every figure, in more than 16 lines.")):
        command = option(command)
    return command


def hand_over(json_file: str | None, pages: tuple[str, ...], *, stored: str, text: str,
              draw: Callable[[str], None]) -> None:
    """Write the pages and the JSON, then print the text: a failure to write stands alone."""
    from agree.files.writing import write_text

    for name in pages:
        with progress(f"drawing {name}"):
            draw(name)
    if json_file == "-":
        click.echo(stored)
        return
    if json_file is not None:
        write_text(json_file, stored + "\n")
    say(text)
    if files := [*pages, *([] if json_file is None else [json_file])]:
        say("\n" + written(files))
