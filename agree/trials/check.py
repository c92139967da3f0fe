"""`check_trials`: from trials to the answer, with all it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from agree.core import checks
from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.drawn import Drawn
from agree.core.results.note import Note
from agree.core.results.result import json_safe
from agree.core.shared_docs import made_by
from agree.estimators.trials.level_line import LevelLine
from agree.estimators.trials.side_by_side import SideBySide, side_by_side
from agree.estimators.trials.unweighted import spread_and_limits
from agree.trials import meanings
from agree.trials.doubtful import refuse_large_limit
from agree.trials.doubts.far_off import far_off_notes
from agree.trials.doubts.remarks import remarks
from agree.trials.doubts.unseen import unseen_notes
from agree.trials.doubts.withheld import few_persons, few_subjects, much_unread, unread_notes
from agree.trials.meanings import ASKED, Meaning, TrialMeaning
from agree.trials.scaled import ScaledErrors, scaled_errors
from agree.trials.trials import Trials
from agree.trials.uncertainty import known_of_reference
from agree.verdict.claim import Claim
from agree.verdict.error_distribution import KnownError

Assume = Literal["nothing", "normal"]


@made_by("check_trials", also=("Trials", "TrialMeaning"))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialsCheck(Drawn):
    """The answer to a claim about trials, with all it rests on.

    Attributes
    ----------
    claim : Claim
        As stated, in the unit of the readings.
    meaning, verdict : str
        The meaning the verdict is given in, and the verdict: "holds", "does not hold" or "not settled".
    meanings : tuple of TrialMeaning
        All four, from mild to strict, and ``mean_absolute`` after them if it was asked for.
    bias, sd, lower, upper : Estimate
        Mean error, SD of a single trial's error, and limits of agreement, in `unit`.
    line : LevelLine or None
        The error against the level.
    side_by_side : SideBySide
        Typical errors and a line with both axes in error.
    scaled : ScaledErrors
        The errors, on the claim's scale.
    trials : Trials
        What was checked.
    unit : str
        Unit of errors: "%", the quantity's unit, or "% of the limit".
    mean_of : int
        M, of the meaning ``next_subject``.
    assume : str
        "nothing", or "normal" where that was chosen beforehand.
    level : float
        Confidence level.
    reference_u : float
        Standard uncertainty of the reference, in `unit`.
    reference_known : KnownError
        The same with its shape: normal, or half-widths of rectangles.
    notes : tuple of Note
        What a reader must know.

    Examples
    --------
    >>> from agree import check_trials, pair_trials
    >>> table = {"subject": list("abcd"), "r_cm": [30, 40, 35, 25], "d_cm": [30.5, 40.6, 35.5, 25.3]}
    >>> pairs = pair_trials(table, by="subject", reference_column="r_cm", device_column="d_cm")
    >>> check_trials(pairs, "2 cm").verdict
    'holds'
    """

    claim: Claim
    meaning: Meaning
    verdict: str
    meanings: tuple[TrialMeaning, ...]
    bias: Estimate
    sd: Estimate
    lower: Estimate
    upper: Estimate
    line: LevelLine | None
    side_by_side: SideBySide
    scaled: ScaledErrors
    trials: Trials
    unit: str
    mean_of: int
    assume: Assume
    level: float
    reference_u: float
    reference_known: KnownError
    notes: tuple[Note, ...]

    @property
    def answer(self) -> TrialMeaning:
        """The meaning that the verdict rests on."""
        return next(item for item in self.meanings if item.meaning == self.meaning)

    def of(self, meaning: Meaning) -> TrialMeaning:
        """Return one of the four meanings."""
        return next(item for item in self.meanings if item.meaning == meaning)

    def to_dict(self) -> dict[str, Any]:
        """Return JSON types, schema version 2."""
        from agree.trials.schema_2 import as_schema_2

        result: dict[str, Any] = json_safe(as_schema_2(self))
        return result


def check_trials(
    trials: Trials,
    claim: str | Claim,
    *,
    meaning: Meaning = "average",
    mean_of: int = 1,
    assume: Assume = "nothing",
    reference_uncertainty: str | float | None = None,
    level: float = 0.95,
) -> TrialsCheck:
    """Decide whether a claim holds for trials of several subjects, does not hold, or is not settled.

    Use it on a table with a row for each trial. The answer is about subjects like these, with this device against this
    reference. It does not show that every device of the model does as well.

    Parameters
    ----------
    trials : Trials
        From `pair_trials`.
    claim : str or Claim
        "2 cm", "5 %", "10 % or 5 bpm" (the larger counts), "1 cm above 20 cm".
    meaning : {"average", "levels", "readings", "next_subject", "mean_absolute"}
        The meaning the verdict is given in, to be chosen before the data are seen. See `TrialMeaning`.
    mean_of : int
        Number of trials that are averaged for a subject, for ``next_subject``; 1 or more.
    assume : {"nothing", "normal"}
        Whether single trials are counted, or taken for normal, which needs fewer trials and is wrong in up to half of
        the studies whose errors are not normal; to be chosen before the data are seen.
    reference_uncertainty : str, float or None
        What is known of the reference: "±0.5 cm" (rectangular), "1 % k=2", or a number in the unit of the errors (±).
        None takes the reference as exact.
    level : float
        Confidence level, in (0, 1).

    Returns
    -------
    TrialsCheck
        ``.verdict``, ``.meanings`` with all four, ``.bias``, ``.lower``, ``.upper`` and what a report shows.

    Raises
    ------
    InputError
        A claim that is not understood, or is not in the readings' unit; per cent of a scale without zero, or of 0.
    SampleSizeError
        Fewer than 2 subjects.

    See Also
    --------
    pair_trials : Join a table of trials for it.
    plan_trials : How many subjects it takes.

    Notes
    -----
    Model: the error of subject i in trial j is beta + b_i + e_ij on the claim's scale. The unweighted analysis of the
    subjects' means gives the bias and the limits of agreement, for any numbers of trials.

    References
    ----------
    Thomas JD, Hultquist RA (1978) Ann Stat 6:582; Zou GY (2013) Stat Methods Med Res 22:630; Krishnamoorthy K, Mathew
    T (2009) Statistical Tolerance Regions (citations from memory).

    Examples
    --------
    >>> from agree import check_trials, pair_trials
    >>> table = {"subject": list("aabbccdd"), "r_cm": [30, 31, 40, 41, 35, 36, 25, 26],
    ...          "d_cm": [30.5, 31.4, 40.6, 41.6, 35.5, 36.5, 25.3, 26.4]}
    >>> check = check_trials(pair_trials(table, by="subject", reference_column="r_cm", device_column="d_cm"), "2 cm")
    >>> check.verdict, str(check.bias), check.of("readings").verdict
    ('holds', '0.48 [0.31, 0.64]', 'not settled')
    """
    if not isinstance(trials, Trials):
        raise InputError(f"`trials` must be what pair_trials returns; got {type(trials).__name__}", option="trials")
    checks.choice(meaning, "meaning", ASKED)
    checks.choice(assume, "assume", ("nothing", "normal"))
    checks.fraction(level, "level")
    if isinstance(mean_of, bool) or not isinstance(mean_of, int) or mean_of < 1:
        raise InputError(f"`mean_of` must be a whole number of trials, 1 or more; got {mean_of!r}", option="mean_of")
    stated = claim if isinstance(claim, Claim) else Claim.parse(claim)
    own = stated.for_quantity(trials.quantity, trials.device_column)
    if any(note.kind == "trials_unit_of_claim" for note in trials.notes):
        refuse_large_limit(trials.reference, own.absolute, trials.quantity)
    scaled = scaled_errors(trials, own)
    used = scaled.trials
    known = known_of_reference(reference_uncertainty, scaled, own)
    line = meanings.line_of(scaled, level, known)
    found = (meanings.average(scaled, level, known), meanings.levels(scaled, line),
             meanings.readings(scaled, level, known, assume),
             meanings.next_subject(scaled, level, known, mean_of, assume),
             *([meanings.mean_absolute(scaled, level, known)] if meaning == "mean_absolute" else []))
    found = tuple(few_persons(few_subjects(much_unread(item, scaled), scaled), scaled) for item in found)
    bias = meanings.bias_of(scaled, level, known)
    sd, lower, upper = spread_and_limits(scaled.errors, bias, 0.95, level,
                                         float(np.median(scaled.rounding.step)) if scaled.rounding.step.size else 0.0)
    beside = side_by_side(used.reference, used.subject, used.device, used.device_subject, level, paired=used.paired)
    verdict = next(item.verdict for item in found if item.meaning == meaning)
    odd = far_off_notes(scaled, verdict, lambda others: check_trials(
        others, stated, meaning=meaning, mean_of=mean_of, assume=assume, reference_uncertainty=reference_uncertainty,
        level=level).verdict)
    return TrialsCheck(
        claim=own, meaning=meaning, verdict=verdict, meanings=found, bias=bias, sd=sd, lower=lower, upper=upper,
        line=line, side_by_side=beside, scaled=scaled, trials=used, unit=scaled.unit, mean_of=mean_of, assume=assume,
        level=float(level), reference_u=known.u, reference_known=known,
        notes=(*odd, *unread_notes(used), *used.notes,
               *remarks(scaled, beside, own, meaning, found[-1 if meaning == "mean_absolute" else 0]),
               *unseen_notes(scaled, next(item for item in found if item.meaning == meaning))))
