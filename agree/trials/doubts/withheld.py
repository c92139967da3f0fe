"""Answers that would be "holds", and are not given: what the trials cannot show is not settled, with the reason."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from agree.core.results.note import Note
from agree.core.thresholds import MOST_LEFT_OUT, TRIALS_FEW_SUBJECTS, TRIALS_ONE_END
from agree.trials.doubts.same_person import person_note
from agree.trials.meanings import TrialMeaning
from agree.trials.scaled import ScaledErrors
from agree.trials.trials import Trials
from agree.verdict.rule import HOLDS, OPEN


def _not_settled(item: TrialMeaning, note: Note) -> TrialMeaning:
    """Return the meaning without its "holds"; what was found stays among the ground's values."""
    values = {**item.ground.values, **note.values}
    return replace(item, verdict=OPEN, ground=replace(note, severity="answer", values=values))


def few_subjects(item: TrialMeaning, scaled: ScaledErrors) -> TrialMeaning:
    """Withhold "holds" of single trials and of new subjects where few subjects were seen.

    Few subjects may all be alike by chance, and one that is not among them is what these meanings ask about.
    """
    subjects = scaled.errors.subjects
    if item.verdict != HOLDS or item.unit != "share" or subjects >= TRIALS_FEW_SUBJECTS:
        return item
    return _not_settled(item, Note(kind="trials_share_of_few", values={
        "subjects": subjects, "wanted": TRIALS_FEW_SUBJECTS}))


def few_persons(item: TrialMeaning, scaled: ScaledErrors) -> TrialMeaning:
    """Withhold any answer where the subjects look like trials of fewer persons: its interval is too narrow."""
    note = person_note(scaled.trials) if item.verdict != OPEN else None
    return _not_settled(item, note) if note else item


def unread_notes(trials: Trials) -> tuple[Note, ...]:
    """Tell of a device that has no reading in many of the reference's trials, and at which end; nothing if in few."""
    missing, held, count = trials.unread, trials.reference, trials.unread.size + trials.device.size
    if missing.size <= MOST_LEFT_OUT * count + 1e-9:
        return ()
    values: dict[str, float | int | str | bool] = {
        "missing": missing.size, "trials": count, "end": "", "unit": trials.quantity.computed_in}
    order = np.sort(held)
    above = float((np.searchsorted(order, missing, "left") + np.searchsorted(order, missing, "right")).mean())
    above /= 2 * held.size  # share of pairs in which the missing trial is the higher one
    if above >= TRIALS_ONE_END:
        values |= {"end": "high", "level": min(float(held.max()), float(np.quantile(missing, 0.05)))}
    elif above <= 1 - TRIALS_ONE_END:
        values |= {"end": "low", "level": max(float(held.min()), float(np.quantile(missing, 0.95)))}
    return (Note(kind="trials_unread", severity="trust", values=values),)


def much_unread(item: TrialMeaning, scaled: ScaledErrors) -> TrialMeaning:
    """Withhold "holds" where the device has no reading in many trials: those may be the ones it gets wrong."""
    notes = unread_notes(scaled.trials) if item.verdict == HOLDS else ()
    return _not_settled(item, notes[0]) if notes else item
