"""What to enter in the device: the factor or the zero, what it did on data held back, and how far to trust it."""

from __future__ import annotations

from agree.core.interval.estimate import Estimate
from agree.correction.find import LEAST_SESSIONS, Correction
from agree.report.notes.sentence import note_text
from agree.report.story.language.digits import first_places, plain


def factor_text(item: Estimate) -> str:
    """Return a factor with its interval: "1.028 (1.022 to 1.034)"."""
    places = max(3, min(first_places((item.high - item.low) / 2), 5))
    value, low, high = (plain(x, places) for x in (item.value, item.low, item.high))
    return f"{value} ({low} to {high})"


def to_enter(item: Correction) -> tuple[str, ...]:
    """Return what to enter, in sentences; the first says it, the later ones may be left out where room is short."""
    if item.action in ("none", "refused") or item.entered is None:
        return (f"nothing: {note_text(item.reason)}." if item.reason else "nothing.",)
    return (_what(item), *_tested(item), *_lasts(item))


def _what(item: Correction) -> str:
    made = item.entered
    if made is None:
        return "nothing."
    zero = f"{'add' if made.offset_w < 0 else 'subtract'} {abs(made.offset_w):.1f} W (first set the zero afresh)"
    scale = f"multiply by {factor_text(item.factor or item.scale)}"
    return {"scale": scale, "offset": zero}.get(item.action, f"{zero}, then {scale}") + "."


def _tested(item: Correction) -> tuple[str, ...]:
    if item.after is None:
        return ()
    where = "sessions" if item.after.left_out == "sessions" else "parts of the ride"
    before, after = item.after.before_percent, item.after.after_percent
    return (f"On {where} held back to test it the error falls from {before:.1f} to {after:.1f} %.",)


def _lasts(item: Correction) -> tuple[str, ...]:
    if item.stable:
        return ("It was the same in all these sessions.",)
    if item.stable is False:
        return ("It changes from session to session: do not rely on it.",)
    return (f"Wait for {LEAST_SESSIONS} sessions before relying on it.",)
