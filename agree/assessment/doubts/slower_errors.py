"""Whether "holds" would stand in a short recording were its errors slower than it can show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from agree.core.interval.estimate import Estimate
from agree.core.interval.slower import times_wider
from agree.core.results.note import Note
from agree.core.thresholds import SLOW_ASKED_LEAST, SLOW_ASKED_S, SLOW_SHOWS_S
from agree.estimators.ratios import ratio_of_sums
from agree.verdict.bands import BandCheck
from agree.verdict.columns import Table
from agree.verdict.meanings import Reading
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import HOLDS, OPEN, decide, widen


class SlowerErrors(NamedTuple):
    """Meanings whose "holds" would not stand, half-width that the mean error then has, its unit, and seconds used."""

    meanings: tuple[str, ...] = ()
    half: float = 0.0
    unit: str = "%"
    seconds: int = 0

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for those "holds"."""
        why = Note(kind="because_slower")
        return tuple(replace(item, verdict=OPEN, because=why)
                     if item.meaning in self.meanings and item.verdict == HOLDS else item for item in readings)

    def notes(self) -> tuple[Note, ...]:
        """Return why no "holds" is given."""
        return (Note(kind="used_slower", severity="answer", values={
            "minutes": self.seconds / 60, "half": self.half, "unit": self.unit}),) if self.meanings else ()

    def next(self, meaning: str) -> Note | None:
        """Return what to record where "holds" was held back for this."""
        if meaning not in self.meanings:
            return None
        return Note(kind="next_ride_at_least", values={"minutes": SLOW_SHOWS_S / 60})


NOTHING_SLOWER = SlowerErrors()


def slower_errors(data: Table, average: Reading, bands: Sequence[BandCheck], reference_u: ReferenceUncertainty,
                  rule: str) -> SlowerErrors:
    """Return what does not stand of a recording under 45 min; of several sessions nothing, whose days show it."""
    own = average.own
    if data.sessions > 1 or data.reference.size >= SLOW_SHOWS_S or own is None:
        return NOTHING_SLOWER
    times = asked_times(times_wider(ratio_of_sums(data.error, data.reference)[1], data.reference), data.reference.size)
    wide = _wider(own, times)
    found = []
    if decide(widen(wide, average.known), average.limit, rule)[0] != HOLDS:
        found.append("average")
    if any(item.verdict == HOLDS and decide(widen(_wider(item.bias, times), reference_u.known(
            (item.low + item.high) / 2)), item.limit_percent, rule)[0] != HOLDS for item in bands):
        found.append("bands")
    held = {"average": average.verdict == HOLDS,
            "bands": any(item.verdict == HOLDS for item in bands)}
    return SlowerErrors(tuple(name for name in found if held[name]), (wide.high - wide.low) / 2, average.unit,
                        data.reference.size)


def asked_times(times: float, seconds: float) -> float:
    """How many times the half-width shown is asked for: the shorter the recording, the more of the slower errors'.

    All of it at 10 min would let an exact device hold in 74 instead of 95 % of tests whose limit is two half-widths;
    what is needed against errors over 300 s is 0.85 of the excess at 10 min, 0.7 at 20 and 0.55 at 30.
    """
    return 1 + max(SLOW_ASKED_LEAST, 1 - seconds / SLOW_ASKED_S) * (times - 1) if seconds < SLOW_SHOWS_S else 1.0


def _wider(item: Estimate, times: float) -> Estimate:
    return replace(item, low=item.value - times * (item.value - item.low),
                   high=item.value + times * (item.high - item.value), standard_error=times * item.standard_error)
