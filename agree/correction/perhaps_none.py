"""Whether none may be the right correction: its interval takes in that there is no error."""

from __future__ import annotations

from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.thresholds import USUAL_SD_PERCENT


def none_fits(factor: Estimate | None, subtract_w: Estimate | None) -> bool:
    """Whether the interval of each part of a correction takes in that nothing changes; one part may be missing."""
    parts = ((factor, 1.0), (subtract_w, 0.0))
    changes = [(part.low - nothing, part.high - nothing) for part, nothing in parts if part]
    return bool(changes) and all(low <= 0 <= high for low, high in changes)


def unless_none_fits(
    parts: tuple[Estimate | None, Estimate | None], size_percent: float, action: str, reason: Note
) -> tuple[str, Note]:
    """Return no action for an error that is not shown to differ from 0, and is no more than days often differ by.

    A larger one is entered though its interval takes in 0: that of few sessions is wide, and the next gains
    (benchmarks/correction.py: with two sessions 3 % low the error left falls from 3.0 to 0.6 %, and stays at 2.0 % if
    nothing is entered wherever none fits).
    """
    factor, zero = parts
    part = {"scale": factor, "offset": zero}.get(action)
    if part is None or size_percent > USUAL_SD_PERCENT or not none_fits(*parts):
        return action, reason
    unit, low, high = (("%", 100 * (part.low - 1), 100 * (part.high - 1)) if action == "scale" else
                       ("W", -part.high, -part.low))
    return "none", Note(kind="correction_perhaps_none", values={"unit": unit, "low": low, "high": high})
