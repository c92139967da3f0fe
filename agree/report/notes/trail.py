"""Sentences for notes of a trail: how the place of a split was fixed."""

from __future__ import annotations

from collections.abc import Callable

from agree.core.results.note import Note

SENTENCES: dict[str, str | Callable[[Note], str | tuple[str, ...]]] = {
    "split_declared": lambda note: f"declared beforehand, digest {note.values['digest']}" + (
        "; other things were done otherwise than declared." if note.values.get("otherwise") else "."),
    "split_undeclared": lambda note: (
        f"{note.values['places']} was not declared beforehand: whoever looks for the place of a change finds one too "
        "often.", "Declare it before the next ride: agree plan --declare FILE --split."),
    "devices_first_changed": "with {state} all {others} other devices moved alike against {device}: it is {device} "
                             "that changed.",
    "devices_two_vary": "two devices share what varies from session to session: a third tells the day-to-day error of "
                        "{first} from that of {second}.",
    "devices_few_sessions": "{sessions} sessions in the last state: from {needed} on, what varies from session to "
                            "session is split between the devices.",
    "trail_again": "the state '{state}' was ridden before too (session {sessions}): the answer is of the sessions "
                   "since the last change alone. If the list is not in the order of riding, sort it.",
    "trail_against_numbers": "the list has the sessions as {sessions}: states and changes follow the list's order. "
                             "Sort it, if the numbers are right.",
    "trail_against_dates": "session {later} ({first}) was ridden before session {earlier} ({second}), by the dates of "
                           "their files: states and changes follow the list's order. Sort it, if the dates are right.",
    "split_otherwise": "{places} is not the place that was declared, {declared}: it counts as chosen after looking.",
}
