"""Refuse what would count one ride twice: a session given again, two that overlap, a device beside itself."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.thresholds import LEAST_COMMON_S

RUN = 30          # readings in a row that are compared
LEAST_VALUES = 8  # different readings in such a run: a power that is held repeats itself, on other days too


def refuse_repeats(items: Sequence[Pairs]) -> None:
    """Refuse a device compared with itself, and sessions that hold the same stretch of one ride.

    Readings are compared, not clocks: a copy that was shifted or stamped anew has the same readings in a row. Two
    sessions are the same ride if the runs of 30 readings that both references have, and those that both devices have,
    come to 60 or more; where the clocks overlap too, the references are enough.

    Raises
    ------
    InputError
        Naming the sessions and both files.
    """
    for k, item in enumerate(items, 1):
        reference, device = item.reference[item.used], item.device[item.used]
        if np.array_equal(reference, device) and np.unique(reference).size >= LEAST_VALUES:
            raise InputError(f"session {k}: {_names(item)} hold the same readings in all {reference.size} used "
                             "seconds: a recording was compared with itself; give the device's own recording")
    prints = [(_runs(item.reference), _runs(item.device)) for item in items] if len(items) > 1 else []
    for i, j in _sharing([one for one, _ in prints]):
        common, too = (int(np.isin(one, other).sum()) for one, other in zip(prints[i], prints[j], strict=True))
        if common < LEAST_COMMON_S or (too < LEAST_COMMON_S and not _clocks_overlap(items[i], items[j])):
            continue
        whole = common >= 0.98 * max(prints[i][0].size, prints[j][0].size)
        what = "the same recordings" if whole else f"the same {common + RUN - 1} s of one ride"
        raise InputError(f"sessions {i + 1} ({_names(items[i])}) and {j + 1} ({_names(items[j])}) hold {what}: a "
                         "session counts once, whatever its file is called or its clock says; leave one of them out"
                         + ("" if whole else ", or cut them so that they do not overlap"))


def _sharing(prints: Sequence[NDArray[np.uint64]]) -> list[tuple[int, int]]:
    """Pairs of sessions that have a run in common, of several with one run the neighbours.

    All runs are sorted once, so that hundreds of sessions of different rides cost hardly more than their reading.
    """
    if len(prints) < 2:
        return []
    whole = np.concatenate(prints)
    owner = np.repeat(np.arange(len(prints)), [one.size for one in prints])
    order = np.argsort(whole, kind="stable")  # of one run, sessions stay in order
    whole, owner = whole[order], owner[order]
    same = np.flatnonzero(whole[1:] == whole[:-1])
    return sorted(set(zip(owner[same].tolist(), owner[same + 1].tolist(), strict=True)))


def _names(item: Pairs) -> str:
    return f"{item.reference_name} and {item.device_name}"


def _runs(values: FloatArray) -> NDArray[np.uint64]:
    """Fingerprints of all runs of 30 readings that are not a held power."""
    if values.size < RUN:
        return np.zeros(0, np.uint64)
    whole = np.where(np.isfinite(values), np.round(values * 1024), -1).astype(np.int64).astype(np.uint64)
    factors = np.random.default_rng(0).integers(1, 2**63, RUN, dtype=np.uint64) | np.uint64(1)
    size = values.size - RUN + 1
    prints = np.zeros(size, np.uint64)
    changes = np.concatenate([[0], np.cumsum(whole[1:] != whole[:-1])])
    for k in range(RUN):
        prints += whole[k:k + size] * factors[k]
    lively = changes[RUN - 1:] - changes[:size] >= LEAST_VALUES - 1
    return np.unique(prints[lively])


def _clocks_overlap(one: Pairs, other: Pairs) -> bool:
    """Whether both started at known times and one began before the other ended."""
    try:
        starts = [np.datetime64(item.start.replace("Z", "").split("+")[0].strip()) for item in (one, other)]
    except ValueError:
        return False
    if any(np.isnat(start) for start in starts) or not (one.start and other.start):
        return False
    first, second = (one, other) if starts[0] <= starts[1] else (other, one)
    gap = abs(float((starts[1] - starts[0]) / np.timedelta64(1, "s")))
    return gap < float(first.time[-1] - first.time[0]) and second.time.size > 0
