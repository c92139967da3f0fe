"""Results as text: the answer first, then what it rests on. Total: prints whatever the fields hold."""

from __future__ import annotations

import math

from agree.assessment.budget import reference_forbids
from agree.assessment.claim_check import ClaimCheck
from agree.core.note import Note
from agree.core.pairs import REASONS, Alignment, Pairs
from agree.core.words import clock_of, estimate_text, number, percent, summary
from agree.correction.find import Correction
from agree.diagnosis.evidence import likely as likely
from agree.estimators.response.difference import Response
from agree.report import estimates  # noqa: F401  (makes the texts of estimators known)
from agree.report.notes.sentence import note_text
from agree.report.plain_text.screen import screen
from agree.verdict.claim import Claim
from agree.verdict.meanings import Reading
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import FAILS, HOLDS, OPEN

MEANING_WORDS = {"average": "on average", "bands": "in every power band", "readings": "95 % of {w}-s readings",
                 "next_session": "in the next session"}
FAULTS = tuple(reason for reason in REASONS if reason not in ("missing", "both_coasting"))


def _where(check: ClaimCheck) -> str:
    return "in this recording" if len(check.pairs) == 1 else f"over {len(check.pairs)} sessions"


def headline(check: ClaimCheck) -> str:
    """Return the verdict in one sentence."""
    verdict = check.verdict[0].upper() + check.verdict[1:]
    reading, claim = check.reading, check.claim.text
    item = reading.estimate
    if item is None or check.meaning in ("bands", "readings"):
        asked = {"readings": f"the claim of {claim} for 95 % of {check.window_s}-s readings",
                 "bands": f"the claim of {claim} in every power band"}.get(check.meaning, f"the claim of {claim}")
        return f"{verdict}: {asked}, {_where(check)}; {reading.because}."
    size = number(abs(item.value), item.low, item.high)
    side = "low" if item.value < 0 else "high"
    interval = f"[{number(item.low, item.low, item.high)}, {number(item.high, item.low, item.high)}]"
    ending = {HOLDS: f"inside the claim of {claim}", FAILS: f"outside the claim of {claim}"}.get(
        check.verdict, f"which neither confirms nor refutes the claim of {claim}")
    if check.verdict == OPEN and reference_forbids(reading, check.level):
        return (f"{verdict}: the reference alone (u = {reading.details['reference_u']:.2g} {reading.unit}) makes the "
                f"claim of {claim} undecidable; {_where(check)} the device reads {size} {reading.unit} {side} "
                f"{interval}.")
    subject = f"{_where(check)} the device reads {size} {reading.unit} {side} on average"
    if check.meaning == "next_session":
        subject = f"the next session is predicted {size} {reading.unit} {side}"
    return f"{verdict}: {subject} {interval}, {ending}."


def figure(reading: Reading) -> str:
    """Figures of one meaning, with its limit."""
    item = reading.estimate
    if item is None:
        return reading.because
    if reading.unit == "share":
        share = item.scaled(100)
        shortest = reading.details.get("shortest_window_s")
        reach = f"holds from {shortest} s" if shortest else "at no window up to 300 s"
        return f"{share.value:.0f} [{share.low:.0f}, {share.high:.0f}] % of them within; {reach}"
    worst = reading.details.get("worst_band")
    prefix = f"{worst[0]:g}-{worst[1]:g} W: " if worst else ""
    return f"{prefix}{estimate_text(item, reading.unit, sign=True)}, limit ±{reading.limit:.3g} {reading.unit}"


def set_aside(check: ClaimCheck) -> str:
    """Return what was set aside, by reason, and the bias with the faulty seconds."""
    seconds = check.seconds()
    parts = [f"{reason.replace('_', ' ')} {count:,}" for reason, count in seconds["set_aside"].items() if count]
    text = f"{seconds['used']:,} of {seconds['overlap']:,} s used; set aside: {', '.join(parts) or 'none'}"
    if any(seconds["set_aside"][reason] for reason in FAULTS):
        text += f"; with the faulty seconds the bias is {estimate_text(check.bias_with_faults, '%', sign=True)}"
    return text + "."


def fault_lines(check: ClaimCheck) -> list[str]:
    """Say of each kind of fault how often, how long, how much energy, where, and what it does to the mean error."""
    lines = []
    for item in check.pairs:
        session = f"session {item.session}: " if len(check.pairs) > 1 else ""
        for row in item.fault_table():
            more = ", ..." if row.events > len(row.first_s) else ""
            where = ", ".join(clock_of(start) for start in row.first_s) + more
            kept = "" if row.handling == "set aside" else "; used all the same"
            lines.append(f"{session}{row.kind.replace('_', ' ')}: {row.events:,} time{'s' * (row.events != 1)}, "
                         f"{row.seconds:,} s, {100 * row.energy_share:.2g} % of the energy, at {where}; mean error "
                         f"{row.bias_without:+.2f} % without, {row.bias_with:+.2f} % with it{kept}")
    return lines


