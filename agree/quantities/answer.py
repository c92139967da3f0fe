"""The answer to a claim about a quantity, with recordings laid over each other in one way; which way decides."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np

from agree.core import checks
from agree.core.choices import Sampling
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.interval.engine import estimate, spread
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.thresholds import HALF_WEIGHT_S, SPREAD_MARGIN, TRIALS_HOLDS_MARGIN
from agree.estimators.limits.agreement import LimitsOfAgreement, limits_over
from agree.estimators.trials.shares_within import normal_share
from agree.estimators.trials.unweighted import SubjectErrors
from agree.quantities.delays.delay import Owner, taken_out
from agree.quantities.delays.lag_curve import SEARCHED_S
from agree.quantities.doubts.exchanged import exchanged
from agree.quantities.doubts.unlike import unlike
from agree.quantities.doubts.unread import little_used, unread
from agree.quantities.overlay import Overlay
from agree.quantities.pace import PaceLimits, limits_as_pace
from agree.verdict import meanings
from agree.verdict.claim import Claim
from agree.verdict.columns import LEAST_WINDOWS, Table, Windows, table
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import HOLDS, OPEN, three_way, widen

ASKED = ("average", "readings", "next_session", "mean_absolute")
Asked = Literal["average", "readings", "next_session", "mean_absolute"]
SHIFTS_S = (-SEARCHED_S, -SEARCHED_S // 2, SEARCHED_S // 2, SEARCHED_S)  # delays tried where none can be told


class Question(NamedTuple):
    """What is asked: the claim in the quantity's unit, the meaning of the verdict, and the rest of the options."""

    claim: Claim
    meaning: Asked
    window_s: int
    level: float
    known: ReferenceUncertainty


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class QuantityAnswer(Result):
    """The answers with the recordings laid over each other in one way.

    Attributes
    ----------
    verdict : str
        In the meaning that was asked.
    readings : tuple of Reading
        Mean error, share of window means, next session.
    bias : Estimate
        Mean error, in per cent or the quantity's unit as the claim is.
    limits : LimitsOfAgreement or None
        Of window means, in the quantity's unit.
    seconds : int
        Seconds used.
    withheld : tuple of Note
        Why no answer "holds" is given: the device gave too few readings, too little was used, a range was lost.
    pace : PaceLimits or None
        The limits of a pace in its own unit, where these are of the speed.
    """

    verdict: str
    readings: tuple[meanings.Reading, ...]
    bias: Estimate
    limits: LimitsOfAgreement | None
    seconds: int
    withheld: tuple[Note, ...] = ()
    pace: PaceLimits | None = None

    def of(self, meaning: str) -> meanings.Reading:
        """Return one of the meanings."""
        return next(item for item in self.readings if item.meaning == meaning)


def share_of_small_errors(windows: Windows, claim: Claim, sampling: Sampling, level: float) -> float:
    """Least share within where all window means are, and so far that it need not be counted; 0 where one is outside.

    The share of normal errors must hold from the number of windows that they are worth by the spread of their mean:
    within the limit over 1.8, as for trials, or with errors that scatter about their mean 2.6 times as widely. Either
    makes up for errors that are skewed or have long tails; the second leaves a constant error what it is.
    """
    error = (windows.device - windows.reference) / np.maximum(claim.limit(windows.reference), 1e-300)
    if error.size < LEAST_WINDOWS or np.abs(error).max() > 1:
        return 0.0
    se = spread(error - error.mean(), sampling, windows.session, cautious=True).standard_error
    variance = float(error.var(ddof=1))
    number = int(min(max(variance / se**2 if se > 0 else error.size, 2), error.size))
    shape = np.linspace(-1, 1, number)  # of the wanted mean and variance
    shape = shape / float(shape.std(ddof=1))
    least = 0.0
    for limit, times in ((1 / TRIALS_HOLDS_MARGIN, 1.0), (1.0, SPREAD_MARGIN)):
        found = SubjectErrors(means=float(error.mean()) + times * math.sqrt(variance) * shape,
                              of_means=times**2 * variance, trial_parts=(), n=number)
        least = max(least, normal_share(found, limit, level).low)
    return least


def mean_absolute(data: Table, claim: Claim, known: ReferenceUncertainty, level: float) -> meanings.Reading:
    """Answer for the mean absolute error of seconds, of a claim in per cent the mean absolute percentage error (MAPE).

    Raises
    ------
    InputError
        A claim with two limits, or per cent of readings of 0.
    """
    if claim.percent is not None and claim.absolute is not None:
        raise InputError("`meaning` mean_absolute needs a claim with one limit, like '5 %' or '5 bpm'",
                         option="meaning")
    chosen = data.reference >= (-math.inf if claim.above is None else claim.above)
    error, reference = np.abs(data.error[chosen]), np.abs(data.reference[chosen])
    limit = claim.percent if claim.percent is not None else float(claim.absolute or 0)
    if claim.percent is not None:
        if (reference == 0).any():
            raise InputError(f"`claim` {claim.text}: {int((reference == 0).sum())} s have a reference of 0, of which "
                             "per cent means nothing; write the claim in the unit of the readings", option="claim")
        error = 100 * error / reference
    labels = data.labels(chosen)
    plain = estimate(float(error.mean()), error - error.mean(), level=level, sampling=data.sampling, session=labels,
                     cautious=True, half_weight_n=HALF_WEIGHT_S)
    size = widen(plain, known.known(float(reference.mean()), claim.unit))
    size = replace(size, low=max(size.low, 0.0))
    return meanings.Reading(meaning="mean_absolute", verdict=three_way(size.low, size.high, limit), estimate=size,
                            limit=limit, unit=claim.unit, own=plain, because=Note(
                                kind="quantity_mean_absolute", severity="answer", values={"seconds": error.size}))


