"""`agree schema`: the JSON Schema of what the commands write."""

from __future__ import annotations

import click


@click.command("schema")
@click.argument("version", type=click.Choice(["1", "2"]), default="2")
def schema(version: str) -> None:
    """Print the JSON Schema of version 1 (power recordings) or 2 (everything else)."""
    from agree.schema.shipped import schema_text

    click.echo(schema_text(int(version)), nl=False)
