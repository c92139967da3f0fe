"""The four meanings of a claim about trials, from mild to strict, each with its answer."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.shared_docs import made_by
from agree.core.thresholds import (
    TRIALS_COARSE_STEP,
    TRIALS_COUNTED_SHARE,
    TRIALS_FAILS_MARGIN,
    TRIALS_HOLDS_MARGIN,
    TRIALS_NORMAL_FAILS,
)
from agree.estimators.trials.level_line import END_Z, LevelLine, level_line
from agree.estimators.trials.shares_within import binomial_limits, counted_share, effective_trials, normal_share
from agree.estimators.trials.skewed_mean import skewed_mean_error
from agree.estimators.trials.unweighted import SubjectErrors, mean_error, subject_errors
from agree.trials.rounding import Rounding
from agree.trials.scaled import OF_LIMIT, ScaledErrors
from agree.verdict.error_distribution import KnownError, interval_half_width
from agree.verdict.rule import FAILS, HOLDS, OPEN, three_way

Meaning = Literal["average", "levels", "readings", "next_subject", "mean_absolute"]
MEANINGS: tuple[Meaning, ...] = ("average", "levels", "readings", "next_subject")
ASKED: tuple[Meaning, ...] = (*MEANINGS, "mean_absolute")  # the last is answered where it is asked for
MOST_NEEDED = 100_000


@made_by("check_trials", also=("TrialsCheck",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialMeaning(Result):
    """One meaning of a claim about trials, and its answer.

    Attributes
    ----------
    meaning : {"average", "levels", "readings", "next_subject", "mean_absolute"}
        ``average``: the mean error, each subject with the same weight. ``levels``: the error at the 5 % and the 95 %
        level of the subjects, both at once. ``readings``: the share of single trials within the limit, subjects
        weighed alike. ``next_subject``: the share of subjects whose mean of M trials is within it.
    verdict : str
        "holds", "does not hold" or "not settled".
    estimate : Estimate or None
        What the answer rests on: an error, or a share (0 to 1); of ``levels`` the end that is nearer to its limit.
    limit : float
        The largest allowed error, or 0.95 for shares.
    unit : str
        Of estimate and limit; "share" for shares.
    assumes : tuple of str
        What the answer takes for granted: "means_near_normal", "errors_normal", "shape_margin" (a margin makes up for
        shapes other than normal), "any_shape", "line", "constant_truth".
    ground : Note
        Why, as fields.
    normal : Estimate or None
        The share if errors are normal, given next to a counted one.

    Examples
    --------
    >>> from agree import check_trials, pair_trials
    >>> table = {"subject": list("aabbcc"), "r_cm": [30, 31, 40, 41, 35, 36], "d_cm": [30.5, 31.4, 40.6, 41, 35.5, 36]}
    >>> trials = pair_trials(table, by="subject", reference_column="r_cm", device_column="d_cm")
    >>> check = check_trials(trials, "2 cm")
    >>> [item.meaning for item in check.meanings]
    ['average', 'levels', 'readings', 'next_subject']
    """

    meaning: Meaning
    verdict: str
    estimate: Estimate | None
    limit: float
    unit: str
    assumes: tuple[str, ...]
    ground: Note
    normal: Estimate | None = None


def share_verdict(item: Estimate | None) -> str:
    """Answer of a share: all of its interval at or above 95 %, or below."""
    if item is None or math.isnan(item.value):
        return OPEN
    wanted = TRIALS_COUNTED_SHARE
    return HOLDS if item.low >= wanted else FAILS if item.high < wanted else OPEN


def normal_within(scaled: ScaledErrors, level: float, known: KnownError, mean_of: int, assume: str) -> Estimate:
    """Share of normal errors, the interval's ends as they decide.

    Unless normal errors are assumed, the low end is that of the limit over a margin, and the high end that of the limit
    times another: they make up for other shapes.
    """
    inner, outer = (1.0, TRIALS_NORMAL_FAILS) if assume == "normal" else (1 / TRIALS_HOLDS_MARGIN, TRIALS_FAILS_MARGIN)
    low, own, high = (normal_share(scaled.errors, scaled.limit * by, level, mean_of, known.normal, known.rectangles)
                      for by in (inner, 1.0, outer))
    margin = "" if assume == "normal" else ", with a margin for other shapes"
    return replace(own, low=min(low.low, own.value), high=max(high.high, own.value), method=own.method + margin)


def needed_trials(share: float, level: float) -> int | None:
    """Least effective number of trials with which a counted share could settle the claim; None if it is 95 % itself."""
    number = 1
    while number < MOST_NEEDED:
        low, high = binomial_limits(share, number, level)
        if low >= TRIALS_COUNTED_SHARE or high < TRIALS_COUNTED_SHARE:
            return number
        number += max(1, number // 200)
    return None


def bias_of(scaled: ScaledErrors, level: float, known: KnownError) -> Estimate:
    """Mean error, with what rounding leaves unknown and the reference's own error."""
    return scaled.rounding.mean(mean_error(scaled.errors, level), known)


