"""A value that stands for no reading: one that is held again and again, and hardly read otherwise."""

from __future__ import annotations

import numpy as np

from agree.core.data.runs import runs
from agree.core.thresholds import MARKER_BEYOND, MARKER_HELD, MARKER_RUNS
from agree.faults.view import View


def with_marker(view: View, spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Held runs, and all other seconds of a value that stands for no reading, if there is one.

    It is held more than once, and is the highest or lowest of all, while what the other trace foretells is short of it
    in nearly every such second: at the most that a sensor can read, it is not. Or it is neither, and nearly every
    second of it is held. Then no second of it is genuine, the first of each run included.
    """
    values = [float(view.y[start]) for start, _ in spans]
    for value in {one for one in values if values.count(one) >= MARKER_RUNS}:
        if _no_reading(view, value, sum(stop - start for start, stop in spans if view.y[start] == value)):
            of_value = runs((view.y == value) & view.known)
            return sorted([*(span for span in spans if view.y[span[0]] != value), *of_value])
    return spans


def _no_reading(view: View, value: float, held_s: int) -> bool:
    at = view.y == value
    rest = view.y[np.isfinite(view.y) & ~at]
    for sign in (1, -1):
        if (sign * (value - rest) > 0).all():
            return bool((sign * (value - view.usual[at & view.known]) > 0).mean() >= MARKER_BEYOND)
    return bool(held_s >= MARKER_HELD * at.sum())
