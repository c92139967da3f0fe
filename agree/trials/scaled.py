"""Errors of trials on the claim's own scale: per cent, the unit, or per cent of a limit that changes with the level."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.errors import InputError, SampleSizeError
from agree.core.results.result import Result
from agree.estimators.trials.unweighted import SubjectErrors, subject_errors, unpaired_errors
from agree.trials.rounding import Rounding, rounding_of_trials
from agree.trials.tables.join import aside
from agree.trials.trials import Trials
from agree.verdict.claim import Claim

OF_LIMIT = "% of the limit"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScaledErrors(Result):
    """Errors on the scale on which the claim is one number.

    Attributes
    ----------
    trials : Trials
        Those the claim is made for.
    errors : SubjectErrors
        Subjects' means and mean squares, in `unit`.
    error : (n,) array
        Error of each trial, in `unit`; empty where unpaired.
    limit : float
        Largest allowed error, in `unit`.
    unit : str
        "%", the quantity's unit, or "% of the limit" for a claim with two limits.
    rounding : Rounding
        What rounding of the readings leaves unknown of their mean.
    """

    trials: Trials
    errors: SubjectErrors
    error: FloatArray
    limit: float
    unit: str
    rounding: Rounding

    @property
    def subject(self) -> NDArray[np.intp]:
        """(n,) subject of each error."""
        return self.trials.subject


def _without(trials: Trials, floor: float) -> Trials:
    """Trials at and above the level that the claim is made for."""
    keep = trials.reference >= floor
    if not trials.paired:
        raise InputError("a claim above a level needs paired trials, which have one; leave the level out")
    trials = replace(trials, unread=trials.unread[trials.unread >= floor])
    if keep.all():
        return trials
    below = [f"subject {trials.subjects[k]}" for k in trials.subject[~keep]]
    return replace(kept_trials(trials, keep), set_aside=(*trials.set_aside, *aside("outside_claim", below)))


def kept_trials(trials: Trials, keep: NDArray[np.bool_]) -> Trials:
    """Paired trials where `keep`, of the subjects that have one."""
    present, index = np.unique(trials.subject[keep], return_inverse=True)
    return replace(trials, reference=trials.reference[keep], device=trials.device[keep], subject=index,
                   device_subject=index, subjects=tuple(trials.subjects[k] for k in present))


def _scale(level: FloatArray, claim: Claim) -> FloatArray:
    """What an error is divided by."""
    if claim.percent is None:
        return np.ones(level.shape)
    scale: FloatArray = (np.abs(level) if claim.absolute is None else claim.limit(level)) / 100
    return scale


def scaled_errors(trials: Trials, claim: Claim) -> ScaledErrors:
    """Put the errors on the claim's scale.

    Raises
    ------
    InputError
        Per cent of a reference of 0.
    SampleSizeError
        Fewer than 2 subjects at the level that the claim is made for.
    """
    if claim.above is not None:
        trials = _without(trials, claim.above)
    if len(trials.subjects) < 2:
        raise SampleSizeError(f"`claim` {claim.text}: at least 2 subjects must reach that level; got "
                              f"{len(trials.subjects)}", option="claim")
    x, y = trials.reference, trials.device
    if claim.percent is not None and claim.absolute is None and (x == 0).any():
        k = int(np.flatnonzero(x == 0)[0])
        raise InputError(f"`claim` {claim.text}: {int((x == 0).sum())} of {x.size} trials have a reference of 0, first "
                         f"of subject {trials.subjects[trials.subject[k]]}, of which per cent means nothing; write the "
                         f"claim in {trials.quantity.unit}, or with a least limit, like '{claim.percent:g} % or 1 "
                         f"{trials.quantity.unit}'", option="claim")
    if claim.percent is not None and (x < 0).any() and (x > 0).any():
        raise InputError(f"`claim` {claim.text}: {int((x < 0).sum())} of {x.size} trials have a reference below 0, and "
                         f"others above, so per cent of them mean nothing together; write the claim in "
                         f"{trials.quantity.unit}, or check each direction by itself", option="claim")
    unit = {True: claim.absolute_unit or trials.quantity.difference_unit, False: "%"}[claim.percent is None]
    unit = OF_LIMIT if claim.percent is not None and claim.absolute is not None else unit
    limit = float(claim.absolute or 0) if claim.percent is None else 100.0 if unit == OF_LIMIT else claim.percent
    if trials.paired:
        scale = _scale(x, claim)
        error = (y - x) / scale
        return ScaledErrors(trials=trials, errors=subject_errors(error, trials.subject), error=error, limit=limit,
                            unit=unit, rounding=rounding_of_trials(trials, (scale, scale)))
    means = np.bincount(trials.subject, weights=x) / np.bincount(trials.subject)
    scale = _scale(means, claim)
    first, second = scale[trials.subject], scale[trials.device_subject]
    errors = unpaired_errors(x / first, trials.subject, y / second, trials.device_subject)
    return ScaledErrors(trials=trials, errors=errors, error=np.zeros(0), limit=limit, unit=unit,
                        rounding=rounding_of_trials(trials, (first, second)))
