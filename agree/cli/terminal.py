"""What commands share: progress on a terminal, and checks of their arguments."""

from __future__ import annotations

import itertools
import os
import re
import shlex
import shutil
import sys
import unicodedata
from collections.abc import Iterable, Sequence

import click

from agree.core.results.plain import plain_name

NARROWEST = 30
COLOURED = re.compile("(\x1b\\[[0-9;]*m)")  # what `colour` allows


def say(text: object = "", *, err: bool = False, nl: bool = True, coloured: bool = False) -> None:
    r"""Print text, each character in it that acts on a terminal replaced by "?", whoever brought it.

    Line ends, tabs and blanks of any width stay, and where the text is `coloured` its colours.
    """
    parts = COLOURED.split(str(text)) if coloured else [str(text)]
    shown = [part if k % 2 else "".join(
        c if c.isprintable() or c in "\n\t" or unicodedata.category(c) == "Zs" else "?" for c in part)
        for k, part in enumerate(parts)]
    click.echo("".join(shown), err=err, nl=nl, color=True if coloured else None)


def as_typed(*words: object) -> str:
    """Return a command as it is typed in a shell, on one line."""
    return shlex.join(map(plain_name, words))


def written(names: Iterable[object]) -> str:
    """Return the line that names the files that were written."""
    return f"Written: {', '.join(map(plain_name, names))}"


def edges_of(text: str | None) -> list[float] | None:
    """Read edges of power bands such as "100,200,300"."""
    from agree.core.errors import InputError

    try:
        edges = None if text is None else [float(edge) for edge in text.split(",")]
    except ValueError:
        raise InputError(f"--bands {text!r} is not understood; write edges in W like 100,200,300") from None
    if edges is not None and (len(edges) < 2 or not all(low < high for low, high in itertools.pairwise(edges))):
        raise InputError(f"--bands {text!r} must be at least two increasing edges in W, like 100,200,300")
    return edges


def width() -> int:
    """Columns of the terminal, or those that COLUMNS asks for; 80 where the output goes to a file or a pipe."""
    return max(shutil.get_terminal_size((80, 24)).columns, NARROWEST)


def colour() -> bool:
    """Whether the terminal shows colour and nobody asked for none (https://no-color.org)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM", "dumb") != "dumb"


def looks_of(text: str | None) -> list[int] | None:
    """Read increasing numbers of sessions such as "3,5,8"."""
    from agree.core.errors import InputError
    from agree.verdict.looks import checked_looks

    try:
        return None if text is None else list(checked_looks([int(count) for count in text.split(",")]))
    except ValueError:  # InputError is one: the option is named, not the argument
        raise InputError(f"--looks {text!r} is not understood; write increasing numbers of sessions, 2 or more each, "
                         "like 3,5,8") from None


def handling_of(texts: Sequence[str]) -> dict[str, str]:
    """Read what to do with faults: a word for all kinds, KIND=HOW for one; the later counts."""
    from agree.core.data.fault import FAULT_KINDS, HANDLINGS, SLOW
    from agree.core.errors import InputError

    hows, kinds = ({name.replace("_", "-").replace(" ", "-"): name for name in names}
                   for names in (HANDLINGS, FAULT_KINDS))
    chosen: dict[str, str] = {}
    for text in texts:
        first, _, last = (part.strip().replace("_", "-").replace(" ", "-") for part in text.rpartition("="))
        if last not in hows or first not in ("", *kinds):
            raise InputError(f"--faults {text!r} is not understood; write HOW or KIND=HOW, with HOW one of "
                             f"{', '.join(hows)} and KIND one of {', '.join(kinds)}")
        how, kind = hows[last], kinds.get(first, "")
        every = [kind for kind in FAULT_KINDS if how != "set aside" or kind not in SLOW]  # these only by name
        chosen |= dict.fromkeys([kind] if kind else every, how)
    return chosen
