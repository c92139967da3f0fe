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
    MAYBE_DOUBT,
    MAYBE_FILL_S,
    MAYBE_LEAST,
    MAYBE_ODDS,
    RATIOS_ALIKE,
    SPIKE_S,
    WORKING_W,
)
from agree.estimators.response.kernels import Kernel, weight_within
from agree.estimators.response.nonlinear.any_filter import through
from agree.faults.behind_slow.candidates import NORMAL, Maybe
from agree.faults.view import WHOLE, usual_error

ROUNDS, SWEEPS = 6, 12
FREE_ROUNDS, FREE_COLOUR = 2, 0.5  # rounds in which what is not explained yet is not taken for errors that last
MOST_COLOUR = 0.98
BETWEEN = 6          # ratios that are tried between two ends
DRIFT_S = 901        # s of work over which a device may drift: what is slower is no fault
LEAST_GAIN = 1.0     # of one choice over one that it overlaps
CLIPPED = 25.0       # squares of errors are cut there
MOVED, NEVER = 0.02, 0.01  # changes, and odds, that count for nothing
LIKELY = 0.5         # a run that is as likely faulty counts as such
NO_GAIN = 1e3       # of a run of which the slow trace shows less than half
SURE = 700.0         # gains are cut there: their exponential would be infinite
ENOUGH = 5           # runs of a kind that tell how common it is


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
    runs are faulty.
    """

    runs: tuple[Chosen, ...]
    ratio: float
    left: float
    lowest: float
    highest: float

    @property
    def unsure(self) -> bool:
        """Whether other faults, which make another mean error, are as likely."""
        return self.highest - self.lowest > RATIOS_ALIKE * self.ratio


def most_likely(sharp: FloatArray, slow: FloatArray, by: Kernel, some: list[Maybe]) -> Choice:
    """The choice of faulty runs under which the slow trace is most likely.

    A ratio of the two traces that is wrong hides faults that are common, and the faults then keep the ratio. So the
    choice is made from several sides, with all short runs or all zeros faulty and with none, and then for ratios
    between what these end at: the one counts that leaves least.

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
    zeros = np.array([one.kind == "dropout" and one.stop - one.start <= MAYBE_FILL_S for one in some], bool)
    starts = [np.zeros(len(some)), model.short, *([model.short | zeros] if (zeros & ~model.short).any() else [])]
    tried = [model.settled(model.start(sure)) for sure in starts]
    low, high = (pick(one.ratio for one, _ in tried) for pick in (min, max))
    if high - low > RATIOS_ALIKE * high:
        ends = [pick(tried, key=lambda one: one[0].ratio)[1] for pick in (min, max)]
        for ratio in np.linspace(low - (high - low) / BETWEEN, high, BETWEEN):
            tried += [model.settled(sizes, float(ratio)) for sizes in ends]
        tried.append(model.settled(min(tried, key=lambda one: one[0].left)[1]))
    return best_of([one for one, _ in tried])


def best_of(tried: list[Choice]) -> Choice:
    """The choice that leaves least, with the ratios of all that leave about as little."""
    best = min(tried, key=lambda one: one.left)
    alike = [one.ratio for one in tried if one.left <= best.left + MAYBE_DOUBT]
    return best._replace(lowest=min(alike), highest=max(alike))


class _Sizes(NamedTuple):
    """How likely each run is faulty, and its size if it is."""

    sure: FloatArray
    best: FloatArray

    @property
    def mean(self) -> FloatArray:
        """Size that is to be expected."""
        return self.sure * self.best


