"""Refuse what would count one ride twice: a recording given again, pieces of one ride, a device beside itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import combinations
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.core.results.words import numbered
from agree.core.thresholds import LEAST_APART_S, LEAST_COMMON_S, LEAST_TURNS
from agree.verdict.repeats.near_copies import Alike, alike, rides_of

RUN = 30          # readings in a row that are compared
LEAST_VALUES = 8  # different readings in such a run: a power that is held repeats itself, on other days too
FIRST_YEAR = 2000  # a clock that shows an earlier year was never set, and starts anew with each recording

UNDATED = "undated"
PICKED = np.uint64(62)  # the two highest bits of a fingerprint are 0 in one of four; its lowest are 0 for whole watts

Prints = NDArray[np.uint64]


class Common(NamedTuple):
    """How many runs two sessions have in common: of both references, both devices, and crosswise."""

    references: int
    devices: int
    crossed: int

    @property
    def kind(self) -> str:
        """Which recording is the same: "" if none is."""
        if self.crossed >= LEAST_COMMON_S:
            return "exchanged"
        same = self.references >= LEAST_COMMON_S, self.devices >= LEAST_COMMON_S
        return {(True, True): "both", (True, False): "reference", (False, True): "device"}.get(same, "")


def refuse_repeats(pairs: Pairs | Sequence[Pairs], *, pieces: bool = True) -> tuple[Note, ...]:
    """Refuse a device compared with itself, and sessions that rest on one ride.

    Readings are compared, not clocks: a copy that was shifted or stamped anew has the same readings in a row. Two
    sessions are one ride if the runs of 30 readings that both references, or both devices, or the reference of one
    and the device of the other have in common come to 60 or more: one of the two recordings is enough, since another
    device on one effort is not another day. A recording played backwards has the same runs.

    Pieces of one ride hold no common readings. They are told by their clocks: sessions that overlap, or less than
    10 minutes apart, share zero, temperature and rider, and are one session; so do pieces of one file. Without
    `pieces` they are let pass: sessions in different states of a device may follow each other within a ride.

    Near-copies, a recording with noise added or one ride through two recorders, are told by how alike they are.

    Returns
    -------
    tuple of Note
        What is doubted and cannot be refused: sessions that are alike as one programme on two days may be,
        recordings without dates, which may be pieces of one ride, and sessions of one day, which share what differs
        from day to day.

    Raises
    ------
    InputError
        Naming the sessions and both files.
    """
    items = (pairs,) if isinstance(pairs, Pairs) else tuple(pairs)
    for k, item in enumerate(items, 1):
        reference, device = item.reference[item.used], item.device[item.used]
        if np.array_equal(reference, device) and _different(reference).size >= LEAST_VALUES:
            raise InputError(f"session {k}: {_names(item)} hold the same readings in all {reference.size} used "
                             "seconds: a recording was compared with itself; give the device's own recording")
    if len(items) < 2:
        return ()
    prints = [(_runs(item.reference), _runs(item.device)) for item in items]
    for i, j in _sharing(prints):
        common = _common(prints[i], prints[j])
        if common.kind and not _only_a_programme(items[i], items[j], common.kind):
            raise InputError(_repeated(items, prints, i, j, common))
    if pieces:
        _refuse_one_file(items)
        _refuse_close(items)
    pairs_alike = alike([item.reference for item in items])
    for found in pairs_alike:
        if found.one_ride:
            turned = ", one of them played backwards" if found.backwards else ""
            raise InputError(f"{_both(items, found.one, found.other)} follow each other second by second (correlation "
                             f"{found.correlation:.2f}{turned}), as one ride does that is recorded twice or has noise "
                             "added: one ride is one session; leave one of them out")
    return _doubts(items, pairs_alike, pieces)


def _doubts(items: Sequence[Pairs], pairs_alike: Sequence[Alike], pieces: bool) -> tuple[Note, ...]:
    found = [_alike(pairs_alike)] if pairs_alike else []
    undated = sum(not item.start and item.stamps is not None for item in items)
    if undated > 1 and pieces:
        found.append(Note(kind="sessions_undated", severity="trust", values={
            "undated": undated, "sessions": len(items)}))
    return tuple(found + _one_day(items) * pieces)


def day_of(item: Pairs) -> str:
    """Return the day that the clock shows, local time or UTC; empty if it was never set."""
    return item.start.strip()[:10] if item.start and _span(item) is not None else ""


def _one_day(items: Sequence[Pairs]) -> list[Note]:
    """Return which day holds more than one session, by the date that the clock shows (local time, or UTC)."""
    days = Counter(found for item in items if (found := day_of(item)))
    day, most = max(days.items(), key=lambda entry: entry[1], default=("", 0))
    return [Note(kind="sessions_of_one_day", severity="trust", values={
        "sessions": len(items), "day": day, "most": most, "days": len(days)})] if most > 1 else []


def _alike(found: Sequence[Alike]) -> Note:
    """Return which sessions look like one ride, and which are left out if they are: all of each ride but its first."""
    rides = [[k + 1 for k in ride] for ride in rides_of(found)]
    later = sorted(k for ride in rides for k in ride[1:])
    return Note(kind="sessions_alike", severity="answer", values={
        "sessions": ", and ".join(numbered(ride) for ride in rides), "rides": len(rides), "later": numbered(later),
        "left_out": len(later), "correlation": min(item.correlation for item in found),
        "most": max(item.correlation for item in found), "backwards": any(item.backwards for item in found)})


def _common(one: tuple[Prints, Prints], other: tuple[Prints, Prints]) -> Common:
    def count(a: Prints, b: Prints) -> int:
        return int(np.isin(a, b).sum())

    return Common(count(one[0], other[0]), count(one[1], other[1]),
                  min(count(one[0], other[1]), count(one[1], other[0])))


def _only_a_programme(one: Pairs, other: Pairs, kind: str) -> bool:
    """Whether what one side has in common may be a programme: a trainer that tells its target repeats each ramp."""
    if kind not in ("reference", "device"):
        return False
    own, others = (_runs(getattr(item, kind), of_a_rider=True) for item in (one, other))
    return int(np.isin(own, others).sum()) < LEAST_COMMON_S


def _repeated(items: Sequence[Pairs], prints: Sequence[tuple[Prints, Prints]], i: int, j: int, common: Common) -> str:
    one, other = f"sessions {i + 1} ({_names(items[i])})", f"{j + 1} ({_names(items[j])})"
    if common.kind == "exchanged":
        return (f"{one} and {other} hold the same recordings, once as reference and once as device: a session counts "
                "once; leave out the one whose files are exchanged")
    side = 1 if common.kind == "device" else 0
    runs = common.devices if side else common.references
    whole = runs >= 0.98 * max(prints[i][side].size, prints[j][side].size)
    stretch = f"the same {runs + RUN - 1} s of one ride"
    cut = "" if whole else ", or cut them so that they do not overlap"
    if common.kind == "both":
        return (f"{one} and {other} hold {'the same recordings' if whole else stretch}: a session counts once, "
                f"whatever its file is called or its clock says; leave one of them out{cut}")
    what = f"the same recording of the {common.kind}" if whole else f"{stretch} in the {common.kind}'s recording"
    return (f"{one} and {other} hold {what}: one ride is one session, however many recordings of it there are; leave "
            "one of them out")


def _sharing(prints: Sequence[tuple[Prints, Prints]]) -> list[tuple[int, int]]:
    """Pairs of sessions that have a run in common, of several with one run the neighbours.

    All runs are sorted once, so that hundreds of sessions of different rides cost hardly more than their reading; of
    the runs one in four, chosen by its own fingerprint, for a fourth of the memory: of 60 in common none is chosen with
    a probability of 3e-8.
    """
    both = [_different(np.concatenate([one[one >> PICKED == 0] for one in pair])) for pair in prints]
    whole = np.concatenate(both)
    owner = np.repeat(np.arange(len(both)), [one.size for one in both])
    order = np.argsort(whole, kind="stable")  # of one run, sessions stay in order
    whole, owner = whole[order], owner[order]
    same = np.flatnonzero(whole[1:] == whole[:-1])
    return sorted(set(zip(owner[same].tolist(), owner[same + 1].tolist(), strict=True)))


def _names(item: Pairs) -> str:
    return f"{item.reference_name} and {item.device_name}"


def _runs(values: FloatArray, *, of_a_rider: bool = False) -> Prints:
    """Fingerprints of all runs of 30 readings that are not a held power; the same backwards.

    `of_a_rider`: without runs of whole watts that hardly turn, as ramps of a programme do.
    """
    if values.size < RUN:
        return np.zeros(0, np.uint64)
    whole = np.where(np.isfinite(values), np.round(values * 1024), -1).astype(np.int64).astype(np.uint64)
    factors = np.random.default_rng(0).integers(1, 2**63, RUN, dtype=np.uint64) | np.uint64(1)
    factors = factors + factors[::-1]
    size = values.size - RUN + 1
    prints = np.zeros(size, np.uint64)
    changes = np.concatenate([[0], np.cumsum(whole[1:] != whole[:-1])])
    for k in range(RUN):
        prints += whole[k:k + size] * factors[k]
    lively = changes[RUN - 1:] - changes[:size] >= LEAST_VALUES - 1
    if of_a_rider:
        way = np.sign(np.diff(values, prepend=values[0]))
        turns = np.concatenate([[0], np.cumsum(way[1:] * way[:-1] < 0)])
        broken = np.concatenate([[0], np.cumsum(np.isfinite(values) & (values != np.rint(values)))])
        lively &= (turns[RUN - 1:] - turns[:size] >= LEAST_TURNS) | (broken[RUN:] > broken[:size])
    return _different(prints[lively])


def _different(values: NDArray[Any]) -> NDArray[Any]:
    """Sorted values, each once: of some thousands a sort takes a third of the time of a table of hashes."""
    ordered = np.sort(values)
    return ordered[np.r_[True, ordered[1:] != ordered[:-1]]] if ordered.size else ordered


def _both(items: Sequence[Pairs], i: int, j: int) -> str:
    i, j = sorted((i, j))
    return f"sessions {i + 1} ({_names(items[i])}) and {j + 1} ({_names(items[j])})"


def _refuse_one_file(items: Sequence[Pairs]) -> None:
    owner: dict[str, int] = {}
    for k, item in enumerate(items):
        for source in item.sources:
            first = k if source is None else owner.setdefault(source.sha256, k)
            if first != k:
                raise InputError(f"{_both(items, first, k)} rest on one file: pieces of one recording are one session; "
                                 "leave one of them out")


def _refuse_close(items: Sequence[Pairs]) -> None:
    """Refuse sessions that overlap on clocks that show a date, or that follow each other as pieces of one ride do."""
    spans = [(*span, k) for k, item in enumerate(items) if (span := _span(item)) is not None]
    spans.sort()
    for clock in {span[0] for span in spans}:
        own = [span for span in spans if span[0] == clock]
        for (_, _, end, i), (_, start, _, j) in combinations(own, 2):
            gap = start - end
            if gap < 0 and clock != UNDATED:
                raise InputError(f"{_both(items, i, j)} overlap in time by {-gap:.0f} s: one device cannot be on two "
                                 "rides at once; leave one of them out, or correct the clock that is wrong")
            if 0 <= gap < LEAST_APART_S:
                other = "" if clock != UNDATED else (
                    "; if they are of two days, give stamps with dates, or let each count from 0")
                raise InputError(
                    f"{_both(items, i, j)} are {gap:.0f} s apart: pieces of one ride share zero, temperature and "
                    f"rider, and are one session; sessions are at least {LEAST_APART_S / 60:.0f} min apart. Join them "
                    f"in one file for each side, or leave one of them out{other}")


def _span(item: Pairs) -> tuple[str, float, float] | None:
    """Kind of clock, first and last second on it; None for a clock that was never set."""
    if not item.start:
        first, last = item.stamps or (float(item.time[0]), float(item.time[-1]))
        return UNDATED, first, last
    try:
        begin = datetime.fromisoformat(item.start.strip())
    except ValueError:
        return None
    if begin.year < FIRST_YEAR:
        return None
    kind = "zoned" if begin.tzinfo else "local"
    start = begin.replace(tzinfo=begin.tzinfo or UTC).timestamp()
    return kind, start, start + float(item.time[-1] - item.time[0])
