"""What declared and undeclared looks, and a declaration, do to the answers of a check."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from agree.core.results.note import Note
from agree.verdict.declaration import Declaration, Declared
from agree.verdict.looks import level_at, undeclared_percent
from agree.verdict.meanings import Reading
from agree.verdict.rule import OPEN

# Advice to ride on until the claim is settled, with numbers that looks do not have.
OF_SESSIONS = ("next_more_sessions", "next_sessions_first", "next_hardly", "next_spread", "next_more_windows",
               "next_band_minutes", "next_odd")


class Looked(NamedTuple):
    """Level at this look, whether it is answered, what a reader must know, and what to record before the next one."""

    level: float
    answered: bool
    notes: tuple[Note, ...]
    next: Note | None = None
    looks: tuple[int, ...] = ()
    sessions: int = 0

    def before_the_next(self, step: Note) -> Note:
        """Return what to record next: where looks are declared no number of sessions but theirs is answered."""
        if not self.looks or step.kind not in OF_SESSIONS:
            return step
        ahead = [count for count in self.looks if count > self.sessions]
        if ahead:
            return Note(kind="next_look", values={"sessions": ahead[0]})
        return Note(kind="next_looks_over")

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are at a look, and open between looks."""
        if self.answered:
            return readings
        return tuple(replace(item, verdict=OPEN, because=Note(kind="because_between_looks"))
                     for item in readings)


def look(looks: tuple[int, ...], sessions: int, level: float, declared: Declaration | None = None) -> Looked:
    """Return what holds after this number of sessions; looks that a declaration does not have are not called so."""
    if not looks:
        note = Note(kind="looks_undeclared", severity="detail", values={
            "sessions": sessions, "percent": undeclared_percent(sessions), "promised": round(50 * (1 - level), 6)})
        return Looked(level, True, (note,) if sessions > 2 and level == 0.95 else ())
    at = level_at(looks, sessions, level)
    if at is not None:
        return Looked(at, True, (Note(kind="looks_spent", severity="trust", values={
            "looks": ", ".join(map(str, looks)), "level": at,
            "declared": declared is None or looks == declared.looks}),), None, looks, sessions)
    ahead = [count for count in looks if count > sessions]
    values: dict[str, float | int | str | bool] = {"sessions": sessions, "next": ahead[0] if ahead else 0,
                                                   "last": looks[-1]}
    if not ahead:  # what all looks may spend is spent: the answer of the last one stands
        return Looked(level, False, (Note(kind="looks_over", severity="answer", values=values),),
                      Note(kind="next_looks_over", values=values))
    return Looked(level, False, (Note(kind="looks_between", severity="answer", values=values),),
                  Note(kind="next_look", values={"sessions": ahead[0]}))


def declared_notes(declared: Declared | None) -> tuple[Note, ...]:
    """Return what was done otherwise than declared, or that nothing was."""
    if declared is None:
        return ()
    if not declared.differences:
        return (Note(kind="declared_as_done", severity="trust", values={
            "digest": declared.digest[:12], "exclusions": "; ".join(declared.declaration.exclusions)}),)
    return tuple(Note(kind="declared_otherwise", severity="answer", values={
        "what": item.what, "declared": item.declared, "done": item.done}) for item in declared.differences)