def response_text(item: Response | None) -> str:
    """Say which trace is the smoother, by how much, and what that explains."""
    size = None if item is None else item.width_s or item.time_constant_s
    if item is None or size is None or item.explained is None:
        return "no difference in response was found." if item is not None else (
            "not compared: too few seconds, or a power that changes too slowly.")
    what = "averages over" if item.kind == "running mean" else "lags with a time constant of"
    doubt = f" (or {', '.join(item.alike)})" if item.alike else ""
    return (f"the {item.smoother} {what} {estimate_text(size, 's')}{doubt}, beside the other; this explains "
            f"{100 * item.explained.value:.0f} % of the variance from second to second ({item.scatter_before_w:.3g} to "
            f"{item.scatter_after_w:.3g} W).")


ROUTINE = ("reference: ", "device: ", "correlation of fast changes", "the lag by other channels, which agree",
           "the lag is not a whole number", "a step of the error", "a warm-up: ")
TELLING = ("checksum", "turned into", "assumed", "taken for", "daylight", "as well", "also")


def _told(note: Note | str) -> str:
    """Return the sentence of a note a reader must not miss, else ""."""
    if isinstance(note, Note):
        role = f"{note.role}: " if note.role else ""
        return role + note_text(note) if note.severity != "detail" else ""
    routine = note.startswith(ROUTINE) and not (
        note.startswith(ROUTINE[:2]) and any(word in note for word in TELLING))
    return "" if routine else note


def mind(check: ClaimCheck) -> list[str]:
    """Notes on the pairing that a reader must not miss; how files were read only where it might be wrong."""
    found = []
    for item in check.pairs:
        session = f"session {item.session}: " if len(check.pairs) > 1 else ""
        found += [session + told for told in (_told(note) for note in item.notes) if told]
    return found


def budget_text(check: ClaimCheck) -> str:
    """Return the terms of the mean error's uncertainty with their shares, and how far sessions differ."""
    terms = ", ".join(f"{term.name} {100 * term.share:.0f} %" for term in check.budget)
    effects = check.effects
    spread = f"; sessions differ by SD {effects.between_sd:.2g} {check.claim.unit}" if effects is not None else ""
    return f"{terms} of the variance{spread}."


def limits_text(check: ClaimCheck) -> str:
    """Return the limits of agreement in words."""
    limits = check.limits
    if limits is None:
        return "too few windows for limits of agreement."
    lower, upper = (estimate_text(item, sign=True) for item in (limits.lower, limits.upper))
    return f"{percent(limits.coverage)} of errors lie between {lower} and {upper} %."


def correction_text(item: Correction) -> str:
    """Return the advice on a correction."""
    made, factor = item.entered, item.factor or item.scale
    if made is None or item.action in ("none", "refused"):
        advice = {"refused": "refused, enter nothing"}.get(item.action, "none")
        return f"{advice}: {item.reason}; the factor would be {estimate_text(item.scale)}."
    zero = f"{'add' if made.offset_w < 0 else 'subtract'} {abs(made.offset_w):.1f} W (check the zero first)"
    scale = f"multiply the device by {made.scale:g} {estimate_text(factor).split(' ', 1)[1]}"
    what = {"scale": scale, "offset": zero}.get(item.action, f"{zero}, then {scale}")
    what += ", at powers like these" if item.kind == "cannot tell" else ""
    if item.after is not None:
        what += (f"; on {item.after.left_out} left out the mean error goes from {item.after.before_percent:.2g} to "
                 f"{item.after.after_percent:.2g} %")
        what += f" (claim then, on average: {item.after.verdicts['average']})" if item.after.verdicts else ""
    return what + ("; stable." if item.stable else f"; not known to last: {item.because.rsplit('; ', 1)[-1]}.")


def alignment_text(item: Alignment | None) -> str:
    """Return lag, drift and quality of the match."""
    if item is None:
        return "clocks not matched (paired by the caller)"
    se = f" ± {max(item.lag_se_s, 0.01):.1g}" if math.isfinite(item.lag_se_s) else ""
    drift_se = f" ± {item.drift_se_ppm:.0f}" if math.isfinite(item.drift_se_ppm) else ""
    drift = f", drift {item.drift_ppm:+.0f}{drift_se} ppm" if math.isfinite(item.drift_ppm) else ""
    drift += f", {len(item.steps)} step{'s' * (len(item.steps) > 1)} of a clock" if item.steps else ""
    lag = item.lag_s if abs(item.lag_s) >= 0.05 else 0.0  # never -0.0
    return f"device clock {lag:+.1f}{se} s{drift}, match r = {item.correlation:.2f}"


@summary.register(Claim)
@summary.register(ReferenceUncertainty)
def _(result: Claim | ReferenceUncertainty) -> str:
    return result.text


@summary.register
def _(result: Pairs) -> str:
    counts = ", ".join(f"{name.replace('_', ' ')} {count:,}" for name, count in result.counts().items() if count)
    lines = [f"{result.reference_name} (reference) and {result.device_name} (device), session {result.session}",
             f"  {int(result.used.sum()):,} of {result.reason.size:,} s used; set aside: {counts or 'none'}",
             f"  {alignment_text(result.alignment)}"]
    return "\n".join([*lines, *(f"  {note_text(note)}" for note in result.notes)])


@summary.register
def _(result: Correction) -> str:
    return f"Correction: {correction_text(result)}\n  {result.because}"


@summary.register
def _(result: ClaimCheck) -> str:
    return screen(result)
