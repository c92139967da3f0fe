"""`agree completion`: what a shell needs to complete commands, options and choices."""

from __future__ import annotations

import click

from agree.cli.groups import Grouped


@click.command(cls=Grouped, example='eval "$(agree completion bash)"     # in ~/.bashrc')
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@click.pass_context
def completion(context: click.Context, shell: str) -> None:
    """Print the lines that make a shell complete agree's commands and options."""
    from click.shell_completion import get_completion_class

    kind = get_completion_class(shell)
    if kind is not None:
        click.echo(kind(context.find_root().command, {}, "agree", "_AGREE_COMPLETE").source())
