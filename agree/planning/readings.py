"""Sessions that settle a claim about single readings: simulated tests, counted as `share_within` counts them."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.results.note import Note
from agree.planning.case import PlanCase
from agree.verdict.error_distribution import KnownError, interval_half_width
from agree.verdict.meanings import SHARE, share_of_normal
from agree.verdict.rule import FAILS, HOLDS, OPEN
from agree.verdict.settling.chance import LEAST_SESSIONS, quantiles

# Points spread evenly over the unit cube (Roberts 2018, from memory): multiples of powers of the root of x^4 = x + 1.
POINTS = 400
GOLDEN = 1.2207440846057596 ** -np.arange(1.0, 4.0)
RUNS = 2000  # tests simulated for one number of sessions: Monte-Carlo error of a chance of 80 %: 0.9 points


class Readings(NamedTuple):
    """What a plan of single readings rests on, in one unit.

    `limit`, `sd` between sessions, `window_sd` of a reading about its session's mean, `windows` readings a session.
    """

    limit: float
    sd: float
    window_sd: float
    windows: int
    known: KnownError
    level: float

    def share(self, error: float) -> float:
        """Return the share of readings of such a device that lie within the limit, over sessions without end."""
        return float(_inside(np.array(error), self.limit, math.hypot(self.sd, self.window_sd)))


def chance_of_share(answer: str, sessions: int, error: float, asked: Readings, *, seed: int = 0) -> float:
    """Share of simulated tests with this answer; the same number in each call.

    Session biases and readings about them are normal, neighbouring readings independent; of a session its share, its
    mean squared error, its mean and its variance are drawn, not each reading. The effective number of readings, the
    reference's error and the limits are those of `agree.verdict.meanings.share_within`.

    Examples
    --------
    >>> from agree.planning.readings import Readings, chance_of_share
    >>> from agree.verdict.error_distribution import EXACT
    >>> asked = Readings(limit=1.5, sd=0.3, window_sd=0.4, windows=120, known=EXACT, level=0.95)
    >>> chance_of_share("holds", 12, 0.0, asked) > 0.6 > chance_of_share("holds", 3, 0.0, asked)
    True
    """
    rng = np.random.default_rng([seed, sessions])
    t, w, m = asked.limit, asked.window_sd, asked.windows
    size = (RUNS, sessions)
    bias = error + asked.sd * rng.normal(size=size)
    if asked.known.u > 0:
        bias = bias + quantiles(asked.known, rng.random(RUNS))[:, None]
    # Of (error/limit)^2 in each session: mean and variance of a reading, and the mean of m readings.
    middle, within = (bias**2 + w**2) / t**2, (2 * w**4 + 4 * bias**2 * w**2) / t**4
    means = middle + np.sqrt(within / m) * rng.normal(size=size)
    n = float(sessions * m)
    alone = (within.mean(axis=1) + means.var(axis=1)) / n
    apart = means.var(axis=1, ddof=1) / sessions
    effective = n / np.maximum(apart / np.maximum(alone, 1e-300), 1.0)
    wide = np.full((RUNS, 1), float(interval_half_width(0.0, math.inf, asked.known, asked.level)))
    shares = [rng.binomial(m, _inside(bias, t, w)).mean(axis=1) / m]
    if (wide > 0).any():
        shares += [_inside(bias + side * wide, t, w).mean(axis=1) for side in (-1, 1)]
    low = np.min([_end(share, effective, (1 - asked.level) / 2, -1) for share in shares], axis=0)
    high = np.max([_end(share, effective, (1 - asked.level) / 2, 1) for share in shares], axis=0)
    settled = low >= SHARE if answer == HOLDS else high < SHARE
    chosen = np.flatnonzero(settled)
    found = (bias + w / math.sqrt(m) * rng.normal(size=size)) / t
    about = (w / t) ** 2 * rng.chisquare(max(m - 1, 1), size=size) / m
    settled[chosen] = _as_pivots(found[chosen], about[chosen], float(wide[0, 0]) / t, (answer == HOLDS), asked.level, m)
    return float(settled.mean())


def _as_pivots(means: FloatArray, within: FloatArray, shift: float, holds: bool, level: float,
               windows: int) -> NDArray[np.bool_]:
    """Whether means and variances of sessions (tests, sessions), in limits, settle it by `share_within`'s pivots."""
    count = means.shape[1]
    point = np.modf(0.5 + np.arange(1, POINTS + 1)[:, None] * GOLDEN)[0]
    normal, other = special.ndtri(point[:, 0]), special.ndtri(point[:, 2])
    between = means.var(axis=1, ddof=1)[:, None] / (special.chdtri(count - 1, point[:, 1]) / (count - 1))
    w = within.mean(axis=1)
    relative = within.var(axis=1, ddof=1) / count / np.maximum(w, 1e-300) ** 2
    df = np.clip(2 / np.maximum(relative, 1e-12), count - 1, max(count * (windows - 1), 1))[:, None]
    chi = np.maximum(1 - 2 / (9 * df) + other * np.sqrt(2 / (9 * df)), 0.01) ** 3  # Wilson & Hilferty (1931)
    middle, sd = means.mean(axis=1)[:, None] + normal * np.sqrt(between / count), np.sqrt(between + w[:, None] / chi)
    settled = np.ones(means.shape[0], bool)
    for side in (-1, 0, 1) if shift > 0 else (0,):
        inside = sd <= np.interp(np.abs(middle + side * shift), *_most_sd(), right=0.0)
        settled &= (inside if holds else ~inside).mean(axis=1) >= (1 + level) / 2
    return settled