class _Model:
    """The two traces and all runs, with one choice at a time."""

    def __init__(self, sharp: FloatArray, slow: FloatArray, by: Kernel, some: list[Maybe]) -> None:
        self.some, self.by, n = some, by, sharp.size
        known = np.isfinite(sharp)
        at = np.flatnonzero(known)
        self.sharp = np.interp(np.arange(n), at, sharp[at]) if at.size else np.zeros(n)
        inside = weight_within(n, by.start, by.weights) >= WHOLE
        self.fair = np.isfinite(slow) & (slow > 0) & inside & (through((~known).astype(float), by) < 1 - WHOLE)
        self.slow = slow
        self.shown = [np.convolve(one.adds, by.weights) for one in some]
        self.kinds = np.array([one.kind for one in some])
        self.trust = 1 / np.array([one.spread for one in some]) ** 2
        self.beside: list[list[int]] = [[] for _ in some]
        for i, one in enumerate(some):
            for j in range(i + 1, len(some)):
                if some[j].start >= one.stop:
                    break
                self.beside[i].append(j)
                self.beside[j].append(i)
        self.pairs = np.array([(i, j) for i, others in enumerate(self.beside) for j in others], int).reshape(-1, 2).T
        self.short = np.zeros(len(some), bool)
        for i, one in enumerate(some):
            brief = one.kind == "short" or (one.kind == "dropout" and one.stop - one.start <= SPIKE_S)
            self.short[i] = brief and not any(self.short[j] for j in self.beside[i])

    def start(self, sure: FloatArray) -> _Sizes:
        """So likely faulty, and of the size that is expected."""
        return _Sizes(sure.astype(float), np.ones(len(self.some)))

    def settled(self, start: _Sizes, ratio: float | None = None) -> tuple[Choice, _Sizes]:
        """The choice that is reached from a start, with a ratio that is found with it or given."""
        size = _Sizes(start.sure.copy(), start.best.copy())
        odds = dict.fromkeys(("dropout", "short", "partial", "spike"), MAYBE_ODDS)
        odds |= self._odds(size) if size.sure.any() else {}
        whitened = self._whitened(size, ratio, lasting=True)
        for number in range(0 if ratio is None else FREE_ROUNDS, ROUNDS):
            whitened = self._whitened(size, ratio, lasting=number >= FREE_ROUNDS)
            before = size.sure.copy()
            whitened.sweep(size, np.array([odds[kind] for kind in self.kinds]))
            odds |= self._odds(size)
            if number >= FREE_ROUNDS and np.abs(size.sure - before).max(initial=0.0) < MOVED:
                break
        left = whitened.left(size, odds)
        runs = tuple(Chosen(self.some[i], float(size.sure[i]), float(size.best[i]), whitened.error(int(i)))
                     for i in np.flatnonzero(size.sure > NEVER))
        return Choice(runs, whitened.ratio, left, whitened.ratio, whitened.ratio), size

    def made(self, size: _Sizes) -> FloatArray:
        """What the slow trace would read, but for the ratio."""
        filled, mean = self.sharp.copy(), size.mean
        for i in np.flatnonzero(mean):
            filled[self.some[i].start:self.some[i].stop] += mean[i] * self.some[i].adds
        return through(filled, self.by)

    def _odds(self, size: _Sizes) -> dict[str, float]:
        """Twice the log of the odds against a fault, by kind, from how many runs are faulty now."""
        found = {}
        for kind in set(self.kinds.tolist()):
            free = [i for i in np.flatnonzero(self.kinds == kind) if all(
                size.sure[j] <= size.sure[i] for j in self.beside[i])]
            if len(free) > ENOUGH:
                share = (float(size.sure[free].sum()) + 0.5) / (len(free) + 1)
                found[kind] = float(np.clip(2 * math.log((1 - share) / share), 0.0, MAYBE_ODDS))
        return found

    def _whitened(self, size: _Sizes, ratio: float | None, *, lasting: bool) -> _Whitened:
        made = self.made(size)
        work = self.fair & (made > WORKING_W)
        if ratio is None:
            ratio = float(np.median(self.slow[work] / made[work])) if work.any() else 1.0
        rest = np.where(work, self.slow / ratio - made, np.nan)
        if lasting and work.sum() > DRIFT_S:
            slowly = usual_error(np.nan_to_num(rest), work, DRIFT_S)
            rest = rest - (slowly - float(np.median(slowly[work])))
        limit = 4 * NORMAL * float(np.median(np.abs(rest[work]))) if work.any() else 0.0
        near = np.clip(np.nan_to_num(rest), -limit, limit)
        most = MOST_COLOUR if lasting else FREE_COLOUR
        colour = float(np.clip(near[1:] @ near[:-1] / max(float(near @ near), 1e-300), 0.0, most))
        return _Whitened(self, rest, ratio, colour)


