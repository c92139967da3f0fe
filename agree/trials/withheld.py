"""Answers that would be "holds", and are not given: what the trials cannot show is not settled, with the reason."""

from __future__ import annotations

from dataclasses import replace

from agree.core.results.note import Note
from agree.core.thresholds import TRIALS_FEW_SUBJECTS
from agree.trials.meanings import TrialMeaning
from agree.trials.scaled import ScaledErrors
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
