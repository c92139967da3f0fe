"""`agree look`: what files hold."""

from __future__ import annotations

import click

from agree.cli.terminal import progress


@click.command("look")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--read", "reads", multiple=True, metavar="KEY=VALUE",
              help="How to read it: power, time, cadence, speed = a column; delimiter, decimal, dates, zone.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text, a list with an entry for each file.")
def look_command(files: tuple[str, ...], reads: tuple[str, ...], as_json: bool) -> None:
    """Print what files hold: channels, units, span, sampling, gaps, values to distrust. Saves nothing."""
    import json

    from agree.recordings.inspect import look
    from agree.recordings.options import options_from_text

    options = options_from_text(reads)
    with progress("reading"):
        seen = [look(file, options=options) for file in files]
    click.echo(json.dumps([item.to_dict() for item in seen], indent=1, ensure_ascii=False) if as_json
               else "\n\n".join(item.summary() for item in seen))
