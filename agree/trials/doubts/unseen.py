"""What few trials cannot show: errors of a kind that was not met, and limits of agreement if errors are not normal."""

from __future__ import annotations

from collections.abc import Iterator

from agree.core.results.note import Note
from agree.estimators.limits.far_tail import LEAST
from agree.estimators.shape import dependent_shape
from agree.trials.meanings import TrialMeaning
from agree.trials.scaled import ScaledErrors
from agree.verdict.rule import HOLDS

RULE_OF_THREE = 3.0  # -ln 0.05: what is met in 3/n of all trials is in none of n in 1 study of 20


def unseen_notes(scaled: ScaledErrors, answer: TrialMeaning) -> Iterator[Note]:
    """Notes on an answer that rests on the shape of errors, and on the limits of agreement, if these do.

    References
    ----------
    Hanley JA, Lippman-Hand A (1983) JAMA 249:1743, the rule of three (citation from memory).
    """
    trials, subjects = scaled.errors.n, scaled.errors.subjects
    shape = "shape_margin" in answer.assumes or "errors_normal" in answer.assumes
    if answer.verdict == HOLDS and shape:
        yield Note(kind="trials_kind_not_met", severity="trust", values={
            "trials": trials, "subjects": subjects, "percent": min(100 * RULE_OF_THREE / trials, 100.0),
            "subjects_percent": min(100 * RULE_OF_THREE / subjects, 100.0)})
    if scaled.errors.trial_parts or subjects < LEAST:
        found = dependent_shape(scaled.error, scaled.subject, serial=False) if scaled.error.size else None
        values: dict[str, float | int | str | bool] = {"seen": found is not None}
        if found is not None:
            values |= {"skewness": found[1].skewness, "kurtosis": found[1].kurtosis}
        yield Note(kind="trials_limits_normal", severity="detail", values=values)
