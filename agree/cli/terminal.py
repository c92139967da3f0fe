"""What commands share: progress on a terminal, and checks of their arguments."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path

NARROWEST = 30


def edges_of(text: str | None) -> list[float] | None:
    """Read edges of power bands such as "100,200,300"."""
    from agree.core.errors import InputError

    try:
        return None if text is None else [float(edge) for edge in text.split(",")]
    except ValueError:
        raise InputError(f"--bands {text!r} is not understood; write edges in W like 100,200,300") from None


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


def outputs_are_no_inputs(files: Sequence[tuple[str | None, ...]], *outputs: str | None) -> None:
    """Refuse to write over a recording, or two outputs to one place."""
    from agree.core.errors import InputError

    inputs = {Path(name).resolve() for pair in files for name in pair if name is not None}
    for name in outputs:
        if name not in (None, "-") and Path(str(name)).resolve() in inputs:
            raise InputError(f"{name} is one of the recordings; a recording is never written over: choose another name")
    written = [Path(str(name)).resolve() for name in outputs if name not in (None, "-")]
    for k, place in enumerate(written):
        if place in written[:k] or any(place.exists() and other.exists() and place.samefile(other)
                                       for other in written[:k]):
            raise InputError(f"{place.name} is given for two outputs; the second would write over the first: give each "
                             "a name of its own")
