"""Whether an error that changes with power leaves anything to enter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from agree.core.results.note import Note
from agree.correction.find import Correction
from agree.diagnosis.finding import Finding
from agree.verdict.rule import HOLDS


def bent(fix: Correction, causes: Sequence[Finding]) -> Correction:
    """Refuse a correction of a device whose error bends with power, unless it brings every power band inside the claim.

    A factor or a zero found on a mean error that comes from sprints alone makes the device wrong where it was right.
    """
    if fix.action in ("none", "refused") or not any(item.cause == "bend" for item in causes):
        return fix
    if fix.after is not None and fix.after.verdicts.get("bands") == HOLDS:
        return fix
    return replace(fix, action="refused", reason=Note(kind="correction_bend"))
