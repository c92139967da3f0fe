"""What leaves a trail in doubt: the order of its sessions, and sessions in which the device had not settled."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from agree.core.data.fault import SLOW
from agree.core.data.pairs import Pairs
from agree.core.results.note import Note


def doubts_of_order(pairs: Sequence[Pairs], names: Sequence[str], stays: Sequence[Sequence[int]],
                    judged: int) -> tuple[Note, ...]:
    """Say that the state judged was ridden before too, and that sessions stand against their dates."""
    found = []
    again = [k + 1 for stay, name in zip(stays[:judged], names, strict=False) if name == names[judged] for k in stay]
    if again:
        found.append(Note(kind="trail_again", severity="answer", values={
            "state": names[judged], "sessions": ", ".join(map(str, again))}))
    dated = [(k, item.start) for k, item in enumerate(pairs, 1) if item.start]
    back = next(((one, two) for one, two in pairwise(dated) if two[1] < one[1]), None)
    if back is not None:
        found.append(Note(kind="trail_against_dates", severity="answer", values={
            "earlier": back[0][0], "later": back[1][0], "first": back[1][1][:10], "second": back[0][1][:10]}))
    numbers = [int(item.session) for item in pairs if item.session.isdecimal()]
    if not dated and len(numbers) == len(pairs) and numbers != sorted(numbers):
        found.append(Note(kind="trail_against_numbers", severity="answer", values={
            "sessions": ", ".join(map(str, numbers))}))
    return tuple(found)


def slow_faults(item: Pairs) -> list[Note]:
    """Name what moves slowly in a session: a state may be judged on one that had not settled."""
    kinds = dict.fromkeys(fault.kind for fault in item.faults if fault.kind in SLOW)
    return [Note(kind="state_slow", severity="trust", values={"session": item.session or "", "fault": kind})
            for kind in kinds]
