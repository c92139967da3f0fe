"""Which of the seconds that may be faulty are: the choice that leaves least of the slow trace unexplained.

The slow trace is y = k F(x + a fault for each run that has one) + error. Each fault has a size of about 1 and costs the
odds against it. How likely each run is faulty is found run by run, again and again, with the rest as likely as they are
then (a mean field: Jordan MI et al. 1999, Machine Learning 37:183; from memory); k, the errors and the odds are found
anew from that. Of two ends that differ, the one with the lower bound of its likelihood that is better counts.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    MAYBE_COMMON,
    MAYBE_DOUBT,
    MAYBE_FILL_S,
    MAYBE_ODDS,
    MAYBE_ODDS_LEAST,
    MAYBE_WEAK,
    RATIOS_ALIKE,
    SLOW_HISTORY,
    SPIKE_S,
    WORKING_W,
)
from agree.estimators.response.kernels import Kernel, weight_within
from agree.estimators.response.nonlinear.any_filter import through
from agree.faults.behind_slow.candidates import NORMAL, Maybe
from agree.faults.behind_slow.weighing import MOVED, NEVER, Runs, Sizes, Whitened, shown_by
from agree.faults.view import usual_error

ROUNDS = 8
FREE_ROUNDS, FREE_COLOUR = 2, 0.5  # rounds in which what is not explained yet is not taken for errors that last
EXPECTED_ROUNDS = 4  # in which the ratio comes of sizes as expected: by those found beside a wrong one it hardly moves
MOST_COLOUR = 0.98
PROFILE_STEP, PROFILE_GROWS, PROFILE_FARTHEST = 0.001, 1.4, 0.04  # of the ratio, from one that is tried to the next
BETWEEN = 6          # ratios that are tried between two ends
DRIFT_S = 901        # s of work over which a device may drift: what is slower is no fault
LIKELY = 0.5         # a run that is as likely faulty counts as such


class Chosen(NamedTuple):
    """A run that may be faulty: how likely, its size if it is, and the standard error of its energy, W s."""

    run: Maybe
    sure: float
    size: float
    error: float

    @property
    def faulty(self) -> bool:
        """Whether it is more likely faulty than not."""
        return self.sure >= LIKELY


class Choice(NamedTuple):
    """Runs that may be faulty in order of time, the ratio of the slow trace to the sharp one, and what is left.

    `lowest` and `highest` are the ratios that leave about as little: where they are apart, the traces do not tell which
    runs are faulty. `seconds` is how many of the slow trace tell it; `most` how many are faulty at most, as
    likely.
    """

    runs: tuple[Chosen, ...]
    ratio: float
    left: float
    lowest: float
    highest: float
    seconds: int = 1
    most: int = 0

    @property
    def faulty_s(self) -> int:
        """Seconds that are more likely faulty than not."""
        return sum(one.run.stop - one.run.start for one in self.runs if one.faulty)

    @property
    def unsure(self) -> bool:
        """Whether other faults, which make another mean error, are as likely."""
        return self.highest - self.lowest > RATIOS_ALIKE * self.ratio


def most_likely(sharp: FloatArray, slow: FloatArray, by: Kernel, some: list[Maybe]) -> Choice:
    """The choice of faulty runs under which the slow trace is most likely.

    A ratio of the two traces that is wrong hides faults that are common, and the faults then keep the ratio. So the
    choice is made from several sides (`starts`), and then for ratios between what these end at: the one counts that
    leaves least.

    Parameters
    ----------
    sharp, slow : (n,) array, W
        Readings, NaN where unknown; of the slow trace also where it is faulty itself.
    by : Kernel
        The filter from the one to the other.
    some : list of Maybe
        Runs that may be faulty, in order of time.
    """
    model = _Model(sharp, slow, by, some)
    tried = [model.settled(model.start(sure)) for sure in starts(some, model.short)]
    low, high = (pick(one.ratio for one, _ in tried) for pick in (min, max))
    if high - low > RATIOS_ALIKE * high:
        ends = [pick(tried, key=lambda one: one[0].ratio)[1] for pick in (min, max)]
        for ratio in np.linspace(low - (high - low) / BETWEEN, high, BETWEEN):
            tried += [model.settled(sizes, float(ratio)) for sizes in ends]
        tried.append(model.settled(min(tried, key=lambda one: one[0].left)[1]))
    return best_of([one for one, _ in tried])


def starts(some: list[Maybe], short: NDArray[np.bool_]) -> list[NDArray[np.bool_]]:
    """Runs that are taken for faulty to begin with, from one side after the other.

    None; all short ones; these and all zeros; short zeros alone: where hundreds of short runs are the rider's own, what
    begins with all of them ends far off.

    Parameters
    ----------
    some : list of Maybe
        Runs that may be faulty.
    short : (n,) array of bool
        Those of a few seconds.
    """
    zeros = np.array([one.kind == "dropout" and one.stop - one.start <= MAYBE_FILL_S for one in some], bool)
    found = [np.zeros(len(some), bool), short]
    if (zeros & ~short).any():
        found.append(short | zeros)
    if 0 < (short & zeros).sum() < short.sum():
        found.append(short & zeros)
    return found


def in_doubt(sharp: FloatArray, slow: FloatArray, by: Kernel, some: list[Maybe], best: Choice) -> Choice:
    """The choice with the farthest ratios under which some other faults are about as likely.

    From the ratio of the choice one goes up, and down, and chooses the faults anew at each step: a profile of the
    likelihood. Other arguments as for `most_likely`.
    """
    model = _Model(sharp, slow, by, some)
    known = {(one.run.kind, one.run.start, one.run.stop): one for one in best.runs}
    found = [known.get((one.kind, one.start, one.stop)) for one in some]
    begin = Sizes(np.array([0.0 if one is None else one.sure for one in found]),
                  np.array([1.0 if one is None else one.size for one in found]))
    doubt = MAYBE_DOUBT + MAYBE_WEAK * model.weak(begin)
    profile = [best]
    for sign in (-1, 1):
        size, far = begin, PROFILE_STEP
        while far <= PROFILE_FARTHEST:
            one, size = model.settled(size, best.ratio * (1 + sign * far))
            profile.append(one)
            if one.left > min(item.left for item in profile) + doubt:
                break
            far *= PROFILE_GROWS
    least = min(one.left for one in profile)
    ratios = [best.lowest, best.highest, *(one.ratio for one in profile if one.left <= least + doubt)]
    return best._replace(lowest=min(ratios), highest=max(ratios), most=max(
        one.faulty_s for one in profile if one.left <= least + MAYBE_DOUBT))


def best_of(tried: list[Choice]) -> Choice:
    """The choice that leaves least, with the ratios of all that leave about as little."""
    best = min(tried, key=lambda one: one.left)
    alike = [one.ratio for one in tried if one.left <= best.left + MAYBE_DOUBT]
    return best._replace(lowest=min(alike), highest=max(alike))


class _Model:
    """The two traces and all runs, with one choice at a time."""

    def __init__(self, sharp: FloatArray, slow: FloatArray, by: Kernel, some: list[Maybe]) -> None:
        self.by, n = by, sharp.size
        known = np.isfinite(sharp)
        at = np.flatnonzero(known)
        self.sharp = np.interp(np.arange(n), at, sharp[at]) if at.size else np.zeros(n)
        inside = weight_within(n, by.start, by.weights) >= SLOW_HISTORY
        self.fair = np.isfinite(slow) & (slow > 0) & inside & (through((~known).astype(float), by) < 1 - SLOW_HISTORY)
        self.slow = slow
        self.kinds = np.array([one.kind for one in some])
        beside: list[list[int]] = [[] for _ in some]
        for i, one in enumerate(some):
            for j in range(i + 1, len(some)):
                if some[j].start >= one.stop:
                    break
                beside[i].append(j)
                beside[j].append(i)
        self.runs = Runs(
            some, by, shown_by(some, by, n),
            1 / np.array([one.spread for one in some]) ** 2, beside,
            np.array([(i, j) for i, others in enumerate(beside) for j in others], int).reshape(-1, 2).T)
        self.short = np.zeros(len(some), bool)
        for i, one in enumerate(some):
            brief = one.kind == "short" or (one.kind == "dropout" and one.stop - one.start <= SPIKE_S)
            self.short[i] = brief and not any(self.short[j] for j in beside[i])

    def start(self, sure: FloatArray | NDArray[np.bool_]) -> Sizes:
        """So likely faulty, and of the size that is expected."""
        return Sizes(sure.astype(float), np.ones(len(self.runs.some)))

    def settled(self, start: Sizes, ratio: float | None = None) -> tuple[Choice, Sizes]:
        """The choice that is reached from a start, with a ratio that is found with it or given."""
        size = Sizes(start.sure.copy(), start.best.copy())
        odds = dict.fromkeys(("dropout", "short", "partial", "spike"), MAYBE_ODDS)
        # A start is no evidence that faults are more common than not.
        odds |= {kind: max(one, 0.0) for kind, one in self._odds(size).items()} if size.sure.any() else {}
        whitened = self._whitened(size, ratio, lasting=True)
        for number in range(0 if ratio is None else FREE_ROUNDS, ROUNDS):
            expected = ratio is None and number < EXPECTED_ROUNDS
            now = self._ratio(self.made(self.start(size.sure))) if expected else ratio
            whitened = self._whitened(size, now, lasting=number >= FREE_ROUNDS)
            before = size.sure.copy()
            whitened.sweep(size, np.array([odds[kind] for kind in self.kinds]))
            odds |= self._odds(size)
            if number >= FREE_ROUNDS and not expected and np.abs(size.sure - before).max(initial=0.0) < MOVED:
                break
        left = whitened.left(size, odds)
        runs = tuple(Chosen(self.runs.some[i], float(size.sure[i]), float(size.best[i]), whitened.error(int(i)))
                     for i in np.flatnonzero(size.sure > NEVER))
        return Choice(runs, whitened.ratio, left, whitened.ratio, whitened.ratio, whitened.count), size

    def weak(self, size: Sizes) -> int:
        """How many runs are such that the slow trace does not tell of each by itself whether it is faulty."""
        square = self._whitened(size, None, lasting=True).square
        return int(((square < MAYBE_ODDS) & (self.kinds != "partial")).sum())

    def made(self, size: Sizes) -> FloatArray:
        """What the slow trace would read, but for the ratio."""
        filled, mean = self.sharp.copy(), size.mean
        for i in np.flatnonzero(mean):
            filled[self.runs.some[i].start:self.runs.some[i].stop] += mean[i] * self.runs.some[i].adds
        return through(filled, self.by)

    def _ratio(self, made: FloatArray) -> float:
        """Usual ratio of the slow trace to what it would read."""
        work = self.fair & (made > WORKING_W)
        return float(np.median(self.slow[work] / made[work])) if work.any() else 1.0

    def _odds(self, size: Sizes) -> dict[str, float]:
        """Twice the log of the odds against a fault, by kind, from how many runs are faulty now."""
        found, beside = {}, np.zeros(size.sure.size)
        np.maximum.at(beside, self.runs.pairs[0], size.sure[self.runs.pairs[1]])
        for kind in set(self.kinds.tolist()):
            free = np.flatnonzero((self.kinds == kind) & (beside <= size.sure))
            found[kind] = MAYBE_ODDS  # each must be sure by itself, unless there are some
            if float(size.sure[free].sum()) >= MAYBE_COMMON:
                share = (float(size.sure[free].sum()) + 0.5) / (free.size + 1)
                found[kind] = float(np.clip(2 * math.log((1 - share) / share), MAYBE_ODDS_LEAST, MAYBE_ODDS))
        return found

    def _whitened(self, size: Sizes, ratio: float | None, *, lasting: bool) -> Whitened:
        made = self.made(size)
        work = self.fair & (made > WORKING_W)
        ratio = self._ratio(made) if ratio is None else ratio
        rest = np.where(work, self.slow / ratio - made, np.nan)
        if lasting and work.sum() > DRIFT_S:
            slowly = usual_error(np.nan_to_num(rest), work, DRIFT_S)
            rest = rest - (slowly - float(np.median(slowly[work])))
        limit = 4 * NORMAL * float(np.median(np.abs(rest[work]))) if work.any() else 0.0
        near = np.clip(np.nan_to_num(rest), -limit, limit)
        most = MOST_COLOUR if lasting else FREE_COLOUR
        colour = float(np.clip(near[1:] @ near[:-1] / max(float(near @ near), 1e-300), 0.0, most))
        return Whitened(self.runs, rest, ratio, colour)


