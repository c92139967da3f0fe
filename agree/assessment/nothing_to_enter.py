"""Whether the cause of an error leaves anything to enter: not where it bends with power, nor for a wrong setting."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from agree.assessment.doubts.not_followed import Followed
from agree.core.results.note import Note
from agree.core.thresholds import NAMED_STRENGTH, SETTING_FAR_OFF
from agree.correction.find import Correction
from agree.diagnosis.finding import Finding
from agree.verdict.rule import HOLDS

# Causes that explain a scale of 2 or 1/2 or of a unit: the setting is to be changed, a factor would hide it.
SETTINGS = ("unit", "one_side_not_doubled", "one_side_doubled_twice")


def unless_not_followed(fix: Correction, seen: Followed) -> Correction:
    """Refuse a correction of a device that does not move with the reference: stuck, or of another ride."""
    if not seen.not_at_all:
        return fix
    return replace(fix, action="refused", reason=Note(kind="correction_not_followed", values={
        "correlation": seen.correlation}))


def unless_caused_otherwise(fix: Correction, causes: Sequence[Finding]) -> Correction:
    """Refuse a correction that the cause makes useless.

    Of a device whose error bends with power, unless it brings every power band inside the claim: a factor or a zero
    found on a mean error that comes from sprints alone makes the device wrong where it was right. And of one that
    reads one side, or in another unit, which is to be set right.
    """
    if fix.action in ("none", "refused"):
        return fix
    setting = next((item for item in causes if item.cause in SETTINGS and item.strength >= NAMED_STRENGTH), None)
    if setting is not None and abs(1 / fix.scale.value - 1) > SETTING_FAR_OFF:
        return replace(fix, action="refused", reason=Note(kind="correction_setting", values={"cause": setting.cause}))
    inside = fix.after is not None and fix.after.verdicts.get("bands") == HOLDS
    if any(item.cause == "bend" for item in causes) and not inside:
        return replace(fix, action="refused", reason=Note(kind="correction_bend"))
    return fix
