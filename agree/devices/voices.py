"""Which recordings speak with one voice: one device through two links or settings is no second witness."""

from __future__ import annotations

import numpy as np

from agree.core.data.pairs import Pairs
from agree.core.thresholds import ONE_VOICE_W
from agree.devices.line_up import LinedUp

LEAST_CHANGES = 60  # seconds in which both readings change, below which nothing is said


def one_voice(pairs: Pairs) -> bool:
    """Whether two recordings are a constant times one another to rounding, second by second, as changes come.

    Two sensors on one effort differ by several watts from second to second; one sensor recorded twice, or with another
    factor set, by rounding: root(1/6) = 0.41 W. The middle half of the differences is asked, so that lost packets do
    not hide it.
    """
    both = pairs.used & np.isfinite(pairs.reference) & np.isfinite(pairs.device)
    x, y = pairs.reference[both], pairs.device[both]
    moving = np.r_[False, (np.diff(x) != 0) & (np.diff(y) != 0)]
    if moving.sum() < LEAST_CHANGES:
        return False
    x, y = x[moving], y[moving]
    ratio = float(np.median(y / np.where(x > 0, x, np.nan))) if (x > 0).all() else float(y.sum() / x.sum())
    low, high = np.percentile(y - ratio * x, (25, 75))
    return bool((high - low) / 1.349 <= ONE_VOICE_W)


def voices(lined: LinedUp) -> tuple[int, ...]:
    """Return for each recording the first one that speaks with its voice: itself, if none does."""
    owner = list(range(len(lined.names)))
    for (i, j), pairs in sorted(lined.pairings.items()):
        if owner[j] == j and one_voice(pairs):
            owner[j] = owner[i]
    return tuple(owner)
