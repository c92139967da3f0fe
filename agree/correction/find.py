"""Which correction to enter, and whether it can be trusted in the next session."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.drawn import Drawn
from agree.core.results.note import Note
from agree.core.shared_docs import made_by
from agree.core.thresholds import POWER_RANGE, UNLIKE_SD_PERCENT, USUAL_SD_PERCENT
from agree.correction.after import After, Asked, after
from agree.correction.along_power import harms, stretches
from agree.correction.entered import Entered, Judged, judge
from agree.correction.foretold import error_left, helps_in_the_mean
from agree.correction.kind_of_error import fitted_line, kind_of_error, power_range
from agree.correction.perhaps_none import unless_none_fits
from agree.correction.rules import WORTHWHILE_PERCENT, Rule, choose, units
from agree.estimators.lines.line import Line
from agree.verdict.columns import Table
from agree.verdict.error_distribution import interval_half_width
from agree.verdict.meanings import mean_error
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import widen
from agree.verdict.sessions import SessionEffects

LEAST_SESSIONS = 3       # below, stability is not judged
FINEST_STEP = 0.01       # per cent: a factor of four decimals


@made_by("find_correction", "check_claim")
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Correction(Drawn):
    """A correction of the device.

    Attributes
    ----------
    scale : Estimate
        Factor if the device is corrected by a factor alone: corrected = device * scale; sum of reference over sum of
        device. The interval takes in the sessions and the reference's uncertainty.
    kind : {"none", "scale", "offset", "scale and offset", "cannot tell"}
        What the line through the window means says is wrong.
    stable : bool or None
        Whether the correction can be expected to hold in the next session; None below 3 sessions: not known.
    because : tuple of Note
        Ground for `kind`, what was seen on data left out, and ground for `stable`; of kind "correction_...".
    offset : Estimate or None
        Intercept of the line, W: what the device adds at every level. None where no line could be fitted.
    session_sd_percent : float
        Spread between sessions of the factor that each still asks for, with the offset taken out if one is advised;
        NaN with one session.
    action : {"none", "scale", "offset", "scale and offset", "refused"}
        What to do.
    reason : str
        Ground for `action`.
    factor, subtract_w : Estimate or None
        Parts of the correction: corrected = (device - subtract_w) * factor; None where it has no such part.
    entered : Entered or None
        The same in steps the device offers. With "refused" it is what was refused.
    harm : float
        Probability that the correction makes the mean error of the next session larger; NaN with one session, from
        which it cannot be known.
    error_left_percent : float
        Mean size of the next session's mean error after the correction, per cent; NaN where none is advised, where the
        error changes from session to session, and with one session, from which it cannot be known. From two it is
        right in the mean of many tests, and of one may be off several times.
    after : After or None
        The claim after the correction, judged on data left out; None if nothing is corrected.

    Examples
    --------
    >>> from agree import Pairs, find_correction
    >>> watts = [150 + 3 * (second // 60) for second in range(1200)]
    >>> round(find_correction(Pairs(reference=watts, device=[1.04 * w for w in watts])).scale.value, 4)
    0.9615
    """

    scale: Estimate
    kind: str
    stable: bool | None
    because: tuple[Note, ...]
    offset: Estimate | None
    session_sd_percent: float = math.nan
    action: str = "none"
    reason: Note | None = None
    factor: Estimate | None = None
    subtract_w: Estimate | None = None
    entered: Entered | None = None
    harm: float = math.nan
    error_left_percent: float = math.nan
    after: After | None = None


def correction(
    table: Table, level: float, window_s: int, *, asked: Asked | None = None,
    reference_u: ReferenceUncertainty | None = None, step: float | None = None, bias: Estimate | None = None,
    line: Line | None = None, effects: SessionEffects | None = None,
) -> Correction:
    """Find a correction as `find_correction` does, but for its causes: none is asked here.

    `table` has all sessions; mean error and line, where they are known, are not found again.
    """
    total = float(table.device.sum())
    if not total > 0:
        raise InputError(f"the device sums to {total:g} W s over the used seconds; no factor can correct it")
    known = reference_u or ReferenceUncertainty.parse(None)
    bias = mean_error(table, "%", level) if bias is None else bias
    line = fitted_line(table, window_s, level) if line is None else line
    range_ = power_range(table, window_s)
    kind, facts = kind_of_error(line, bias, range_, float(table.reference.mean()))
    data = units(table, window_s, range_ >= POWER_RANGE)
    chosen = choose(data)
    judged = judge(table, data, "scale" if chosen in (None, "none") else chosen, step or FINEST_STEP)
    scale = _scale(bias, known, float(table.reference.mean()))
    parts = _parts(table, judged.action, line, known, scale)
    action, reason = unless_none_fits(
        parts, judged.size_percent, *action_of(table, chosen, bias, judged, known))
    if action not in ("none", "refused") and judged.entered is not None and harms(
            stretches(table), Rule(judged.entered.scale, judged.entered.offset_w), asked and asked.claim):
        action, reason = "refused", Note(kind="correction_bend")
    corrects = action not in ("none", "refused")
    later = None
    if corrects and judged.left_out:
        later = after(table, data, judged.left_out, window_s, level, known, asked)
    seen = () if later is None else (Note(kind="correction_tested", values={
        "left_out": later.left_out, "before": later.before_percent, "after": later.after_percent}),)
    ageing = effects is not None and effects.ageing
    stable, ground = stability(table, judged, ageing)
    return Correction(
        scale=scale, kind=kind, stable=stable,
        because=(facts, *seen, ground), offset=None if line is None else line.intercept,
        session_sd_percent=judged.sd_percent if table.sessions > 1 else math.nan, action=action, reason=reason,
        factor=parts[0] if action != "none" else None, subtract_w=parts[1] if action != "none" else None,
        entered=judged.entered if action != "none" else None, harm=judged.harm, after=later,
        error_left_percent=math.nan if action == "none" or ageing else error_left(
            judged.sd_percent, judged.size_percent, table.sessions))


def _scale(bias: Estimate, known: ReferenceUncertainty, mean_w: float) -> Estimate:
    """One over 1 + the mean error: the verdict's own figure and interval, turned round."""
    wide = widen(bias, known.known(mean_w))
    value, low, high = (100 / (100 + x) if x > -100 else math.inf for x in (wide.value, wide.high, wide.low))
    return Estimate(value=value, low=low if math.isfinite(wide.high) else 0.0, high=high, level=bias.level,
                    method=wide.method, standard_error=value**2 * wide.standard_error / 100, df=wide.df,
                    drift=bias.drift)


def _parts(
    table: Table, action: str, line: Line | None, known: ReferenceUncertainty, scale: Estimate
) -> tuple[Estimate | None, Estimate | None]:
    """Factor and offset (W) of an action, with the reference's uncertainty."""
    mean_w = float(table.reference.mean())
    if action == "scale":
        return scale, None
    if action == "offset" or line is None:
        return None, widen(mean_error(table, "W", scale.level), known.known(mean_w, "W"))
    slope = line.slope
    low, high = (1 / limit if limit > 0 else math.inf for limit in (slope.high, slope.low))
    factor = replace(slope, value=1 / slope.value, low=low, high=high,
                     standard_error=slope.standard_error / slope.value**2)
    parts = [replace(known, terms=tuple(term for term in known.terms if (term.watts == 0) == (unit == "%"))).known(
        mean_w, unit) for unit in ("%", "W")]
    return widen(factor, parts[0].times(factor.value / 100)), widen(line.intercept, parts[1].times(slope.value))


def action_of(
    table: Table, chosen: str | None, bias: Estimate, judged: Judged, known: ReferenceUncertainty
) -> tuple[str, Note]:
    """Return the action and its ground."""
    several = table.sessions > 1
    units_left = "sessions" if several else "blocks"
    mean_w = float(table.reference.mean())
    if chosen is None:
        small = abs(bias.value) <= WORTHWHILE_PERCENT
        return "none" if small else "refused", Note(kind="correction_short")
    if chosen == "none":
        if table.sessions >= LEAST_SESSIONS and judged.sd_percent > UNLIKE_SD_PERCENT and not helps_in_the_mean(
                judged.size_percent, judged.sd_percent, table.sessions):
            return "refused", Note(kind="correction_nothing_common", values={"sd": judged.sd_percent})
        if abs(bias.value) <= WORTHWHILE_PERCENT:
            return "none", _small(widen(bias, known.known(mean_w)))
        return "none", Note(kind="correction_no_gain", values={"left_out": units_left})
    alone = known.known(mean_w)
    if chosen != "scale and offset" and abs(bias.value) <= float(interval_half_width(0.0, math.inf, alone, 0.95)):
        what = known.main_term(mean_w)
        return "none", Note(kind="correction_reference", values={"whose": what, "u": alone.u})
    made = judged.entered
    if made is not None and made.scale == 1 and made.offset_w == 0:
        return "none", Note(kind="correction_below_step", values={"step": made.step_percent})
    few = not several and (not judged.helps or not judged.sd_percent < judged.size_percent / 2)  # blocks are alike
    no_gain = several and not helps_in_the_mean(judged.size_percent, judged.sd_percent, table.sessions)
    if made is not None and no_gain and (table.sessions < LEAST_SESSIONS or judged.sd_percent <= UNLIKE_SD_PERCENT):
        return "none", _small(widen(bias, alone))
    if made is None or few or no_gain:
        return "refused", Note(kind="correction_scatter", values={
            "left_out": units_left, "sd": judged.sd_percent, "size": judged.size_percent})
    if not several and judged.size_percent <= USUAL_SD_PERCENT:
        return "refused", Note(kind="correction_as_days", values={
            "size": judged.size_percent, "least": LEAST_SESSIONS})
    return chosen, Note(kind="correction_clear", values={"left_out": units_left})


def _small(bias: Estimate) -> Note:
    """Ground for no correction of a small mean error: that it is small only where its interval, as shown, says so."""
    if max(-bias.low, bias.high) <= WORTHWHILE_PERCENT:
        return Note(kind="correction_small", values={"percent": WORTHWHILE_PERCENT})
    if bias.low <= 0 <= bias.high:
        return Note(kind="correction_perhaps_none", values={"unit": "%", "low": -bias.high, "high": -bias.low})
    return Note(kind="correction_small_value", values={"error": bias.value})


def stability(table: Table, judged: Judged, ageing: bool) -> tuple[bool | None, Note]:
    """Return whether a correction lasts, None where that is not known, and the ground."""
    if table.sessions < 2:
        return None, Note(kind="correction_one_session")
    if table.sessions < LEAST_SESSIONS:
        return None, Note(kind="correction_few_sessions", values={"least": LEAST_SESSIONS})
    if math.isnan(judged.sd_percent):
        return None, Note(kind="correction_no_power")
    if ageing:
        return False, Note(kind="correction_ageing")
    stable = judged.sd_percent < judged.size_percent / 2 and judged.helps
    return stable, Note(kind="correction_spread", values={"sd": judged.sd_percent, "harm": judged.harm})