def _of_mean(scaled: ScaledErrors, errors: SubjectErrors, rounding: Rounding, level: float,
             known: KnownError) -> dict[str, Any]:
    """Verdict, figures and ground of a mean; where skewed errors would leave it open, it is, with the reason."""
    item, wide = (rounding.mean(found(errors, level), known) for found in (mean_error, skewed_mean_error))
    plain, verdict = (three_way(one.low, one.high, scaled.limit) for one in (item, wide))
    ground = Note(kind="trials_average" if plain == verdict else "trials_skew_decides", severity="answer", values={
        "subjects": errors.subjects, "low": wide.low, "high": wide.high, "unit": scaled.unit})
    return {"verdict": verdict, "estimate": item, "limit": scaled.limit, "unit": scaled.unit, "ground": ground}


def average(scaled: ScaledErrors, level: float, known: KnownError) -> TrialMeaning:
    """Answer for the mean error."""
    return TrialMeaning(meaning="average", assumes=("means_near_normal", *_constant(scaled)),
                        **_of_mean(scaled, scaled.errors, scaled.rounding, level, known))


def mean_absolute(scaled: ScaledErrors, level: float, known: KnownError) -> TrialMeaning:
    """Answer for the mean absolute error, of a claim in per cent the mean absolute percentage error (MAPE).

    The reference's own error moves it by no more than its size. Errors that go both ways do not cancel, as they do in
    the mean error; a few large ones hardly show.

    Raises
    ------
    InputError
        Unpaired trials, of which none has an error of its own, or a claim with two limits.
    """
    if not scaled.trials.paired:
        raise InputError("`meaning` mean_absolute needs paired trials: of unpaired ones none has an error of its own",
                         option="meaning")
    if scaled.unit == OF_LIMIT:
        raise InputError("`meaning` mean_absolute needs a claim with one limit, like '5 %' or '5 bpm'",
                         option="meaning")
    size = np.abs(scaled.error)
    found = _of_mean(scaled, subject_errors(size, scaled.trials.subject), scaled.rounding.of_size(size, scaled.subject),
                     level, known)
    found["estimate"] = replace(found["estimate"], low=max(found["estimate"].low, 0.0))
    return TrialMeaning(meaning="mean_absolute", assumes=("means_near_normal",), **found)


def _constant(scaled: ScaledErrors) -> tuple[str, ...]:
    return () if scaled.trials.paired else ("constant_truth",)


def line_of(scaled: ScaledErrors, level: float, known: KnownError) -> LevelLine | None:
    """Line of the errors on the level, its ends widened by the reference's uncertainty."""
    trials = scaled.trials
    if trials.paired:
        line = level_line(scaled.error, trials.reference, trials.device, trials.subject, level)
    else:  # means of subjects, as if they were one trial each
        x, y = (np.bincount(subject, weights=values) / np.bincount(subject) for values, subject in (
            (trials.reference, trials.subject), (trials.device, trials.device_subject)))
        line = level_line(scaled.errors.means, x, y, np.arange(x.size), level)
    if line is None:
        return None
    low, high = (scaled.rounding.mean(end, known, math.hypot(1, END_Z)) for end in line.ends)  # so far from the middle
    return replace(line, ends=(low, high))


def levels(scaled: ScaledErrors, line: LevelLine | None) -> TrialMeaning:
    """Answer for both ends of the range: holds if both do, does not hold if one does not."""
    common: dict[str, Any] = {"meaning": "levels", "limit": scaled.limit, "unit": scaled.unit}
    if line is None:
        return TrialMeaning(**common, verdict=OPEN, estimate=None, assumes=("line",), ground=Note(
            kind="trials_levels_unknown", severity="answer", values={"subjects": scaled.errors.subjects}))
    answers = [three_way(end.low, end.high, scaled.limit) for end in line.ends]
    verdict = FAILS if FAILS in answers else HOLDS if answers == [HOLDS, HOLDS] else OPEN
    worst = max(line.ends, key=lambda end: max(abs(end.low), abs(end.high)))
    return TrialMeaning(
        **common, verdict=verdict, estimate=worst, assumes=("line", *_constant(scaled)), ground=Note(
            kind="trials_levels", severity="answer", values={
                "low_level": line.end_levels[0], "high_level": line.end_levels[1], "trend": line.trend,
                "instrument": line.instrument, "worst_level": line.end_levels[line.ends.index(worst)]}))