class _Whitened:
    """What is left of the slow trace, and what each run would make of it, without the correlation of neighbours."""

    def __init__(self, model: _Model, rest: FloatArray, ratio: float, colour: float) -> None:
        self.model, self.ratio, n = model, ratio, rest.size
        white = np.r_[np.nan, rest[1:] - colour * rest[:-1]]
        known = np.isfinite(white)
        self.sd = max(NORMAL * float(np.median(np.abs(white[known]))) if known.any() else 1.0, 1e-9)
        self.count = int(known.sum())
        self.rest = np.where(known, white, 0.0) / self.sd
        self.begin, self.columns = [], []
        for one, shown in zip(model.some, model.shown, strict=True):
            column, first = np.r_[shown, 0.0] - colour * np.r_[0.0, shown], one.start + model.by.start
            low, high = max(first, 0), max(min(first + column.size, n), first, 0)
            self.begin.append(low)
            self.columns.append(column[low - first:high - first] * known[low:high] / self.sd)
        self.square = np.array([column @ column for column in self.columns])
        sizes = np.array([column.size for column in self.columns], int)
        self.flat = np.concatenate(self.columns) if sizes.size else np.zeros(0)
        self.offsets = np.r_[0, np.cumsum(sizes)[:-1]].astype(int) if sizes.size else np.zeros(0, int)
        self.index = np.repeat(np.array(self.begin, int) - self.offsets, sizes) + np.arange(self.flat.size)
        # The more a run could show, the more of the likelihood its free size uses up.
        self.occam = np.log1p(self.square / model.trust) if sizes.size else np.zeros(0)

    def error(self, i: int) -> float:
        """Standard error of the energy of a run, W s."""
        return float(abs(self.model.some[i].adds.sum()) / math.sqrt(self.square[i] + self.model.trust[i]))

    def left(self, size: _Sizes, odds: dict[str, float]) -> float:
        """Twice the negative log of the likelihood (a bound of it), with the odds."""
        sure, best, model = size.sure, size.best, self.model
        against = np.array([odds[kind] for kind in model.kinds])
        none = 2 * float(np.log1p(np.exp(-against / 2)).sum())
        mean = float(np.minimum(self.rest ** 2, CLIPPED).sum() + (sure * (1 - sure) * best ** 2 * self.square).sum())
        chaos = 2 * float(sum((p * np.log(np.where(p > 0, p, 1.0))).sum() for p in (sure, 1 - sure)))
        return self.count * math.log(max(self.sd ** 2 * mean / max(self.count, 1), 1e-300)) + none + chaos + float(
            (sure * (against + self.occam + (best - 1) ** 2 * model.trust)).sum())

    def _best(self, product: FloatArray | float, i: NDArray[np.intp] | int, against: FloatArray) -> tuple[
            FloatArray, FloatArray]:
        """Best size of a run, and what it gains (below 0) over none, by the product of its column and the rest."""
        trust, square = self.model.trust[i], self.square[i]
        size = (product + trust) / (square + trust)
        gain = size * (size * square - 2 * product) + (size - 1) ** 2 * trust + against[i] + self.occam[i]
        return size, np.where(size < MAYBE_LEAST, NO_GAIN, gain)

    def sweep(self, size: _Sizes, against: FloatArray) -> None:
        """Choose run by run until next to nothing changes. `size` is changed in place."""
        every = np.arange(size.sure.size)
        for number in range(SWEEPS if every.size else 0):
            product = np.add.reduceat(np.r_[self.flat * self.rest[self.index], 0.0], self.offsets)
            best, gain = self._best(product + size.mean * self.square, every, against)
            wanted = _likely(gain)
            shared = np.bincount(self.model.pairs[0], size.sure[self.model.pairs[1]] > NEVER, every.size) > 0
            moves = np.where(shared, (number == 0) | (size.sure > NEVER),
                             np.abs(wanted * best - size.mean) > MOVED)
            if not max((self._choose(int(i), size, against) for i in np.flatnonzero(moves)), default=0.0) > MOVED:
                break

    def _choose(self, i: int, size: _Sizes, against: FloatArray) -> float:
        """Choose for one run, with all others as they are; by how much that changes what is likely."""
        others = [j for j in self.model.beside[i] if size.sure[j] > NEVER]
        if others:
            return self._exchange(i, others, size, against)
        part = slice(self.begin[i], self.begin[i] + self.columns[i].size)
        product = float(self.columns[i] @ self.rest[part]) + float(size.sure[i] * size.best[i]) * self.square[i]
        best, gain = self._best(product, i, against)
        sure = float(_likely(gain))
        self.rest[part] -= (sure * float(best) - size.sure[i] * size.best[i]) * self.columns[i]
        moved = abs(sure - float(size.sure[i]))
        size.sure[i], size.best[i] = sure, best
        return moved

    def _exchange(self, i: int, others: list[int], size: _Sizes, against: FloatArray) -> float:
        """Take one run in place of those it overlaps, if it alone is likelier than they are."""
        every = [i, *others]
        low = min(self.begin[j] for j in every)
        rest = self.rest[low:max(self.begin[j] + self.columns[j].size for j in every)].copy()
        places = {j: slice(self.begin[j] - low, self.begin[j] - low + self.columns[j].size) for j in every}
        for j in every:
            rest[places[j]] += size.sure[j] * size.best[j] * self.columns[j]
        tried = {j: self._best(float(self.columns[j] @ rest[places[j]]), j, against) for j in every}
        worth = {j: float(np.logaddexp(0.0, -tried[j][1] / 2)) for j in every}
        if worth[i] <= sum(worth[j] for j in others) + LEAST_GAIN / 2:
            return 0.0
        for j in others:
            size.sure[j] = 0.0
        best, gain = tried[i]
        size.sure[i], size.best[i] = _likely(gain), best
        rest[places[i]] -= size.sure[i] * size.best[i] * self.columns[i]
        self.rest[low:low + rest.size] = rest
        return 1.0


def _likely(gain: FloatArray) -> FloatArray:
    """How likely a run is faulty that gains so much."""
    likely: FloatArray = 1 / (1 + np.exp(np.clip(gain / 2, -SURE, SURE)))
    return likely
