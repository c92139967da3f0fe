"""Time zones: their names in stamps, local stamps turned into UTC, and the hours when clocks change."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.results.note import Note

EPOCH = datetime(1970, 1, 1)
DAY, HOUR, SLOT = 86_400, 3_600, 900  # clocks change at quarters of an hour
# Abbreviations that one zone alone uses; EST, CST, IST, BST and the like stand for several (common practice).
OFFSETS_H = {"Z": 0, "UTC": 0, "GMT": 0, "WET": 0, "WEST": 1, "CET": 1, "CEST": 2, "MEZ": 1, "MESZ": 2, "EET": 2,
             "EEST": 3}
MOST_STEP_S = 10.0  # of rows that go on without a break
CHANGE_MONTHS = (3, 4, 9, 10, 11)


class Moved(NamedTuple):
    """Seconds and what was done to them."""

    seconds: FloatArray
    note: Note


def zone_of(name: object) -> ZoneInfo:
    """Return the zone of an IANA name.

    Raises
    ------
    InputError
        A name that is not in the zone data of this computer.
    """
    try:
        if isinstance(name, str) and name.strip():
            return ZoneInfo(name.strip())
    except (ValueError, OSError, ZoneInfoNotFoundError):
        pass
    raise InputError(f"`zone` must be the IANA name of a time zone, such as 'Europe/Berlin'; got {str(name)[:40]!r}",
                     option="zone")


def to_utc(seconds: FloatArray, zone: ZoneInfo) -> tuple[FloatArray, NDArray[np.bool_], str]:
    """Turn local seconds since 1970 into UTC.

    Return also where a stamp names an hour that the zone skips, and what tells an hour that it has twice: the second
    time begins where the stamps step back, else the one is taken that leaves the shorter gap.
    """
    slots, which = np.unique(np.floor(seconds / SLOT), return_inverse=True)
    moments = [EPOCH + timedelta(seconds=SLOT * slot) for slot in slots.tolist()]
    first, second = (np.array([moment.replace(tzinfo=zone, fold=fold).utcoffset().total_seconds()  # type: ignore[union-attr]
                               for moment in moments])[which] for fold in (0, 1))
    skipped, twice = first < second, first > second
    if not twice.any():
        return seconds - first, skipped, ""
    places = np.flatnonzero(twice)
    inside = places[places > 0]
    back = inside[np.diff(seconds)[inside - 1] < 0]
    if back.size:
        late = twice & (np.arange(seconds.size) >= back[0])
        return seconds - np.where(late, second, first), skipped, "told by the step back"
    early, later = (seconds - np.where(twice, offset, first) for offset in (first, second))
    gaps = [float(np.max(np.diff(one), initial=0.0)) if (np.diff(one) >= 0).all() else np.inf for one in (early, later)]
    how = "told by the rows around it" if gaps[0] != gaps[1] else "the first taken"
    return (later if gaps[1] < gaps[0] else early), skipped, how


def through_change(seconds: FloatArray) -> Moved | None:
    """Return local stamps as if the clock had not been changed, where it unmistakably was; else None.

    On a Sunday of a month in which clocks change, before 4 o'clock, a step back by an hour while rows go on is the
    end of daylight saving, and a step on by an hour and one row its start (common practice).
    """
    step = np.diff(seconds)
    if not step.size:
        return None
    usual = float(np.median(step[step > 0])) if (step > 0).any() else np.inf
    odd = np.flatnonzero((step < -0.5 * HOUR) | (step >= HOUR))
    if odd.size != 1 or usual > MOST_STEP_S:
        return None
    at = int(odd[0])
    before, after = (EPOCH + timedelta(seconds=float(s)) for s in seconds[at:at + 2])
    if not (before.weekday() == after.weekday() == 6 and before.month in CHANGE_MONTHS):
        return None
    made = seconds.copy()
    if step[at] < 0:
        real = step[at] + HOUR
        if not (0 < real <= MOST_STEP_S and after.hour < 4):
            return None
        made[at + 1:] += HOUR
        return Moved(made, Note(kind="read_clock_back", severity="trust", values={"at": f"{before:%H:%M:%S}"}))
    on_time = after.minute == 0 and after.second < MOST_STEP_S and before.minute == 59 and 1 <= before.hour + 1 <= 3
    if not on_time or abs(step[at] - HOUR - usual) > 0.5 * usual or after.hour != before.hour + 2:
        return None
    made[at + 1:] -= HOUR
    return Moved(made, Note(kind="read_clock_on", severity="trust", values={"at": f"{before:%H:%M:%S}"}))
