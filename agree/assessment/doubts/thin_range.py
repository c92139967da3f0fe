"""A part of the range in which fewer than half of the seconds are lost, but enough to break the claim there."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from agree.assessment.doubts.lost_range import LostRange, levels
from agree.core.data.pairs import Pairs
from agree.core.results.note import Note
from agree.core.thresholds import LOST_S, THIN_SHARE
from agree.verdict.bands import default_edges
from agree.verdict.claim import Claim


def thin_range(pairs: Sequence[Pairs], claim: Claim, lost: Sequence[LostRange]) -> tuple[Note, ...]:
    """Return the third of the range with most lost seconds, and how wrong the device need be in them.

    Of a share s of the work that is lost where the device is inside the limit L with a mean error b, the claim is
    broken by an error of (L - |b| (1 - s)) / s in the lost seconds. Said where s is a tenth or more, and larger there
    than in the rest: losses that chance scatters are like the seconds that are left.
    """
    if lost:
        return ()
    parts = [levels(item) for item in pairs]
    level, faulty, missing = (np.concatenate(column) for column in zip(*parts, strict=True))
    gone = faulty | missing
    if gone.sum() < LOST_S or not level.size:
        return ()
    device, reference = (np.concatenate([column[item.used] for item, column in zip(pairs, columns, strict=True)])
                         for columns in ([item.matched_device for item in pairs],
                                         [item.matched_reference for item in pairs]))
    found = []
    for low, high in pairwise(default_edges(level, claim.above)):
        here, used = (level >= low) & (level < high), (reference >= low) & (reference < high)
        work, away = float(level[here].sum()), float(level[here & gone].sum())
        others = float(gone[~here].mean()) if (~here).any() else 0.0
        if work <= 0 or not used.any() or (here & gone).sum() < LOST_S or gone[here].mean() < 2 * others:
            continue
        share = away / work
        limit = 100 * float(claim.limit(reference[used]).sum()) / float(reference[used].sum())
        error = 100 * abs(float((device - reference)[used].sum())) / float(reference[used].sum())
        if share >= THIN_SHARE and error < limit:
            found.append((share, low, high, (limit - error * (1 - share)) / share))
    if not found:
        return ()
    share, low, high, needed = max(found)
    return (Note(kind="range_thin", severity="trust", values={
        "low": low, "high": high, "percent": 100 * share, "needed": needed}),)
