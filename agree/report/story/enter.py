"""What to enter in the device: the factor or the zero, what it did on data held back, and how far to trust it."""

from __future__ import annotations

import math

from agree.core.interval.estimate import Estimate
from agree.core.thresholds import ONE_DAY_PERCENT
from agree.correction.find import LEAST_SESSIONS, Correction
from agree.correction.perhaps_none import none_fits
from agree.report.notes.sentence import note_text
from agree.report.story.language.digits import first_places, plain

SAME = "It was the same in all these sessions."
BEFORE = " before relying on it"
LEAST_SAID = 0.1  # per cent: no device is known better
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
    what = f"{_what(item, zero_error=zero_error)}{_settled(item)}"
    first = f"{_not_yet(item, what)}; record {_more(item)} more first." if _waits(item) else f"{what}{_unless(item)}."
    return (first, *_tested(item), *(SAME,) * (item.stable is True))


def to_enter_briefly(item: Correction) -> str:
    """Return the same in a few words; a correction is never without what speaks against relying on it."""
    if item.action in ("none", "refused") or item.entered is None:
        return "nothing; why: --details." if item.reason else "nothing."
    if item.stable is False:
        return "nothing to rely on: it changes from session to session."
    what = f"{_what(item).split(' (')[0]}{_settled(item)}"
    if _waits(item):
        return f"nothing yet (to {what} would fit); record {_more(item)} more."
    return f"{what}{_unless(item).removesuffix(BEFORE)}."


def _one(item: Correction) -> bool:
    return any(note.kind == "correction_one_session" for note in item.because)


def _more(item: Correction) -> int:
    return LEAST_SESSIONS - (1 if _one(item) else 2)


def _waits(item: Correction) -> bool:
    """Whether what is found is no thing to enter yet: that of one session, or of two that do not show an error."""
    few = any(note.kind == "correction_few_sessions" for note in item.because)
    return item.stable is None and (_one(item) or (few and none_fits(item.factor, item.subtract_w)))


def _not_yet(item: Correction, what: str) -> str:
    """Say what few sessions ask for so that it does not read as advice."""
    if _one(item):
        none = "; perhaps none is needed" if abs(item.scale.value - 1) * 100 <= ONE_DAY_PERCENT or none_fits(
            item.factor, item.subtract_w) else ""
        return f"nothing yet: this one session asks to {what}, and others may not{none}"
    return f"nothing yet: the two sessions do not show an error; together they ask to {what}"


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
    """Say what is left: of the next session where sessions tell it, else what was left on data held back."""
    if item.after is None:
        return ()
    before, after = item.after.before_percent, item.after.after_percent
    if not math.isnan(item.error_left_percent):
        few = any(note.kind == "correction_few_sessions" for note in item.because)
        badly = ", but two sessions tell this badly: it may be several times as much" if few else ""
        return (f"These sessions are {before:.1f} % off on average; with it the next is expected to be "
                f"{_size(item.error_left_percent)} % off{badly}.",)
    where = "sessions" if item.after.left_out == "sessions" else "parts of the ride"
    other = "; another day may differ" if where == "sessions" else ""
    return (f"On {where} held back to test it the error falls from {before:.1f} to {after:.1f} %{other}.",)


def _size(percent: float) -> str:
    return f"{percent:.1f}" if percent >= LEAST_SAID else f"less than {LEAST_SAID:g}"


def _unless(item: Correction) -> str:
    """Say how far to trust it where it is not known to last: in one sentence with it, which is never cut."""
    if item.stable is False:
        return ", but do not rely on it: it changes from session to session, and agree correct refuses it"
    doubt = ": perhaps none is needed" if none_fits(item.factor, item.subtract_w) else ""
    alike = any(note.kind in ("correction_one_day", "correction_one_ride") for note in item.because)
    wait = "sessions of other days" if alike else f"{LEAST_SESSIONS} sessions"
    return doubt if item.stable else f"{doubt}; wait for {wait}{BEFORE}"
