"""Single trials that stand far apart from all others: slips of typing, zeros that are no readings; they stay in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from agree.core.errors import SampleSizeError
from agree.core.results.note import Note
from agree.core.thresholds import TRIALS_APART, TRIALS_FAR_OFF, TRIALS_MOST_FAR_OFF, TRIALS_ZERO_BESIDE
from agree.trials.scaled import ScaledErrors, kept_trials
from agree.trials.trials import Trials

NORMAL = 1.4826  # SD of a normal over its median absolute deviation


def zeros(trials: Trials) -> NDArray[np.bool_]:
    """(n,) where one method reads exactly 0 while the other reads a usual level; a 0 there is seldom a reading."""
    x, y = trials.reference, trials.device
    usual = [float(np.median(np.abs(values))) for values in (x, y)]
    found: NDArray[np.bool_] = ((y == 0) & (np.abs(x) > TRIALS_ZERO_BESIDE * usual[0])) | (
        (x == 0) & (np.abs(y) > TRIALS_ZERO_BESIDE * usual[1]))
    return found if trials.quantity.percent_has_meaning else np.zeros(x.size, bool)


def far_off(scaled: ScaledErrors) -> NDArray[np.bool_]:
    """(n,) trials far apart: zeros beside a usual level, and errors far beyond all others.

    An error is far off if it lies 12 robust SDs and more from the median, and three times as far as the furthest that
    is not: of heavy tails the furthest are seldom so much further than the next. More than 5 % of all are no slips.
    """
    error, found = scaled.error, zeros(scaled.trials)
    away = np.abs(error - np.median(error))
    spread = NORMAL * float(np.median(away[~found])) if not found.all() else 0.0
    order = np.argsort(away)
    most = max(1, int(TRIALS_MOST_FAR_OFF * away.size))
    for k in range(max(away.size - most, 1), away.size):
        if away[order[k]] > max(TRIALS_FAR_OFF * spread, TRIALS_APART * away[order[k - 1]]) and spread > 0:
            found = found.copy()
            found[order[k:]] = True
            break
    return found


def far_off_notes(scaled: ScaledErrors, verdict: str, again: Callable[[Trials], str]) -> tuple[Note, ...]:
    """Name the trials that stand far apart, and the verdict that `again` gives without them."""
    found = far_off(scaled) if scaled.trials.paired else np.zeros(0, bool)
    if not found.any():
        return ()
    trials, first = scaled.trials, int(np.argmax(np.where(found, np.abs(scaled.error), -1.0)))
    try:
        without = again(replace(kept_trials(trials, ~found), inputs=()))
    except SampleSizeError:
        without = ""
    return (Note(kind="trials_far_off", severity="trust", values={
        "count": int(found.sum()), "zeros": int((found & zeros(trials)).sum()),
        "subject": trials.subjects[trials.subject[first]], "reference": float(trials.reference[first]),
        "device": float(trials.device[first]), "unit": trials.quantity.computed_in,
        "verdict": verdict, "without": without}),)
