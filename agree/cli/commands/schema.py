"""`agree schema`: the JSON Schema of what the commands write."""

from __future__ import annotations

import click

from agree.cli.groups import Grouped
from agree.schema.names import NAMES


@click.command("schema", cls=Grouped, example="agree schema 1 > schema-1.json")
@click.argument("name", type=click.Choice(NAMES), default="2")
def schema(name: str) -> None:
    """Print the JSON Schema of what a command writes.

    1: agree check, of power. 2: agree trials, and agree check of other quantities or with --schema 2. Others: agree
    plan, plan --trials, static, devices, a line of results.jsonl of agree study, an item of the list of agree look.
    """
    from agree.schema.shipped import schema_text

    click.echo(schema_text(name), nl=False)