@lru_cache(maxsize=1)
def _most_sd() -> tuple[FloatArray, FloatArray]:
    """Means from 0 to 1, and the largest SD with which the wanted share of normal errors lies between -1 and 1."""
    means = np.linspace(0, 1, 201)
    low, high = np.zeros(means.size), np.ones(means.size)
    for _ in range(40):
        sd = (low + high) / 2
        enough = share_of_normal(means, sd) >= SHARE
        low, high = np.where(enough, sd, low), np.where(enough, high, sd)
    return means, low


def _inside(bias: FloatArray, limit: float, spread: float) -> FloatArray:
    """Share of normal readings about each bias that lie within the limit."""
    if not spread > 0:
        return (np.abs(bias) <= limit).astype(float)
    found: FloatArray = special.ndtr((limit - bias) / spread) - special.ndtr((-limit - bias) / spread)
    return np.clip(found, 0.0, 1.0)


def _end(share: FloatArray, n: FloatArray, alpha: float, side: int) -> FloatArray:
    """Clopper & Pearson's limit on one side."""
    inside, outside = share * n, (1 - share) * n
    if side < 0:
        found = special.betaincinv(np.maximum(inside, 1e-9), outside + 1, alpha)
        return np.where(share == 0, 0.0, found)
    found = special.betaincinv(inside + 1, np.maximum(outside, 1e-9), 1 - alpha)
    return np.where(share == 1, 1.0, found)


def readings_case(error: float, power: float, likely: Readings, careful: Readings, measured: bool,
                  most: int) -> PlanCase:
    """Sessions for one true error; `careful` has the upper SD of a pilot, and is planned with."""
    share = likely.share(error)
    answer = HOLDS if share > SHARE else FAILS if share < SHARE else OPEN

    def needed(asked: Readings) -> int | None:
        low, high = LEAST_SESSIONS, most
        if chance_of_share(answer, high, error, asked) < power:
            return None
        while low < high:
            middle = (low + high) // 2
            low, high = (low, middle) if chance_of_share(answer, middle, error, asked) >= power else (middle + 1, high)
        return low

    terms = careful if measured else likely
    sessions = None if answer == OPEN else needed(terms)
    because = None if sessions else Note(kind="plan_readings", values={"share": share, "wanted": SHARE, "most": most})
    return PlanCase(
        true_error=error, power=power, answer=answer, sessions=sessions,
        expected=needed(likely) if measured and answer != OPEN else None,
        reached=math.nan if sessions is None else chance_of_share(answer, sessions, error, terms),
        ceiling=math.nan, possible=answer != OPEN, by_width=None, because=because, u_needed=None)
