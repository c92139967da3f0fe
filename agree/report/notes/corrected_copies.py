"""Sentences for notes of corrected copies: what was done to them, and why they are no evidence."""

from __future__ import annotations

from collections.abc import Callable

from agree.core.results.note import Note


def _which(note: Note) -> str:
    """Name the sessions at the start of a sentence; the only one goes without a number."""
    if note.values["all"] == 1:
        return "this ride"
    numbers = str(note.values["sessions"])
    return f"session{'s' if ' ' in numbers else ''} {numbers}"


def _own(note: Note) -> str:
    return f"the correction in the copy was found on {_which(note)} itself: that the two agree now proves nothing."


def _by_hand(note: Note) -> str:
    where = "" if note.values["all"] == 1 else f" of {_which(note)}"
    return (f"the recording{where} is a copy corrected by hand: if its factor was found on this very ride, that the "
            "two agree proves nothing.")


def _next(note: Note) -> tuple[str, ...]:
    left = int(note.values["left"])
    first = ("a ride that the correction was not found on." if left == 0 else
             f"leave out {_which(Note(kind='', values={'sessions': note.values['sessions'], 'all': 0}))}; "
             f"{'the other one counts' if left == 1 else f'the other {left} count'} as evidence.")
    if note.values["by_hand"]:
        return (first, "Correct it by agree correct --from RESULT.json: then it is known where the factor was found.")
    return (first,)


def _made(note: Note) -> str:
    values = note.values
    offset = float(values["offset_w"])
    power = f"(power {'-' if offset > 0 else '+'} {abs(offset):g} W)" if offset else "power"
    where = {"not known": "by hand", "this ride": "by what this ride showed"}.get(
        str(values["origin"]), "by what other rides showed")
    return f"a copy of {values['source']}, corrected {where}: {power} * {values['scale']:g}"


SENTENCES: dict[str, str | Callable[[Note], str | tuple[str, ...]]] = {
    "pair_corrected_copy": _made, "copy_of_its_own_ride": _own, "copy_by_hand": _by_hand, "next_other_ride": _next,
}
