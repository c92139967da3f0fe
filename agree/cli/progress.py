"""Progress on stderr: what is being done and for how long still, if it takes over a second and someone looks."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

from agree.core.results.plain import plain_name

AFTER_S, EVERY_S = 1.0, 0.2
CLEAR = "\r\x1b[K"
_quiet = threading.Event()


def be_quiet() -> None:
    """Show no progress from now on."""
    _quiet.set()


class Progress:
    """Counts steps and tells what is left; safe to use from the thread that works while another one shows."""

    def __init__(self, what: str, steps: int = 1) -> None:
        self.what, self.steps, self.done = what, steps, 0
        self.begin = time.monotonic()

    def step(self) -> None:
        """Count one step as done."""
        self.done += 1

    def line(self) -> str:
        """Return one line: what, which step, and the time left once a step shows how long one takes."""
        text = f"agree: {plain_name(self.what)}"
        if self.steps > 1:
            text += f", {min(self.done + 1, self.steps)} of {self.steps}"
            if 0 < self.done < self.steps:
                left = (time.monotonic() - self.begin) / self.done * (self.steps - self.done)
                text += f", about {max(round(left), 1)} s left"
        return text + " ..."


@contextmanager
def progress(what: str, steps: int = 1) -> Iterator[Progress]:
    """Show what is being done while the block runs."""
    state = Progress(what, steps)
    if _quiet.is_set() or not sys.stderr.isatty():
        yield state
        return
    over = threading.Event()

    def show() -> None:
        if over.wait(AFTER_S):
            return
        while True:
            sys.stderr.write(CLEAR + state.line())
            sys.stderr.flush()
            if over.wait(EVERY_S):
                break
        sys.stderr.write(CLEAR)
        sys.stderr.flush()

    thread = threading.Thread(target=show, daemon=True)
    thread.start()
    try:
        yield state
    finally:
        over.set()
        thread.join()
