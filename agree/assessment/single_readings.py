"""The single readings of a check: means over windows, with their errors in the claim's terms."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.assessment.claim_check import ClaimCheck
from agree.core.checks import FloatArray
from agree.verdict.columns import table


class Readings(NamedTuple):
    """Window means, (n,) each: W, W, %, error over the limit there, 1 inside or 0 outside, start in s, session."""

    reference: FloatArray
    device: FloatArray
    percent: FloatArray
    claims: FloatArray
    inside: FloatArray
    start: FloatArray
    session: NDArray[Any]


def readings_of(check: ClaimCheck) -> Readings:
    """Return the window means of all sessions."""
    windows = table(check.pairs, check.window_s).windows(check.window_s)
    error = windows.device - windows.reference
    limit = np.maximum(check.claim.limit_w(windows.reference), 1e-9)
    with np.errstate(divide="ignore", invalid="ignore"):
        percent = np.where(windows.reference > 0, 100 * error / windows.reference, np.nan)
    claims = error / limit
    return Readings(windows.reference, windows.device, percent, claims, (np.abs(claims) <= 1).astype(float),
                    windows.start, windows.session)
