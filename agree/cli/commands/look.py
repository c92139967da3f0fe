"""`agree look`: what files hold."""

from __future__ import annotations

import click

from agree.cli.groups import Grouped
from agree.cli.outputs import outputs_are_no_inputs
from agree.cli.progress import progress
from agree.cli.terminal import say, written
from agree.cli.words import JsonFile


@click.command("look", cls=Grouped, example="agree look ride.csv --read decimal=comma")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--read", "reads", multiple=True, metavar="KEY=VALUE",
              help="How to read it: power, time, cadence, speed = a column; delimiter, decimal, dates, zone.")
@click.option("--json", "json_file", type=JsonFile(), metavar="FILE", is_flag=False, flag_value="-",
              help="Write what was found as JSON, a list with an entry for each file; - (or nothing) for stdout alone.")
def look_command(files: tuple[str, ...], reads: tuple[str, ...], json_file: str | None) -> None:
    """Print what files hold: channels, units, span, sampling, gaps, values to distrust. Changes nothing."""
    import json

    from agree.files.writing import write_text
    from agree.recordings.inspect import look
    from agree.recordings.options import options_from_text

    outputs_are_no_inputs([files], json_file)
    options = options_from_text(reads)
    seen = []
    with progress("reading", len(files)) as state:
        for file in files:
            seen.append(look(file, options=options))
            state.step()
    text = json.dumps([item.to_dict() for item in seen], indent=1, ensure_ascii=False)
    if json_file == "-":
        click.echo(text)
        return
    if json_file is not None:
        write_text(json_file, text + "\n")
    say("\n\n".join(item.summary() for item in seen))
    if json_file is not None:
        say("\n" + written([json_file]))
