"""Whether an answer would stand with one mean for each day: sessions of one day share zero, temperature and rider.

Days are asked beside sessions where at least 3 of them hold fewer days than sessions: with an effect of the day, that
is as large as what differs within it, sessions taken for days are wrong in 5 to 13 % on each side instead of 2.5, and
in up to 26 where the day is all (docs/measured/few-days.md).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.thresholds import LEAST_DAYS
from agree.verdict.columns import Table
from agree.verdict.meanings import Reading, hold_back
from agree.verdict.repeats.distinct import day_of
from agree.verdict.rule import HOLDS, OPEN, decide, widen
from agree.verdict.sessions import mean_over_sessions

FURTHER = Note(kind="next_other_days", values={"sessions": 2})


class FewDays(NamedTuple):
    """Mean error over days, and that of a session on a further day; days; the decision rule."""

    mean: Estimate | None = None
    ahead: Estimate | None = None
    days: int = 0
    rule: str = "interval"

    def _stands(self, item: Reading, over: Estimate | None) -> bool:
        return over is None or item.verdict == OPEN or item.estimate is None or decide(
            widen(over, item.known), item.limit, self.rule)[0] == item.verdict

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave what days do not bear out open; of bands and single readings "holds" if the mean error's falls."""
        if self.mean is None:
            return readings
        average = next(item for item in readings if item.meaning == "average")
        falls = average.verdict == HOLDS and not self._stands(average, self.mean)
        return tuple(self._answer(item, falls) for item in readings)

    def _answer(self, item: Reading, falls: bool) -> Reading:
        over = {"average": self.mean, "next_session": self.ahead}.get(item.meaning)
        shown = over or self.mean
        if shown is None:
            return item
        shown = widen(shown, item.known)
        why = Note(kind="because_days", values={"days": self.days, "low": shown.low, "high": shown.high,
                                                "unit": item.unit if over else "%"})
        if over is not None:
            return item if self._stands(item, over) else replace(item, verdict=OPEN, because=why)
        return hold_back((item,), why)[0] if falls else item

    def next(self, answered: tuple[Reading, ...], meaning: str) -> Note | None:
        """Return what to do where an answer was held back for this."""
        pairs = zip(answered, self.answers(answered), strict=True)
        return FURTHER if any(old.meaning == meaning and old.verdict != new.verdict for old, new in pairs) else None


DAYS_ENOUGH = FewDays()


def few_days(data: Table, own: Sequence[Estimate | None], level: float, rule: str) -> FewDays:
    """Take the mean of each day as one; sessions without a date stand for days of their own.

    `own`: mean error of each session, None where it has none in the claim's range.
    """
    labels = [day_of(item) or str(number) for number, item in enumerate(data.pairs)]
    at = [k for k, item in enumerate(own) if item is not None]
    names, day = np.unique([labels[k] for k in at], return_inverse=True)
    if not LEAST_DAYS <= names.size < len(at):
        return DAYS_ENOUGH
    seconds = np.bincount(data.session, minlength=data.sessions)[at].astype(float)
    values = np.array([item.value for item in own if item is not None])
    of_day: FloatArray = np.bincount(day, seconds).astype(float)
    means = np.bincount(day, seconds * values) / of_day
    return FewDays(mean_over_sessions(means, of_day, level), mean_over_sessions(means, of_day, level, ahead=True),
                   names.size, rule)
