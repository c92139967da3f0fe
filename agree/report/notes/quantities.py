"""Sentences of what a reader must know about a check of a quantity other than power."""

from __future__ import annotations

from collections.abc import Callable

from agree.core.results.note import Note
from agree.core.results.words import clock_of


def _rows(note: Note) -> str:
    parts = [f"{what} {clock_of(float(note.values[key]))}" for what, key in (("first", "before"), ("last", "after"))
             if note.values[key]]
    return (f"the device wrote no rows in the {' and the '.join(parts)} of the reference's session: these seconds are "
            "missing, in no figure.")


SENTENCES: dict[str, str | Callable[[Note], str]] = {
    "quantity_averages": "the device averages over about {seconds} s; that is counted as part of its delay.",
    "quantity_any_delay": "no lag can be told, and none is needed: the answer is the same for any up to {seconds} s.",
    "quantity_drifts": "the error drifts over the recording, so that intervals are likely too narrow; record further "
                       "sessions.",
    "quantity_exchanged": "the device gives left for right in {percent:.0f} % of the seconds that can tell.",
    "quantity_side_assumed": "the share is that of the {side} side by assumption (a column does not say): an error "
                             "above 0 gives it too much; if it is the other one's, signs turn round.",
    "quantity_side": "the share is that of the {side} side: an error above 0 gives it too much.",
    "quantity_hardly_any": "only {percent:.0f} % of the seconds in which the reference has a reading could be used: "
                           "that cannot speak for the rest.",
    "quantity_range_lost": lambda note: (
        f"the answer speaks {'up to' if note.values['side'] == 'above' else 'from'} "
        f"{note.values['level']:g} {note.values['unit']}{' on' if note.values['side'] == 'below' else ''} only: "
        f"{note.values['side']}, the device read nothing in {note.values['lost']} s of {note.values['seconds']} s."),
    "quantity_still": "the device stands still: one value in {percent:.0f} % of the seconds, while the reference moves "
                      "(SD {moves:.3g} {unit}).",
    "quantity_unlike": "the device does not follow the reference at any delay up to {seconds} s (correlation "
                       "{correlation:.2f} at most).",
    "quantity_rows_missing": _rows,
    "quantity_part_used": "only {percent:.0f} % of the seconds in which the reference has a reading could be used.",
    "quantity_next_mend": "find out why the device reads nothing there (contact, fit, battery, range), and record "
                          "again with readings throughout.",
    "quantity_next_follow": "find out whether column, session and clocks are right and the sensor measures at all, and "
                            "record again.",
    "quantity_next_sides": "exchange the sides (turn the column round, or pair the pedals anew) and check again.",
    "quantity_next_longer": "record a session of {minutes:.0f} min or more, or several.",
    "quantity_next_whole": "record a session in which both run from the start to the end.",
    "quantity_unread": "the device gave no reading in {percent:.0f} % of the seconds in which the reference has one: "
                       "too many.",
    "quantity_zone": "one clock is of another zone: {hours:+g} h were taken off the device's stamps.",
    "quantity_first_stamps": "the clocks count from different moments: the first stamps are taken for one; if they "
                             "are not, state --lag.",
    "quantity_mean_absolute": "the mean size of the error of {seconds} s",
    "quantity_no_lag": "no lag can be told, so that the recordings are compared as their stamps have them.",
    "quantity_no_shadow": "neither recording has a {channel}, so that a lock to it cannot be looked for.",
}
