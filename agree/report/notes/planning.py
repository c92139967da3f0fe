"""Sentences for the notes of a plan: why no number of sessions is given."""

from __future__ import annotations

from collections.abc import Callable

from agree.core.results.note import Note

SENTENCES: dict[str, str | Callable[[Note], str]] = {
    "plan_at_the_limit": "an error at the limit itself is settled by no number of sessions",
    "plan_too_many": "more than {most} sessions",
    "plan_sessions_differ": ("sessions differ by SD {sd:.2g} {unit}: the next one is known to ±{half:.2g} {unit} at "
                             "best, so no number of sessions settles it"),
    "plan_reference": lambda note: (
        f"the reference's own error (standard uncertainty {note.values['u']:.2g} {note.values['unit']}) leaves a "
        f"chance of {100 * float(note.values['chance']):.0f} % at most, however many sessions; one below "
        f"{note.values['needed']:.2g} {note.values['unit']} is needed"),
    "plan_looks_end": lambda note: (
        f"the looks after {note.values['looks']} sessions settle it with a chance of "
        f"{100 * float(note.values['chance']):.0f} % at most; declare a later last look"),
    "plan_readings": lambda note: (
        f"{100 * float(note.values['share']):.1f} % of the readings of such a device lie within the limit, "
        f"{100 * float(note.values['wanted']):g} % are needed: more than {note.values['most']} sessions"),
}
