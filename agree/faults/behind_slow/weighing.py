"""What is left of a slow trace with some runs of the sharp one faulty, and how likely that makes each of them."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import MAYBE_LEAST
from agree.estimators.response.kernels import Kernel
from agree.faults.behind_slow.candidates import NORMAL, Maybe

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


class Runs(NamedTuple):
    """Runs that may be faulty, the filter, and what of them does not change with a choice.

    `shown` is what each would add to the slow trace, W; `trust` one over the square of the spread of its size; `beside`
    those that each overlaps, and `pairs` all these pairs, (2, k).
    """

    some: list[Maybe]
    by: Kernel
    shown: list[FloatArray]
    trust: FloatArray
    beside: list[list[int]]
    pairs: NDArray[np.int_]


class Whitened:
    """What is left of the slow trace, and what each run would make of it, without the correlation of neighbours."""

    def __init__(self, model: Runs, rest: FloatArray, ratio: float, colour: float) -> None:
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

    def _best(self, product: FloatArray | float, i: NDArray[np.intp] | int, against: FloatArray) -> tuple[
            FloatArray, FloatArray]:
        """Best size of a run, and what it gains (below 0) over none, by the product of its column and the rest."""
        trust, square = self.model.trust[i], self.square[i]
        size = (product + trust) / (square + trust)
        gain = size * (size * square - 2 * product) + (size - 1) ** 2 * trust + against[i] + self.occam[i]
        return size, np.where(size < MAYBE_LEAST, NO_GAIN, gain)

    def sweep(self, size: Sizes, against: FloatArray) -> None:
        """Choose run by run until next to nothing changes. `size` is changed in place."""
        every = np.arange(size.sure.size)
        for number in range(SWEEPS if every.size else 0):
            product = np.add.reduceat(np.r_[self.flat * self.rest[self.index], 0.0], self.offsets)
            best, gain = self._best(product + size.mean * self.square, every, against)
            wanted = likely(gain)
            shared = np.bincount(self.model.pairs[0], size.sure[self.model.pairs[1]] > NEVER, every.size) > 0
            moves = np.where(shared, (number == 0) | (size.sure > NEVER),
                             np.abs(wanted * best - size.mean) > MOVED)
            if not max((self._choose(int(i), size, against) for i in np.flatnonzero(moves)), default=0.0) > MOVED:
                break

    def _choose(self, i: int, size: Sizes, against: FloatArray) -> float:
        """Choose for one run, with all others as they are; by how much that changes what is likely."""
        others = [j for j in self.model.beside[i] if size.sure[j] > NEVER]
        if others:
            return self._exchange(i, others, size, against)
        part = slice(self.begin[i], self.begin[i] + self.columns[i].size)
        product = float(self.columns[i] @ self.rest[part]) + float(size.sure[i] * size.best[i]) * self.square[i]
        best, gain = self._best(product, i, against)
        sure = float(likely(gain))
        self.rest[part] -= (sure * float(best) - size.sure[i] * size.best[i]) * self.columns[i]
        moved = abs(sure - float(size.sure[i]))
        size.sure[i], size.best[i] = sure, best
        return moved

    def _exchange(self, i: int, others: list[int], size: Sizes, against: FloatArray) -> float:
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
        size.sure[i], size.best[i] = likely(gain), best
        rest[places[i]] -= size.sure[i] * size.best[i] * self.columns[i]
        self.rest[low:low + rest.size] = rest
        return 1.0


def likely(gain: FloatArray) -> FloatArray:
    """How likely a run is faulty that gains so much."""
    likely: FloatArray = 1 / (1 + np.exp(np.clip(gain / 2, -SURE, SURE)))
    return likely
