"""What is left of a slow trace with some runs of the sharp one faulty, and how likely that makes each of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import MAYBE_LEAST
from agree.estimators.response.kernels import Kernel
from agree.faults.behind_slow.candidates import NORMAL, Maybe

Number = TypeVar("Number", float, FloatArray)
SWEEPS = 12
LEAST_GAIN = 1.0     # of one run over those that it overlaps
CLIPPED = 25.0       # squares of errors are cut there
MOVED, NEVER = 0.02, 0.01  # changes, and odds, that count for nothing
NO_GAIN = 1e3       # of a run of which the slow trace shows less than half
SURE = 700.0         # gains are cut there: their exponential would be infinite


class Sizes(NamedTuple):
    """How likely each run is faulty, and its size if it is."""

    sure: FloatArray
    best: FloatArray

    @property
    def mean(self) -> FloatArray:
        """Size that is to be expected."""
        return self.sure * self.best


class Shown(NamedTuple):
    """What runs would add to the slow trace, W, one after the other: in each second, and in the one before it.

    `at` are these seconds, and run i has them from `ends[i]` to before `ends[i + 1]`.
    """

    now: FloatArray
    before: FloatArray
    at: NDArray[np.int_]
    ends: NDArray[np.int_]


def shown_by(some: Sequence[Maybe], by: Kernel, n: int) -> Shown:
    """What each run would add to a slow trace of `n` seconds."""
    now, before, at = [np.zeros(0)], [np.zeros(0)], [np.zeros(0, int)]
    for one in some:
        whole = np.convolve(one.adds, by.weights)
        seconds = np.arange(whole.size + 1) + one.start + by.start
        inside = (seconds >= 0) & (seconds < n)
        now.append(np.append(whole, 0.0)[inside])
        before.append(np.append(0.0, whole)[inside])
        at.append(seconds[inside])
    return Shown(np.concatenate(now), np.concatenate(before), np.concatenate(at),
                 np.cumsum([part.size for part in at]))


class Runs(NamedTuple):
    """Runs that may be faulty, the filter, and what of them does not change with a choice.

    `shown` is what each would add to the slow trace; `trust` one over the square of the spread of its size; `beside`
    those that each overlaps, and `pairs` all these pairs, (2, k).
    """

    some: list[Maybe]
    by: Kernel
    shown: Shown
    trust: FloatArray
    beside: list[list[int]]
    pairs: NDArray[np.int_]


class Whitened:
    """What is left of the slow trace, and what each run would make of it, without the correlation of neighbours."""

    def __init__(self, model: Runs, rest: FloatArray, ratio: float, colour: float) -> None:
        self.model, self.ratio = model, ratio
        white = np.r_[np.nan, rest[1:] - colour * rest[:-1]]
        known = np.isfinite(white)
        self.sd = max(NORMAL * float(np.median(np.abs(white[known]))) if known.any() else 1.0, 1e-9)
        self.count = int(known.sum())
        self.rest = np.where(known, white, 0.0) / self.sd
        shown = model.shown
        # All runs at once: column by column most of the time went into making arrays.
        self.flat = (shown.now - colour * shown.before) * known[shown.at] / self.sd
        self.index, self.offsets = shown.at, shown.ends[:-1]
        ends = shown.ends.tolist()
        self.columns = [self.flat[low:high] for low, high in pairwise(ends)]
        self.begin = [int(shown.at[low]) if high > low else 0 for low, high in pairwise(ends)]
        self.square = np.array([column @ column for column in self.columns])
        self.trusts, self.squares = model.trust.tolist(), self.square.tolist()
        # The more a run could show, the more of the likelihood its free size uses up.
        self.occam = np.log1p(self.square / model.trust) if ends[1:] else np.zeros(0)
        self.occams = self.occam.tolist()

    def error(self, i: int) -> float:
        """Standard error of the energy of a run, W s."""
        return float(abs(self.model.some[i].adds.sum()) / math.sqrt(self.square[i] + self.model.trust[i]))

    def left(self, size: Sizes, odds: dict[str, float]) -> float:
        """Twice the negative log of the likelihood (a bound of it), with the odds."""
        sure, best, model = size.sure, size.best, self.model
        against = np.array([odds[one.kind] for one in model.some])
        none = 2 * float(np.log1p(np.exp(-against / 2)).sum())
        mean = float(np.minimum(self.rest ** 2, CLIPPED).sum() + (sure * (1 - sure) * best ** 2 * self.square).sum())
        chaos = 2 * float(sum((p * np.log(np.where(p > 0, p, 1.0))).sum() for p in (sure, 1 - sure)))
        # Errors are those of the slow trace, W: taken as those of the sharp one, the higher ratio would leave less.
        square = (self.sd * self.ratio) ** 2 * mean / max(self.count, 1)
        return self.count * math.log(max(square, 1e-300)) + none + chaos + float(
            (sure * (against + self.occam + (best - 1) ** 2 * model.trust)).sum())

    def sweep(self, size: Sizes, against: FloatArray) -> None:
        """Choose run by run until next to nothing changes. `size` is changed in place."""
        every = np.arange(size.sure.size)
        for number in range(SWEEPS if every.size else 0):
            product = np.add.reduceat(np.r_[self.flat * self.rest[self.index], 0.0], self.offsets)
            best, gain = size_and_gain(product + size.mean * self.square, self.square, self.model.trust,
                                       against + self.occam)
            wanted = likely(np.where(best < MAYBE_LEAST, NO_GAIN, gain))
            shared = np.bincount(self.model.pairs[0], size.sure[self.model.pairs[1]] > NEVER, every.size) > 0
            moves = np.where(shared, (number == 0) | (size.sure > NEVER),
                             np.abs(wanted * best - size.mean) > MOVED)
            now = _Now(size.sure.tolist(), size.best.tolist(), (against + self.occam).tolist())
            most = max((self._choose(i, now) for i in np.flatnonzero(moves).tolist()), default=0.0)
            size.sure[:], size.best[:] = now.sure, now.best
            if not most > MOVED:
                break

    def _best(self, product: float, i: int, now: _Now) -> tuple[float, float]:
        """Best size of a run, and what it gains (below 0) over none, by the product of its column and the rest."""
        size, gain = size_and_gain(product, self.squares[i], self.trusts[i], now.fixed[i])
        return size, NO_GAIN if size < MAYBE_LEAST else gain

    def _choose(self, i: int, now: _Now) -> float:
        """Choose for one run, with all others as they are; by how much that changes what is likely."""
        others = [j for j in self.model.beside[i] if now.sure[j] > NEVER]
        if others:
            return self._exchange(i, others, now)
        part, column = slice(self.begin[i], self.begin[i] + self.columns[i].size), self.columns[i]
        before, mean = now.sure[i], now.sure[i] * now.best[i]
        now.best[i], gain = self._best(float(column @ self.rest[part]) + mean * self.squares[i], i, now)
        now.sure[i] = one_likely(gain)
        self.rest[part] -= (now.sure[i] * now.best[i] - mean) * column
        return abs(now.sure[i] - before)

    def _exchange(self, i: int, others: list[int], now: _Now) -> float:
        """Take one run in place of those it overlaps, if it alone is likelier than they are."""
        every = [i, *others]
        columns = [self.columns[j] for j in every]
        low = min(self.begin[j] for j in every)
        rest = self.rest[low:max(self.begin[j] + column.size for j, column in zip(every, columns, strict=True))].copy()
        parts = [rest[self.begin[j] - low:self.begin[j] - low + column.size]
                 for j, column in zip(every, columns, strict=True)]
        for j, part, column in zip(every, parts, columns, strict=True):
            if now.sure[j]:
                np.add(part, now.sure[j] * now.best[j] * column, out=part)
        tried = [self._best(float(column @ part), j, now)
                 for j, part, column in zip(every, parts, columns, strict=True)]
        worth = [max(-gain / 2, 0.0) + math.log1p(math.exp(-abs(gain) / 2)) for _, gain in tried]
        if worth[0] <= sum(worth[1:]) + LEAST_GAIN / 2:
            return 0.0
        for j in others:
            now.sure[j] = 0.0
        now.best[i], gain = tried[0]
        now.sure[i] = one_likely(gain)
        parts[0] -= now.sure[i] * now.best[i] * columns[0]
        self.rest[low:low + rest.size] = rest
        return 1.0


class _Now(NamedTuple):
    """How likely each run is faulty, its size, and what counts against it, within a sweep.

    As lists, of which one number is read much faster than of an array.
    """

    sure: list[float]
    best: list[float]
    fixed: list[float]


def size_and_gain(product: Number, square: Number, trust: Number, fixed: Number) -> tuple[Number, Number]:
    """Best size of a run, and what it gains (below 0) over none; of each of many, or of one."""
    size = (product + trust) / (square + trust)
    return size, size * (size * square - 2 * product) + (size - 1) ** 2 * trust + fixed


def likely(gain: FloatArray) -> FloatArray:
    """How likely runs are faulty that gain so much."""
    likely: FloatArray = 1 / (1 + np.exp(np.clip(gain / 2, -SURE, SURE)))
    return likely


def one_likely(gain: float) -> float:
    """How likely a run is faulty that gains so much."""
    return 1 / (1 + math.exp(min(max(gain / 2, -SURE), SURE)))
