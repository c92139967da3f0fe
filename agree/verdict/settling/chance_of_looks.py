"""Chance that a claim is settled by declared looks, of which the first settled answer counts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.verdict.looks import level_at
from agree.verdict.rule import FAILS, HOLDS
from agree.verdict.settling.chance import Terms, half_width_at, quantiles

RUNS = 10_000  # Monte-Carlo error of a chance of 80 %: 0.4 points
GRID = 60      # of the sessions' SD found, over the true one, at which half-widths are computed


class Settled(NamedTuple):
    """Share of tests with the answer at or before each look, and mean number of sessions at which a test ends."""

    by_look: tuple[float, ...]
    mean_sessions: float


def settled_by_looks(
    answer: str, looks: Sequence[int], errors: Sequence[float], terms: Sequence[Terms], *, seed: int = 0
) -> Settled:
    """Simulate tests that stop at the first look with an answer; the same numbers in each call.

    Sessions are normal about the true error against this reference, whose own error is drawn as it is stated. The
    level of each look is that of `level_at`. Bands are drawn one by one: "holds" asks it of each at the level of the
    look, "does not hold" of any, at the joint level.

    Parameters
    ----------
    answer : {"holds", "does not hold"}
        The answer whose chance is asked for.
    looks : sequence of int
        Increasing numbers of sessions.
    errors, terms : sequence
        True error and terms of each band, or one of each.

    Examples
    --------
    >>> from agree.verdict.settling.chance import Terms
    >>> from agree.verdict.settling.chance_of_looks import settled_by_looks
    >>> from agree.verdict.error_distribution import EXACT
    >>> found = settled_by_looks("holds", (3, 5, 8), [0.0], [Terms(limit=1.5, sd=0.88, known=EXACT, level=0.95)])
    >>> [round(share, 2) for share in found.by_look], round(found.mean_sessions, 1)
    ([0.04, 0.29, 0.93], 7.1)
    """
    rng = np.random.default_rng(seed)
    share = rng.random(RUNS)
    holds = np.ones((len(looks), RUNS), bool)
    fails = np.zeros((len(looks), RUNS), bool)
    for error, band in zip(errors, terms, strict=True):
        shift = quantiles(band.known, share) if band.known.u > 0 else 0.0
        drawn = error + shift + (band.sd * rng.normal(size=(looks[-1], RUNS)))
        for k, count in enumerate(looks):
            mean, ratio = drawn[:count].mean(axis=0), drawn[:count].std(axis=0, ddof=1) / max(band.sd, 1e-300)
            level = level_at(looks, count, band.level) or band.level
            holds[k] &= np.abs(mean) + _half(band._replace(level=level), count, ratio) <= band.limit
            fails[k] |= np.abs(mean) - _half(band._replace(level=level ** (1 / len(terms))), count, ratio) > band.limit
    settled = holds | fails
    first = np.where(settled.any(axis=0), settled.argmax(axis=0), len(looks) - 1)
    wanted = {HOLDS: holds, FAILS: fails}[answer][first, np.arange(RUNS)]
    ends = np.array(looks)[first]
    return Settled(tuple(float((wanted & (first <= k)).mean()) for k in range(len(looks))), float(ends.mean()))


def _half(terms: Terms, sessions: int, ratio: FloatArray) -> FloatArray:
    """Half-width for each ratio of the SD found to the true one, between those of a grid."""
    grid = np.linspace(0.0, float(ratio.max()) or 1.0, GRID)
    found: FloatArray = np.interp(ratio, grid, half_width_at(terms, sessions, grid))
    return found
