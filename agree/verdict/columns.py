"""From lists of pairs to the columns and windows that every reading of a claim works on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.choices import Sampling
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.over_sessions import pair_weights
from agree.core.thresholds import HALF_WEIGHT_S

LEAST_SECONDS = 30
LEAST_WINDOWS = 10
BESIDE_S = 4  # filters of a few seconds smear the end of pedalling over about this long


class Windows(NamedTuple):
    """Means over windows of the clock; a window counts if at least half of its seconds are used."""

    reference: FloatArray
    device: FloatArray
    start: FloatArray
    session: NDArray[Any]
    width: int


@dataclass(frozen=True, slots=True)
class Table:
    """Used seconds of all sessions in order, and how they depend on each other."""

    pairs: tuple[Pairs, ...]
    reference: FloatArray
    device: FloatArray
    level: FloatArray       # moving mean of the reference, to band by
    time: FloatArray
    session: NDArray[Any]
    sampling: Sampling

    @property
    def error(self) -> FloatArray:
        """Device - reference, W."""
        return self.device - self.reference

    @property
    def sessions(self) -> int:
        """Number of sessions."""
        return len(self.pairs)

    def labels(self, chosen: NDArray[np.bool_] | slice = slice(None)) -> NDArray[Any] | None:
        """Session labels where the sampling needs them."""
        return self.session[chosen] if self.sampling == "sessions" else None

    def weights(self, chosen: NDArray[np.bool_] | slice = slice(None)) -> FloatArray:
        """Weight of each second (mean 1) that makes a mean of seconds the mean over sessions."""
        labels = self.labels(chosen)
        return np.ones(self.reference[chosen].size) if labels is None or not labels.size else pair_weights(
            labels, HALF_WEIGHT_S)

    def windows(self, width: int, *, pedalling: bool = False) -> Windows:
        """Mean of both over windows of `width` seconds, on request without those beside coasting."""
        parts = [_windows(item, width, k, pedalling) for k, item in enumerate(self.pairs)]
        reference, device, start, session = (np.concatenate(column) for column in zip(*parts, strict=True))
        return Windows(reference, device, start, session, width)

    def line_windows(self, width: int) -> Windows:
        """Windows to fit lines to: pedalling only, since devices stop at different speeds, if these are enough."""
        steady = self.windows(width, pedalling=True)
        return steady if steady.reference.size >= LEAST_WINDOWS else self.windows(width)


def beside_coasting(pairs: Pairs) -> NDArray[np.bool_]:
    """Seconds within 4 s of one in which either coasts."""
    zero = ((pairs.reference == 0) | (pairs.device == 0)) & pairs.has_reason("", "both_coasting")
    near: NDArray[np.bool_] = np.convolve(zero, np.ones(2 * BESIDE_S + 1))[BESIDE_S:-BESIDE_S] > 0.5
    return near


def _windows(pairs: Pairs, width: int, number: int, pedalling: bool) -> tuple[NDArray[Any], ...]:
    # Readings are judged as recorded, so that a slow device does not pass for a fast one; lines are fitted to what has
    # one response.
    columns = (pairs.matched_reference, pairs.matched_device) if pedalling else (pairs.reference, pairs.device)
    used = pairs.used & ~beside_coasting(pairs) if pedalling else pairs.recorded
    if not pedalling and pairs.matched is not None and pairs.matched.delay_alone:
        # Two recorders hardly ever share the phase of their seconds: where that is all that differs, it is taken out of
        # the readings as whole seconds are, or an exact device would fail on rides that stop and go.
        columns = pairs.matched.reference, pairs.matched.device
        used = pairs.sound & np.isfinite(columns[0]) & np.isfinite(columns[1]) & ((columns[0] != 0) | (columns[1] != 0))
    index = np.floor(pairs.time[used] / width).astype(np.intp)
    count = np.bincount(index)
    keep = count >= max(width / 2, 1)
    reference, device = (np.bincount(index, weights=column[used])[keep] / count[keep]
                         for column in columns)
    where = np.flatnonzero(keep)
    return reference, device, where * float(width), np.full(where.size, number)


def moving_mean(time: FloatArray, values: FloatArray, width: float) -> FloatArray:
    """Centred mean over the values within width/2 of each time."""
    total = np.r_[0.0, np.cumsum(values)]
    first = np.searchsorted(time, time - width / 2)
    last = np.searchsorted(time, time + width / 2, side="right")
    mean: FloatArray = (total[last] - total[first]) / (last - first)
    return mean


def table(pairs: Pairs | Sequence[Pairs], window_s: int) -> Table:
    """Join the used seconds of one recording (serial) or several (sessions)."""
    items = (pairs,) if isinstance(pairs, Pairs) else tuple(pairs)
    if not items or not all(isinstance(item, Pairs) for item in items):
        raise InputError("`pairs` must be Pairs or a list of Pairs, one for each session; got "
                         f"{type(pairs).__name__ if not items else [type(item).__name__ for item in items]}",
                         option="pairs")
    for k, item in enumerate(items, 1):
        if item.used.sum() < LEAST_SECONDS:
            counts = ", ".join(f"{name} {count}" for name, count in item.counts().items() if count)
            raise SampleSizeError(f"session {k}: {item.used.sum()} of {item.reason.size} seconds can be used, at least "
                                  f"{LEAST_SECONDS} are needed; set aside: {counts or 'none'}")
        if not (total := item.matched_reference[item.used].sum()) > 0:
            raise InputError(f"session {k}: the reference sums to {total:g} W s over the used seconds; it must be "
                             "positive: are the two exchanged, or is it no power?")
    used = [item.used for item in items]
    # One column after the other: pieces of all together take as much memory again.
    reference = np.concatenate([item.matched_reference[own] for item, own in zip(items, used, strict=True)])
    device = np.concatenate([item.matched_device[own] for item, own in zip(items, used, strict=True)])
    time = np.concatenate([item.time[own] for item, own in zip(items, used, strict=True)])
    level = np.concatenate([moving_mean(item.time[own], item.matched_reference[own], window_s)
                            for item, own in zip(items, used, strict=True)])
    session = np.repeat(np.arange(len(items)), [int(own.sum()) for own in used])
    return Table(items, reference, device, level, time, session, "serial" if len(items) == 1 else "sessions")
