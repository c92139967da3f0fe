"""What a correction does at each power: whether it makes a device wrong where it was right."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    HARM_CLAIM_SHARE,
    HARM_ERRORS,
    HARM_GROWTH_SHARE,
    LEAST_STRETCH_S,
    MOST_HARMED_SHARE,
    MOST_STRETCHES,
    USUAL_SD_PERCENT,
)
from agree.correction.rules import WORTHWHILE_PERCENT, Rule
from agree.verdict.claim import Claim
from agree.verdict.columns import Table, moving_mean

SMOOTH_S = 10   # s: noise of a few seconds does not carry readings into another stretch
BLOCK_S = 60  # s: errors within it may go together; what it does in one stretch counts as one reading


class Stretches(NamedTuple):
    """Narrow stretches of power with about equal seconds of all sessions, (n,) each.

    Mean of the reference, W; mean of the device, W; standard error of their difference, W; share of the seconds.
    """

    reference: FloatArray
    device: FloatArray
    u: FloatArray
    share: FloatArray


def stretches(data: Table) -> Stretches:
    """Cut the range ridden into at most 24 stretches of at least 100 s, by the mean power of both over 10 s.

    By the mean of both, since of readings that are banded by one of two the noise of that one makes an error.
    """
    both = (data.reference + data.device) / 2
    edges = np.flatnonzero(np.diff(data.session)) + 1
    level = np.concatenate([moving_mean(time, power, SMOOTH_S) for time, power in
                            zip(np.split(data.time, edges), np.split(both, edges), strict=True)])
    count = int(np.clip(level.size // LEAST_STRETCH_S, 1, MOST_STRETCHES))
    place = np.empty(level.size, np.intp)
    place[np.argsort(level, kind="stable")] = np.arange(level.size) * count // level.size
    n = np.bincount(place, minlength=count)
    reference, device = (np.bincount(place, column) / n for column in (data.reference, data.device))
    rest = data.error - (device - reference)[place]
    blocks = np.unique(data.session * (1 + int(data.time.max()) // BLOCK_S) + np.floor(data.time / BLOCK_S).astype(int),
                       return_inverse=True)[1]
    sums = np.bincount(blocks * count + place, rest, minlength=count * (int(blocks.max()) + 1)).reshape(-1, count)
    return Stretches(reference, device, np.sqrt((sums**2).sum(axis=0)) / n, n / n.sum())


def harms(at: Stretches, rule: Rule, claim: Claim | None) -> bool:
    """Whether a correction, in W, takes a part of the range ridden out of the claim, or makes much of it worse.

    At a stretch of power it does harm if the error there is clearly below half of what the correction takes off. It
    may do so nowhere where the error grows by half of the claim to more than four fifths of it (without a claim, of
    what days often differ by), and elsewhere in no more than a quarter of the riding.
    """
    if at.reference.size < 2:
        return False
    made = np.maximum((at.device - rule.offset) * rule.scale, 0.0)
    before, change, after = at.device - at.reference, at.device - made, made - at.reference
    worse = np.sign(change) * before < np.abs(change) / 2 - HARM_ERRORS * at.u
    limit = USUAL_SD_PERCENT / 100 * at.reference if claim is None else claim.limit_w(at.reference)
    if claim is not None and claim.above is not None:
        worse &= at.reference >= claim.above
    by = np.abs(after) - np.abs(before)
    much = worse & (by > WORTHWHILE_PERCENT / 100 * at.reference)
    out = worse & (np.abs(after) > HARM_CLAIM_SHARE * limit) & (by > HARM_GROWTH_SHARE * limit)
    return bool(out.any() or at.share[much].sum() > MOST_HARMED_SHARE)