def answer_of(overlays: Sequence[Overlay], lags_s: Sequence[float], question: Question, *,
              with_limits: bool = True) -> QuantityAnswer:
    """Answer with each device moved back by its lag, s; 0 leaves it as recorded."""
    claim, meaning, window_s, level, known = question
    pairs = [_pairs(item, taken_out(item, lag) if lag else item.device)
             for item, lag in zip(overlays, lags_s, strict=True)]
    pairs, claim = _above_zero(pairs, claim)
    data = table(pairs if len(pairs) > 1 else pairs[0], window_s)
    mean = meanings.average(data, claim, known, level, hold_level=False)
    windows = data.windows(window_s)
    single = meanings.readings(data, claim, known, level, window_s)
    if single.verdict == OPEN and single.estimate is not None:
        least = share_of_small_errors(windows, claim, data.sampling, level)
        if least >= meanings.SHARE:  # the interval shown is the one that decides
            single = replace(single, verdict=HOLDS, estimate=replace(
                single.estimate, low=max(least, single.estimate.low),
                method="normal errors, generalised pivots, with a margin for other shapes"))
    found: tuple[meanings.Reading, ...] = (
             mean, single, meanings.next_session(data, claim, mean, level),
             *([mean_absolute(data, claim, known, level)] if meaning == "mean_absolute" else []))
    doubts = (*unread(overlays, lags_s, question.claim.above), *unlike(overlays, lags_s, question.claim),
              *exchanged(overlays), *little_used(overlays, data, claim))
    if doubts:
        found = meanings.hold_back(found, doubts[0])
    limits: LimitsOfAgreement | None = None
    with suppress(InputError):  # too few windows: said as absent
        if with_limits:
            x, y, labels = checks.columns(windows.reference, windows.device, session=windows.session,
                                          sampling=data.sampling)
            limits = limits_over(x, y, labels, level=level, sampling=data.sampling)
    measured = overlays[0].quantity
    pace = None if limits is None or measured.scale != "reciprocal" else limits_as_pace(
        limits, float(windows.reference.mean()), measured.unit)
    bias = meanings.mean_error(data, claim.unit, level, hold_level=False)
    return QuantityAnswer(verdict=next(item.verdict for item in found if item.meaning == meaning), readings=found,
                          bias=bias, limits=limits, seconds=int(data.reference.size), withheld=doubts, pace=pace)


def _pairs(overlay: Overlay, device: checks.FloatArray) -> Pairs:
    reason = None
    if overlay.quantity.zero_means != "rest":  # a zero is a reading like others
        reason = np.where(np.isfinite(overlay.reference) & np.isfinite(device), "", "missing")
    return Pairs(reference=overlay.reference, device=device, session=overlay.session, reason=reason,
                 reference_name=overlay.reference_name, device_name=overlay.device_name)


def _above_zero(pairs: list[Pairs], claim: Claim) -> tuple[list[Pairs], Claim]:
    """Shift readings that sum to nothing or less, such as °C in winter; errors in a unit are the same from any zero.

    Raises
    ------
    InputError
        A claim in per cent of such readings.
    """
    if all(item.reference[item.used].sum() > 0 for item in pairs if item.used.any()):
        return pairs, claim
    if claim.percent is not None:
        raise InputError(f"`claim` {claim.text}: the reference's readings sum to nothing or less, so per cent of them "
                         "means nothing; write the claim in the unit of the readings", option="claim")
    by = 2 * max(float(np.nanmax(np.abs(item.reference))) for item in pairs)
    return ([replace(item, reference=item.reference + by, device=item.device + by, matched=None) for item in pairs],
            replace(claim, above=None if claim.above is None else claim.above + by))


def verdict_of(owner: Owner, first: QuantityAnswer, second: QuantityAnswer | None, *, absolute: bool,
               any_delay: bool) -> str:
    """Return the verdict from the answers as recorded and with the delay taken out, by whose the delay is."""
    if owner == "clock" and second is not None:
        return second.verdict
    if owner == "device":
        return first.verdict
    if second is None:
        return first.verdict if absolute or any_delay else OPEN
    return first.verdict if first.verdict == second.verdict else OPEN


def same_at_any_delay(overlays: Sequence[Overlay], first: QuantityAnswer, question: Question) -> bool:
    """Whether the verdict stays the same for delays of up to 2 min either way, where none can be told."""
    try:
        return all(answer_of(overlays, [shift] * len(overlays), question, with_limits=False).verdict == first.verdict
                   for shift in SHIFTS_S)
    except InputError:  # too little in common at one of them
        return False
