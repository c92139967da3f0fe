"""`agree correct`: a corrected copy of a recording."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from agree.cli.groups import Grouped
from agree.cli.outputs import outputs_are_no_inputs
from agree.cli.terminal import say

# What a check of the copy will say, before it is made.
FROM_RESULT = "On the rides that the correction was found on the copy proves nothing: check it on others."
BY_HAND = ("Where this correction was found is not recorded, so that no check of the copy is answered 'holds'; --from "
           "RESULT.json records it.")
NOT_KNOWN = "Whether this correction lasts is not known: wait for {least} sessions before relying on it."


@click.command(cls=Grouped, example="agree correct device.csv corrected.csv --from result.json")
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
    from agree.core.errors import InputError
    from agree.core.results.plain import plain_name
    from agree.correction import history
    from agree.correction.copy import checked_change, corrected_copy
    from agree.correction.find import LEAST_SESSIONS
    from agree.files.copy_history import history_path
    from agree.files.writing import write_bytes, write_text

    scale, offset, result = options["scale"], options["offset"], options["result"]
    if (result is None) == (scale is None and offset is None):
        raise InputError("give either --from RESULT.json, or --scale FACTOR and/or --offset W")
    story = history_path(copy)
    outputs_are_no_inputs([(recording,)], others={"the result": result}, own_forms=(copy, str(story)))  # see --force
    existing = [str(path) for path in (Path(copy), story) if path.exists()]
    if existing and not options["force"]:
        raise InputError(f"{' and '.join(existing)} exist{'s' if len(existing) == 1 else ''} already; choose another "
                         "name, or say --force")
    if existing:
        history.refuse_no_copy(copy)
    change, ground = (history.correction_of(result, even_if_unstable=options["even_if_unstable"]) if result is not None
                      else (checked_change(1.0 if scale is None else scale, offset or 0.0), {}))
    history.refuse_reference(recording, ground)
    history.refuse_other_state(recording, ground)
    made = corrected_copy(recording, change, power_column=options["column"])
    remark = history.refuse_twice(recording, change)
    told = history.new_history(recording, copy, made, change, ground, version=__version__, command=sys.argv[1:])
    write_text(story, told)  # before the copy: there is never a copy without its history
    try:
        write_bytes(copy, made.content)
    except InputError:
        if not existing:
            Path(story).unlink(missing_ok=True)  # of nothing
        raise
    if existing:
        write_text(story, history.without_replaced(told))
    lasting = NOT_KNOWN.format(least=LEAST_SESSIONS) if result is not None and ground["stable"] is None else ""
    say(f"{plain_name(copy)}: {made.column!r} = {change}, {made.changed:,} readings; {made.kept:,} left as they "
               "are (0 or missing)." + "".join(f"\n{line}" for line in (
                   remark, BY_HAND if result is None else FROM_RESULT, lasting) if line)
               + f"\n\nWritten: {plain_name(copy)}, {plain_name(story)}")
