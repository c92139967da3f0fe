"""What to enter in the device: the factor or the zero, what it did on data held back, and how far to trust it."""

from __future__ import annotations

from agree.core.interval.estimate import Estimate
from agree.core.thresholds import ONE_DAY_PERCENT
from agree.correction.find import LEAST_SESSIONS, Correction
from agree.correction.perhaps_none import none_fits
from agree.report.notes.sentence import note_text
from agree.report.story.language.digits import first_places, plain

SAME = "It was the same in all these sessions."
BEFORE = " before relying on it"
DAY = ", found on one day"
SETTLED = {"warm_up": ", found after the warm-up", "step": ", found beside the step",
           "drift": ", found with the drift taken off"}


def factor_text(item: Estimate) -> str:
    """Return a factor with its interval: "1.028 (1.022 to 1.034)"."""
    places = max(3, min(first_places((item.high - item.low) / 2), 5))
    value, low, high = (plain(x, places) for x in (item.value, item.low, item.high))
    return f"{value} ({low} to {high})"


def to_enter(item: Correction, *, zero_error: bool = True) -> tuple[str, ...]:
    """Return what to enter, in sentences; the first says it, the later ones may be left out where room is short.

    `zero_error`: a zero error was found, or not looked for; else watts are to be subtracted for a line's sake alone.
    """
    if item.action in ("none", "refused") or item.entered is None:
        return (f"nothing: {note_text(item.reason)}." if item.reason else "nothing.",)
    first = f"{_what(item, zero_error=zero_error)}{_settled(item)}{_unless(item)}."
    return (first, *_tested(item), *(SAME,) * (item.stable is True))


def to_enter_briefly(item: Correction) -> str:
    """Return the same in a few words; a correction is never without what speaks against relying on it."""
    if item.action in ("none", "refused") or item.entered is None:
        return "nothing; why: --details." if item.reason else "nothing."
    if item.stable is False:
        return "nothing to rely on: it changes from session to session."
    return f"{_what(item).split(' (')[0]}{_settled(item)}{_unless(item).removesuffix(BEFORE).replace(DAY, '')}."


def _what(item: Correction, *, zero_error: bool = True) -> str:
    made = item.entered
    if made is None:
        return "nothing"
    zero = f"{'add' if made.offset_w < 0 else 'subtract'} {abs(made.offset_w):.1f} W"
    zero += " (first set the zero afresh)" if zero_error else ""
    scale = f"multiply by {factor_text(item.factor or item.scale)}"
    return {"scale": scale, "offset": zero}.get(item.action, f"{zero}, then {scale}")


def _settled(item: Correction) -> str:
    """Say of a factor that is not that of the mean error what it was found on."""
    cause = next((str(note.values["cause"]) for note in item.because if note.kind == "correction_settled"), "")
    return SETTLED.get(cause, SETTLED["drift"]) if cause else ""


def _tested(item: Correction) -> tuple[str, ...]:
    if item.after is None:
        return ()
    where = "sessions" if item.after.left_out == "sessions" else "parts of the ride"
    before, after = item.after.before_percent, item.after.after_percent
    return (f"On {where} held back to test it the error falls from {before:.1f} to {after:.1f} %.",)


def _unless(item: Correction) -> str:
    """Say how far to trust it where it is not known to last: in one sentence with it, which is never cut."""
    if item.stable is False:
        return ", but do not rely on it: it changes from session to session, and agree correct refuses it"
    one = any(note.kind == "correction_one_session" for note in item.because)
    near = one and abs(item.scale.value - 1) * 100 <= ONE_DAY_PERCENT
    doubt = ": perhaps none is needed" if near or none_fits(item.factor, item.subtract_w) else ""
    day = DAY if one else ""
    return doubt if item.stable else f"{day}{doubt}; wait for {LEAST_SESSIONS} sessions{BEFORE}"
