"""Help that a reader can use: options in groups, with one example."""

from __future__ import annotations

from typing import Any

import click


class Grouped(click.Command):
    """A command whose help lists its options in groups and ends with an example."""

    def __init__(self, *args: Any, groups: dict[str, tuple[str, ...]] | None = None, example: str = "",
                 **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.groups, self.example = groups or {}, example

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options group by group; those of no group come last."""
        # What an argument is, the line of usage and the text say; some versions of click would list it without a word.
        left = {param.name: record for param in self.get_params(ctx) if isinstance(param, click.Option)
                and (record := param.get_help_record(ctx)) is not None}
        for title, names in self.groups.items():
            rows = [left.pop(name) for name in names if name in left]
            with formatter.section(title):
                formatter.write_dl(rows)
        if left:
            with formatter.section("Other" if self.groups else "Options"):
                formatter.write_dl(list(left.values()))

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the example."""
        if self.example:
            with formatter.section("Example"), formatter.indentation():
                formatter.write_text("")
                for line in self.example.splitlines():
                    formatter.write(f"    {line}\n")
