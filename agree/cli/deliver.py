"""What a check leaves behind: first the files, so that a failure to write them stands alone, then the text."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from agree.cli.progress import progress
from agree.cli.terminal import colour, say, width, written
from agree.core.results.plain import plain_name

if TYPE_CHECKING:
    from agree.assessment.claim_check import ClaimCheck
    from agree.report.story.provenance import Provenance

PAGES = (".pdf", ".png", ".svg", ".html")


class Outputs(NamedTuple):
    """Files to write, and how much to print."""

    json: str | None = None
    pages: tuple[str, ...] = ()
    figures: tuple[tuple[str, str], ...] = ()
    details: bool = False
    efforts: bool = False
    quiet: bool = False
    open: bool = False
    schema: int = 1

    @property
    def every_figure(self) -> bool:
        """Whether response and best efforts are shown anywhere: finding them takes as long as the rest."""
        return self.details or self.efforts or self.json is not None or any(
            name.lower().endswith(".html") for name in self.pages)


def outputs_of(json_file: str | None, page_files: Sequence[str],
               others: Sequence[str]) -> tuple[str | None, tuple[str, ...]]:
    """Return the JSON file and the pages among --json, --page and -o FILE, which is known by its suffix."""
    from agree.core.errors import InputError

    pages = [*page_files]
    for name in others:
        suffix = Path(name).suffix.lower()
        if suffix not in (".json", *PAGES):
            raise InputError(f"-o {name} must end in .json, {', '.join(PAGES)}; got {suffix or 'no suffix'}")
        if suffix == ".json":
            if json_file is not None:
                raise InputError(f"-o {name} and --json {json_file} both ask for the JSON; give one of them")
            json_file = name
        else:
            pages.append(name)
    return json_file, tuple(pages)


def deliver(result: ClaimCheck, outputs: Outputs, provenance: Provenance, *, already: Sequence[str] = (),
            text: str | None = None, brief: str | None = None,
            more: Mapping[str, Any] | None = None, page: Callable[[str], None] | None = None) -> None:
    """Write the files and print the answer.

    `text` stands for the first screen, `brief` for its answer alone, `more` goes into the JSON too, and `page`
    draws pages in place of the check's.
    """
    from agree.files.writing import write_text

    if outputs.every_figure:
        import warnings

        from agree.assessment.beside import with_seconds
        from agree.core.errors import AgreeWarning

        with progress("comparing response and best efforts"), warnings.catch_warnings():
            warnings.simplefilter("ignore", AgreeWarning)  # the report says the same in its warnings
            result = with_seconds(result)
    files, captions = list(already), list[str]()
    for name in outputs.pages:
        with progress(f"drawing {name}"):
            if page is not None:
                page(name)
            else:
                from agree.report.pages import write_page

                write_page(result, name, provenance=provenance)
        files.append(name)
    for panel, name in outputs.figures:
        from agree.report.page.panel import write_figure

        caption = write_figure(result, panel, name)
        files.append(name)
        captions.append(f"{plain_name(name)}\n{caption}")
    if outputs.json is not None:
        stored = json_of(result, provenance, outputs.schema, more)
        if outputs.json == "-":
            click.echo(stored)
            return
        write_text(outputs.json, stored + "\n")
        files.append(outputs.json)
    _print(result, outputs, text, brief)
    for caption in captions if not outputs.quiet else ():
        say(f"\n{caption}")
    if files and not outputs.quiet:
        say("\n" + written(files))
    if outputs.open:
        click.launch(outputs.pages[0])


def json_of(result: ClaimCheck, provenance: Provenance, schema: int = 1, more: Mapping[str, Any] | None = None) -> str:
    """Return the check as JSON of a schema version, with the command and what the tester states."""
    import json

    more = dict(more or {})
    stated = provenance.about._asdict() if any(provenance.about) else None
    made_by = {"command": [plain_name(word) for word in provenance.command], "stated": stated}
    if schema == 2:
        from agree.assessment.schema_2 import as_schema_2

        held = as_schema_2(result)
        held = held | {"made_by": held["made_by"] | made_by}
    else:
        held = result.to_dict() | made_by
    return json.dumps(held | more, indent=1, ensure_ascii=False, allow_nan=False)


def _print(result: ClaimCheck, outputs: Outputs, text: str | None, brief: str | None) -> None:
    from agree.report.plain_text.details import details
    from agree.report.plain_text.screen import answer, screen
    from agree.report.story.tell import tell

    story, columns = tell(result), width()
    if outputs.quiet:
        say(brief or answer(result, story, width=columns))
        return
    say(text or screen(result, width=columns, colour=colour(), story=story), coloured=True)
    if outputs.details:
        say("\n" + details(result, story, width=columns))
    for item, best in zip(result.pairs, result.efforts, strict=True) if outputs.efforts else ():
        session = f", session {item.session}" if len(result.pairs) > 1 else ""
        say(f"\nBest efforts{session}\n" + (best.summary() if best is not None else "too few seconds"))