def counted_within(scaled: ScaledErrors, level: float, known: KnownError, mean_of: int = 1) -> Estimate:
    """Count the share of single trials within, or of the subjects' means where each is of `mean_of` trials.

    Its ends leave room for an error that all trials share, and for errors that rounding moves over the limit.
    """
    half = float(interval_half_width(0.0, math.inf, known, level)) if known.u > 0 else 0.0
    error, subject, errors, step = scaled.error, scaled.subject, scaled.errors, scaled.rounding.step
    if mean_of > 1:
        error, subject = errors.means, np.arange(errors.subjects)
        errors = SubjectErrors(means=error, of_means=errors.of_means, trial_parts=(), n=error.size)
        step = np.bincount(scaled.subject, weights=step) / mean_of**2 if step.size else step
    coarse = bool((step > TRIALS_COARSE_STEP * scaled.limit).any())
    return counted_share(error, np.full(error.shape, scaled.limit), subject, errors, level, shift=half,
                         step=step if coarse else 0.0)


def readings(scaled: ScaledErrors, level: float, known: KnownError, assume: str) -> TrialMeaning:
    """Answer for single trials: counted, with that of normal errors beside it; or the latter if it was asked for."""
    own, known = known, scaled.rounding.beside(known)
    normal = normal_within(scaled, level, known, 1, "normal")
    common: dict[str, Any] = {"meaning": "readings", "limit": TRIALS_COUNTED_SHARE, "unit": "share", "normal": normal}
    assumed = ("errors_normal" if assume == "normal" else "shape_margin", *_constant(scaled))
    asked, margin = share_verdict(normal), normal_within(scaled, level, known, 1, assume)
    if assume == "normal" or not scaled.trials.paired:  # without pairs no trial has an error that could be counted
        return TrialMeaning(**common, verdict=share_verdict(margin), estimate=margin, assumes=assumed, ground=Note(
            kind="trials_share_normal", severity="answer", values={"normal": asked}))
    counted = counted_within(scaled, level, known)
    values: dict[str, float | int | str | bool] = {
        "effective": effective_trials(scaled.errors), "needed": needed_trials(counted.value, level) or 0,
        "outside": int((np.abs(scaled.error) > scaled.limit).sum()), "trials": scaled.error.size, "normal": asked,
        "coarse": counted.low < counted_within(replace(scaled, rounding=Rounding()), level, own).low - 1e-9}
    verdict = share_verdict(counted)
    if verdict == OPEN and values["outside"] == 0 and share_verdict(margin) == HOLDS:
        return TrialMeaning(**common, verdict=HOLDS, estimate=replace(margin, value=1.0, high=1.0), assumes=assumed,
                            ground=Note(kind="trials_readings_small", severity="answer", values=values))
    return TrialMeaning(**common, verdict=verdict, estimate=counted, assumes=("any_shape",),
                        ground=Note(kind="trials_readings", severity="answer", values=values))


def next_subject(scaled: ScaledErrors, level: float, known: KnownError, mean_of: int, assume: str) -> TrialMeaning:
    """Answer for the mean of M trials of a subject not yet measured, by its share among subjects.

    Of one trial it is the share of single trials, and counted. Means of M are counted too where every subject has just
    M trials and these are enough; else normal errors are taken, with a margin unless `assume` says that none is needed.
    """
    if mean_of == 1 and assume == "nothing" and scaled.trials.paired:
        return replace(readings(scaled, level, known, assume), meaning="next_subject")
    common: dict[str, Any] = {"meaning": "next_subject", "limit": TRIALS_COUNTED_SHARE, "unit": "share"}
    assumes = ("errors_normal" if assume == "normal" else "shape_margin", *_constant(scaled))
    if mean_of > 1 and not scaled.errors.trial_parts:
        return TrialMeaning(**common, verdict=OPEN, estimate=None, assumes=assumes, ground=Note(
            kind="trials_next_subject_unknown", severity="answer", values={"mean_of": mean_of}))
    known = scaled.rounding.beside(known)
    share = normal_within(scaled, level, known, mean_of, assume)
    values: dict[str, float | int | str | bool] = {
        "mean_of": mean_of, "sd": math.sqrt(scaled.errors.variance(mean_of)), "subjects": scaled.errors.subjects,
        "normal": share_verdict(normal_within(scaled, level, known, mean_of, "normal"))}
    if assume == "nothing" and scaled.trials.paired and bool((scaled.trials.sizes == mean_of).all()):
        counted = counted_within(scaled, level, known, mean_of)
        if share_verdict(counted) != OPEN and share_verdict(share) == OPEN:
            return TrialMeaning(**common, verdict=share_verdict(counted), estimate=counted, assumes=("any_shape",),
                                ground=Note(kind="trials_means_counted", severity="answer", values=values))
    return TrialMeaning(**common, verdict=share_verdict(share), estimate=share, assumes=assumes,
                        ground=Note(kind="trials_share_normal", severity="answer", values=values))
