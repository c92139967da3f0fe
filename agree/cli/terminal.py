"""What commands share: progress on a terminal, and checks of their arguments."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

PROGRESS_AFTER_S = 1.0


def edges_of(text: str | None) -> list[float] | None:
    """Read edges of power bands such as "100,200,300"."""
    from agree.core.errors import InputError

    try:
        return None if text is None else [float(edge) for edge in text.split(",")]
    except ValueError:
        raise InputError(f"--bands {text!r} is not understood; write edges in W like 100,200,300") from None


def handling_of(texts: Sequence[str]) -> dict[str, str]:
    """Read what to do with faults: a word for all kinds, KIND=HOW for one; the later counts."""
    from agree.core.errors import InputError
    from agree.core.fault import FAULT_KINDS, HANDLINGS, SLOW

    chosen: dict[str, str] = {}
    for text in texts:
        kind, _, how = (part.strip() for part in text.rpartition("="))
        if how not in HANDLINGS or kind not in ("", *FAULT_KINDS):
            raise InputError(f"--faults {text!r} is not understood; write HOW or KIND=HOW, with HOW one of "
                             f"{', '.join(HANDLINGS)} and KIND one of {', '.join(FAULT_KINDS)}")
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


@contextmanager
def progress(what: str) -> Iterator[None]:
    """Say on stderr what is being done if it takes over a second and a person is watching."""
    if not sys.stderr.isatty():
        yield
        return
    shown: list[Any] = []

    def show() -> None:
        from rich.console import Console

        shown.append(Console(stderr=True).status(f"{what} ..."))
        shown[0].start()

    timer = threading.Timer(PROGRESS_AFTER_S, show)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        timer.join()
        for status in shown:
            status.stop()
