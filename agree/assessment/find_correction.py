"""What to enter, alone or in a check: a correction, unless its cause or the sessions leave nothing to enter."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from agree.assessment.doubts.not_followed import Followed, followed
from agree.assessment.doubts.one_ride import OneRide
from agree.core import checks
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.core.thresholds import NAMED_STRENGTH, SETTING_FAR_OFF, USUAL_SD_PERCENT
from agree.correction.after import Asked
from agree.correction.find import Correction, correction
from agree.diagnosis.finding import Finding
from agree.diagnosis.findings import findings
from agree.diagnosis.over_sessions import merged
from agree.diagnosis.settled import lasting, passing, weight, without
from agree.diagnosis.window_findings import parts, slow
from agree.diagnosis.windows.bend import bend
from agree.diagnosis.windows.causes import fit
from agree.verdict.claim import Claim
from agree.verdict.columns import Table, table
from agree.verdict.meanings import effects_of
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.repeats.distinct import refuse_repeats
from agree.verdict.rule import HOLDS

# Causes that explain a scale of 2 or 1/2 or of a unit: the setting is to be changed, a factor would hide it.
SETTINGS = ("unit", "one_side_not_doubled", "one_side_doubled_twice")
COARSEST_STEP = 5.0  # per cent: no device takes a scale in coarser ones


def find_correction(
    pairs_list: Pairs | Sequence[Pairs], *, claim: str | Claim | None = None,
    reference_uncertainty: str | float | None = None, step: float | None = None, level: float = 0.95,
    window_s: int = 30,
) -> Correction:
    """Find what to enter so that the device agrees with the reference, and whether to trust it.

    Use it after the faulty seconds were set aside. It corrects towards the reference, and so towards the reference's
    own error; it does not show that the reference is right, nor what a firmware update or a fall will change.

    Parameters
    ----------
    pairs_list : Pairs or sequence of Pairs
        One for each session.
    claim : str or Claim, optional
        To be answered again after the correction, as in `check_claim`.
    reference_uncertainty : str, float or None
        As in `check_claim`; what is known of the reference's own error is taken out first. None takes it as exact.
    step : float, optional
        Step in which the device takes a scale, per cent: 1, 0.5, 0.1; 0.01 if not given.
    level : float
        Confidence level, from 0.5 to below 1.
    window_s : int
        Length of the windows the line is fitted to and errors are judged in, s.

    Returns
    -------
    Correction
        ``.action``, ``.entered`` with corrected = (device - offset_w) * scale, ``.scale``, ``.stable``, ``.after``.

    Raises
    ------
    InputError, SampleSizeError
        Not Pairs, too few used seconds, a device that sums to nothing, or an option that is not understood.

    See Also
    --------
    check_claim : Judge a claim, and find the correction too.
    deming : The line behind scale and offset.

    Notes
    -----
    None, scale, offset, and both are found without each session in turn (of a single recording: without each of 8
    blocks) and judged on it by the mean squared error of window means; the simplest is taken whose error exceeds that
    of the best by at most one standard error (Breiman, Friedman, Olshen & Stone 1984, section 3.4), on blocks, which
    resemble each other, by no more than half the 95 % t interval of the difference. Of scale and offset the scale is
    the simpler, since devices offer it.

    A correction is stable if, over at least 3 sessions, the spread of what each session still asks for is below half
    of the correction, the correction found on the other sessions lowers the mean size of the error of the one
    left out, and the error does not change from session to session (p < 0.05, from 4 sessions on). Half: a session is
    made worse if it asks for less than half of what is entered, which at that spread happens in one session of six.
    A device whose error bends with power gets nothing to enter unless every band then holds the claim that is given;
    nor does one that is made wrong by it at a power at which it was right, one that reads one side or in another unit,
    or one that does not follow the reference. Of a device that warms up, or whose zero changes once, the correction is
    found on what comes after the warm-up and before the change; where a warm-up, a change or a drift is the main error
    and the rest is inside the claim, nothing is to be entered. Sessions that look like one ride do not show whether a
    correction lasts. An unstable correction is entered with a caution; it is refused only where entering would not
    lower the mean square of the next session's error, as far as few sessions tell: their SD is drawn towards 1 %.

    References
    ----------
    Breiman L, Friedman JH, Olshen RA, Stone CJ (1984) Classification and Regression Trees, section 3.4 (from memory).

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, find_correction
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> found = find_correction(Pairs(reference=watts, device=0.97 * watts), step=0.5)
    >>> f"{found.scale.value:.4f} {found.action} {found.entered.scale} {found.stable}"
    '1.0309 scale 1.03 None'
    """
    checks.interval_level(level)
    if step is not None and not (checks.positive(step, "step") <= COARSEST_STEP):
        raise InputError(f"`step` must be the step of the scale in per cent, at most {COARSEST_STEP:g}; got {step!r}",
                         option="step")
    known = ReferenceUncertainty.parse(reference_uncertainty)
    asked = None if claim is None else Asked(Claim.parse(claim) if isinstance(claim, str) else claim)
    data = table(pairs_list, window_s)
    doubts = refuse_repeats(data.pairs)
    if known.factor != 1:
        items = [item.scaled(reference=known.factor) for item in data.pairs]
        data = table(items if len(items) > 1 else items[0], window_s)

    def found_on(some: Table) -> Correction:
        return correction(some, level, window_s, asked=asked, reference_u=known, step=step,
                          effects=effects_of(some, Claim.parse("1 %"), level))

    fix = found_on(data)
    causes = _causes(data, fix)
    fix = unless_it_passes(fix, data, causes, asked and asked.claim, window_s, found_on)
    fix = unless_not_followed(unless_caused_otherwise(fix, causes, data, asked and asked.claim), followed(data))
    return unless_one_ride(fix, doubts)


def _causes(data: Table, fix: Correction) -> tuple[Finding, ...]:
    """Return the causes that bear on whether to enter; all are looked for only where a setting may be wrong."""
    if fix.action != "none" and abs(1 / fix.scale.value - 1) > SETTING_FAR_OFF:
        return findings(data, fix)
    made = fit(data)
    return () if made is None else (*parts(made, fix), *bend(made), *slow(made))


def unless_it_passes(
    fix: Correction, data: Table, causes: Sequence[Finding], claim: Claim | None, window_s: int,
    found_on: Callable[[Table], Correction],
) -> Correction:
    """Return what the settled part asks for; nothing where that holds the claim, or shows no error.

    A factor found on a mean error that comes of a warm-up makes the device wrong as soon as it is warm. `found_on`
    finds a correction on a table.
    """
    slow = passing(causes)
    # A step hides a scale in the mean; of a warm-up no factor is taken that the mean does not ask for as well.
    may = fix.action not in ("none", "refused") or any(item.cause == "step" for item in slow)
    if not slow or (fix.action == "none" and not may):
        return fix
    rest = without(data, slow, window_s)
    made = found_on(rest)
    first = max(merged(slow), key=weight)
    values: dict[str, float | int | str | bool] = {"cause": first.cause}
    if first.cause == "warm_up":
        values["minutes"] = float(first.values["settled_s"]) / 60
    if weight(first) > lasting(causes):
        inside = claim is not None and _mean_inside(rest, claim)
        if inside or made.action in ("none", "refused"):
            return replace(_nothing_entered(fix), reason=Note(kind="correction_passes", values=values))
    if not may:
        return fix
    if made.action in ("none", "refused"):
        # Its ground is true of what comes after the warm-up, say, and not of the mean error that is shown.
        reason = made.reason and replace(made.reason, values={**made.reason.values, "beside": first.cause})
        return replace(made, reason=reason)
    return replace(made, because=(*made.because[:1], Note(kind="correction_settled", values=values),
                                  *made.because[1:]))


def _goes_with_cadence(fix: Correction, causes: Sequence[Finding]) -> bool:
    """Whether what would be entered is made by cadence: the first cause, or a zero that is no cause itself."""
    named = sorted((item for item in causes if item.strength >= NAMED_STRENGTH), key=weight, reverse=True)
    kinds = [item.cause for item in named]
    return "cadence_gain" in kinds and (kinds[0] == "cadence_gain" or (
        "offset" in fix.action and not {"offset", "torque_offset"} & set(kinds)))


def _mean_inside(data: Table, claim: Claim) -> bool:
    """Whether the mean error is inside the claim, whatever its interval."""
    return abs(float(np.mean(data.weights() * data.error))) <= float(np.mean(claim.limit_w(data.reference)))


def _nothing_entered(fix: Correction) -> Correction:
    return replace(fix, action="none", factor=None, subtract_w=None, entered=None, after=None,
                   error_left_percent=math.nan)


def unless_not_followed(fix: Correction, seen: Followed) -> Correction:
    """Refuse a correction of a device that does not move with the reference: stuck, or of another ride."""
    if not seen.not_at_all:
        return fix
    return replace(fix, action="refused", reason=Note(kind="correction_not_followed", values={
        "correlation": seen.correlation}))


def unless_caused_otherwise(fix: Correction, causes: Sequence[Finding], data: Table, claim: Claim | None) -> Correction:
    """Refuse a correction that the cause makes useless.

    Of a device whose error bends with power, or changes with cadence more than with anything else, unless it brings
    every power band inside the claim: a factor or a zero found on a mean error that comes from sprints alone, or from
    how cadence went with power, makes the device wrong where it was right. Nothing is to be entered where the mean
    error of one that changes with cadence is inside the claim already. And of one that reads one side, or in another
    unit, which is to be set right; or whose error is that of its response to changes.
    """
    if fix.action != "none" and any(item.values.get("explains") for item in causes):
        return replace(fix, action="refused", reason=Note(kind="correction_response"))
    if fix.action in ("none", "refused"):
        return fix
    setting = next((item for item in causes if item.cause in SETTINGS and item.strength >= NAMED_STRENGTH), None)
    if setting is not None and abs(1 / fix.scale.value - 1) > SETTING_FAR_OFF:
        return replace(fix, action="refused", reason=Note(kind="correction_setting", values={"cause": setting.cause}))
    inside = fix.after is not None and fix.after.verdicts.get("bands") == HOLDS
    if _goes_with_cadence(fix, causes):
        why = Note(kind="correction_cadence")
        if _mean_inside(data, claim or Claim.parse(f"{USUAL_SD_PERCENT} %")):
            return replace(_nothing_entered(fix), reason=why)
        if not inside:
            return replace(fix, action="refused", reason=why)
    if fix.factor is not None and not 0 < fix.factor.low <= fix.factor.value <= fix.factor.high < math.inf:
        # The line's slope is not known.
        return replace(_nothing_entered(fix), reason=Note(kind="correction_no_factor"))
    if any(item.cause == "bend" for item in causes) and not inside:
        return replace(fix, action="refused", reason=Note(kind="correction_bend"))
    return fix


def unless_one_ride(fix: Correction, doubts: Sequence[Note]) -> Correction:
    """Leave it open whether a correction lasts where sessions look like one ride, or are of one day."""
    alike = next((note for note in doubts if note.kind == "sessions_alike"), None)
    if fix.stable is None or (alike is None and not OneRide(tuple(doubts)).one_day):
        return fix
    why = Note(kind="correction_one_day") if alike is None else Note(
        kind="correction_one_ride", values={"sessions": alike.values["sessions"]})
    return replace(fix, stable=None, harm=math.nan, error_left_percent=math.nan, because=(*fix.because[:-1], why))
