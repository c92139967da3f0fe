"""Subjects' names that look like trials of fewer persons: S01_1, S01_2, S02_1, S02_2."""

from __future__ import annotations

import math
import re

import numpy as np
from scipy import special

from agree.core.results.note import Note
from agree.core.thresholds import TRIALS_PERSONS_ALIKE, TRIALS_PERSONS_P
from agree.trials.trials import Trials

# A stem, and what numbers a trial after a blank, dash, dot, slash, underscore or bracket: "S01_1", "Ana b", "7-pre".
NUMBERED = re.compile(
    r"^(?P<stem>.*\w)[\s_./#:(-]+(?:t|trial|jump|rep|try)?[\s_.-]*(?:\d{1,2}|[a-z]|pre|post)\)?$", re.IGNORECASE)
LEAST_PERSONS = 3


def person_note(trials: Trials) -> Note | None:
    """Say that the subjects look like several trials each of fewer persons; None if they do not.

    Names must all have a stem and a number, stems must occur twice and more, and levels must be as much alike within
    stems as one person's are: intraclass correlation of the subjects' mean levels above 0.85, p of its F test below
    0.001. Groups of athletes that share a stem (M_1, F_1) differ more among themselves.
    """
    parts = [NUMBERED.match(name) for name in trials.subjects]
    if not all(parts):
        return None
    stems = [match["stem"].casefold() for match in parts if match]
    _, of = np.unique(stems, return_inverse=True)
    sizes = np.bincount(of)
    if sizes.size < LEAST_PERSONS or float(np.median(sizes)) < 2:
        return None
    level = np.bincount(trials.subject, weights=trials.reference) / np.bincount(trials.subject)
    means = np.bincount(of, weights=level) / sizes
    between, within = sizes.size - 1, level.size - sizes.size
    among = float(sizes @ np.square(means - level.mean())) / between
    inside = float(np.square(level - means[of]).sum()) / within
    per_person = (level.size - float(np.square(sizes).sum()) / level.size) / between  # for unequal numbers
    ratio = among / inside if inside > 0 else math.inf
    alike = (ratio - 1) / (ratio - 1 + per_person) if math.isfinite(ratio) else 1.0
    if alike < TRIALS_PERSONS_ALIKE or float(special.fdtrc(between, within, ratio)) > TRIALS_PERSONS_P:
        return None
    return Note(kind="trials_of_fewer_persons", severity="trust", values={
        "subjects": level.size, "persons": sizes.size, "one": trials.subjects[0], "correlation": alike})
