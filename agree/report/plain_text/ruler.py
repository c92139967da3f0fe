"""A ruler in characters: claim in square brackets, interval in round ones, o the estimate, | zero, < > cut off."""

from __future__ import annotations

import math
from collections.abc import Sequence

from agree.core.interval.estimate import Estimate

MOST_CLAIMS = 6.0  # beyond so many claims an interval is cut
ROOM = 1.06        # of the axis beyond the furthest thing it shows


def span(limit: float, items: Sequence[Estimate]) -> float:
    """Half-length of an axis around zero that shows claim and intervals, cut at 6 claims."""
    ends = [abs(x) for item in items for x in (item.value, item.low, item.high) if math.isfinite(x)]
    return ROOM * max(limit, min(max(ends, default=limit), MOST_CLAIMS * limit))


def ruler(item: Estimate, limit: float, half: float, width: int, *, interval: bool = True) -> str:
    """Draw one estimate in so many characters (odd), from -half to +half.

    Examples
    --------
    >>> from agree import Estimate
    >>> from agree.report.plain_text.ruler import ruler
    >>> item = Estimate(value=-0.4, low=-1.0, high=0.2, level=0.95, method="t")
    >>> ruler(item, 1.5, 2.0, 21)
    '  [..(--o-|)......]  '
    """
    middle = width // 2

    def place(value: float) -> int:
        return round(middle + value / half * middle)

    known = interval and not (math.isnan(item.low) or math.isnan(item.high))
    cells = [" "] * width
    left, right = place(-limit), place(limit)
    for k in range(max(left, 0), min(right, width - 1) + 1):
        cells[k] = "."
    if known:
        first, last = (min(max(place(max(min(x, 2 * half), -2 * half)), -1), width) for x in (item.low, item.high))
        for k in range(max(first, 0), min(last, width - 1) + 1):
            cells[k] = "-"
    for k, mark in ((left, "["), (right, "]"), (middle, "|")):
        cells[k] = mark
    if known:
        for k, mark in ((first, "("), (last, ")")):
            if 0 <= k < width:
                cells[k] = mark
            else:
                cells[0 if k < 0 else width - 1] = "<" if k < 0 else ">"
    if math.isfinite(item.value):
        at = place(max(min(item.value, 2 * half), -2 * half))
        cells[min(max(at, 0), width - 1)] = "o" if 0 <= at < width else "<" if at < 0 else ">"
    return "".join(cells)
