"""Whether the device follows the reference at all: one that does not is right on average by accident of the effort."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from agree.core import thresholds
from agree.core.checks import FloatArray
from agree.core.results.note import Note
from agree.quantities.delays.delay import running_mean, taken_out
from agree.quantities.delays.lag_curve import SEARCHED_S, correlations
from agree.quantities.overlay import Overlay
from agree.verdict.claim import Claim

SMOOTHED_S = 30  # noise of single seconds hides no device that follows


def unlike(overlays: Sequence[Overlay], lags_s: Sequence[float], claim: Claim) -> list[Note]:
    """Return why a device forbids a "holds" by standing still, or by not following, while the reference moves.

    Its mean error says how hard the session was, and another session is another one. What moves is judged by running
    means of 30 s in the seconds of the claim's range, against the claim's limit: a device that keeps within a limit
    need not follow less than that. One session is enough.
    """
    found: dict[str, Note] = {}
    for overlay, lag in zip(overlays, lags_s, strict=True):
        note = _of(overlay, taken_out(overlay, lag) if lag else overlay.device, claim)
        if note is not None:
            found.setdefault(note.kind, note)
    return list(found.values())


def _of(overlay: Overlay, device: FloatArray, claim: Claim) -> Note | None:
    both = np.isfinite(overlay.reference) & np.isfinite(device)
    if claim.above is not None:
        both &= overlay.reference >= claim.above
    if not both.any():
        return None
    reference = np.where(both, overlay.reference, np.nan)
    smooth = running_mean(reference, SMOOTHED_S)
    moves, limit = float(np.nanstd(smooth)), float(claim.limit(overlay.reference[both]).mean())
    counts = np.unique(device[both], return_counts=True)[1]
    share = float(counts.max()) / int(both.sum())
    if share >= thresholds.STILL_SHARE and moves >= thresholds.STILL_MOVES * limit:
        return Note(kind="quantity_still", severity="answer", role="device", values={
            "percent": 100 * share, "moves": moves, "unit": overlay.quantity.difference_unit})
    if moves < limit:
        return None
    best = float(correlations(smooth, running_mean(device, SMOOTHED_S), everywhere=False)[1].max())
    if best >= thresholds.LEAST_FOLLOWS:
        return None
    return Note(kind="quantity_unlike", severity="answer", role="device",
                values={"correlation": max(best, 0.0), "seconds": SEARCHED_S})
