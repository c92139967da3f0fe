"""Ratio of two sums, with its influence: of all pairs alike, or each session's own."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.over_sessions import numbered


def ratio_of_sums(
    part: FloatArray, whole: FloatArray, session: NDArray[Any] | None = None
) -> tuple[float, FloatArray]:
    """Sum of `part` over sum of `whole`, with its influence (part - ratio whole)/mean(whole).

    With `session` labels the influences are about each session's own ratio R_k, (part - R_k whole)/mean_k(whole) +
    R_k - ratio, so that their mean over sessions turns the ratio into the mean of the sessions' ratios. Where a
    session's sum of `whole` is not positive it has no ratio of its own, and the influences are those of all pairs.
    """
    ratio = float(part.sum() / whole.sum())
    if session is not None:
        index, sizes = numbered(session)
        parts, wholes = (np.bincount(index, weights=column) for column in (part, whole))
        if (wholes > 0).all():
            own = (parts / wholes)[index]
            phi = own * whole  # in place from here on: of 1,000 sessions each column is 30 MB
            np.subtract(part, phi, out=phi)
            phi /= (wholes / sizes)[index]
            own -= ratio
            phi += own
            return ratio, phi
    return ratio, (part - ratio * whole) / whole.mean()
