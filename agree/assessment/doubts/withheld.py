"""What keeps an answer from being given: faults, too little recorded, a range lost, no evidence, one ride twice."""

from __future__ import annotations

from typing import NamedTuple

from agree.assessment.doubts.few_days import DAYS_ENOUGH, FewDays
from agree.assessment.doubts.fitted import Fitted, fitted
from agree.assessment.doubts.left_out import LeftOut, left_out
from agree.assessment.doubts.lost_range import LostRange, lost_ranges
from agree.assessment.doubts.not_followed import Followed, followed
from agree.assessment.doubts.one_ride import OneRide
from agree.assessment.doubts.slower_errors import NOTHING_SLOWER, SlowerErrors
from agree.assessment.doubts.thin_range import thin_range
from agree.assessment.doubts.unlike_minutes import UnlikeMinutes, unlike_minutes
from agree.assessment.doubts.untold.faults import UntoldFaults, untold_faults
from agree.assessment.doubts.untold.programme import UntoldProgramme, untold_programme
from agree.assessment.how_much import HowMuch, how_much
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.verdict.claim import Claim
from agree.verdict.columns import Table
from agree.verdict.meanings import Reading
from agree.verdict.rule import FAILS, HOLDS


class Withheld(NamedTuple):
    """Seconds set aside, seconds recorded, ends of the range that no answer speaks of, and corrected copies."""

    aside: LeftOut
    used: HowMuch
    lost: tuple[LostRange, ...]
    copies: Fitted
    rides: OneRide
    thin: tuple[Note, ...] = ()
    slower: SlowerErrors = NOTHING_SLOWER
    seen: Followed = Followed(1.0)
    days: UntoldProgramme = UntoldProgramme((), 1)
    few: FewDays = DAYS_ENOUGH
    unlike: UnlikeMinutes = UnlikeMinutes((), 1)
    untold: UntoldFaults = UntoldFaults((), 1)

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for those that cannot be given: mostly a "holds"."""
        for part in (self.unlike, self.untold, self.aside, self.used, self.copies, self.rides, self.slower, self.seen,
                     self.days, self.few):
            readings = part.answers(readings)
        return readings

    def notes(self) -> tuple[Note, ...]:
        """Return what was withheld and why, and of what the answer does not speak."""
        return (self.unlike.notes() + self.untold.notes() + self.seen.notes() + self.days.notes() + self.rides.doubts
                + self.copies.notes() + self.aside.notes() + self.used.notes() + self.slower.notes()
                + tuple(item.note() for item in self.lost) + self.thin)

    def next(self, answered: tuple[Reading, ...], meaning: str) -> Note | None:
        """Return what to do first where "holds" cannot be given, and it does not fail anyway."""
        asked = next(item for item in answered if item.meaning == meaning)
        held = asked.estimate is not None and asked.verdict != FAILS
        return (self.unlike.next(held or self.unlike.turn) or self.untold.next() or self.days.next(held)
                or self.rides.next(held, meaning) or self.copies.next(held and self.copies.any)
                or self.aside.next(held and self.aside.too_many) or self.used.next(held and self.used.too_little)
                or (self.slower.next(meaning) if asked.verdict == HOLDS else None) or self.few.next(answered, meaning))


def withheld(data: Table, claim: Claim, average: Reading, counted_in: Estimate,
             doubts: tuple[Note, ...] = (), slower: SlowerErrors = NOTHING_SLOWER,
             few: FewDays = DAYS_ENOUGH) -> Withheld:
    """Return what keeps answers from being given.

    `counted_in` is the mean error with the faulty seconds, `doubts` are those whether sessions are of different days.
    """
    lost = lost_ranges(data.pairs)
    return Withheld(left_out(data.pairs, average, counted_in, lost), how_much(data, claim), lost,
                    fitted(data.pairs), OneRide(doubts),
                    thin_range(data.pairs, claim, lost), slower, followed(data), untold_programme(data.pairs), few,
                    unlike_minutes(data.pairs, average), untold_faults(data.pairs, average))
