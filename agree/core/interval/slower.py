"""How much wider an interval of one recording were errors slower than the recording lasts."""

from __future__ import annotations

import math

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.engine import COSINES, LEAST_VARIED, cosine_transform
from agree.core.interval.slow_errors import COEFFICIENTS, slow_variance


def times_wider(phi: FloatArray, fixed: FloatArray) -> float:
    """Half-width with errors of up to twice the recording's length among those tried, over that of `spread`.

    An interval of one recording weighs in errors correlated over up to half of it (`slow_variance`). Slower ones are
    rare, and to allow for them in every interval makes it half as wide again. In a short recording they are not rare:
    errors over 300 s are half of ten minutes. So the wider one is asked before "holds" is said there, and not shown.

    Parameters
    ----------
    phi : (n,) array
        Influence of each second on the mean error, in order of time.
    fixed : (n,) array
        The power ridden, held as it is.

    Returns
    -------
    float
        1 or more; 1 where nothing varies or seconds are too few.
    """
    if phi.size <= COEFFICIENTS:
        return 1.0
    varies = float(np.ptp(fixed)) > LEAST_VARIED * float(np.abs(fixed).max())
    rows = np.stack([phi, fixed]) if varies else phi[None]
    size = np.abs(rows).max(axis=1, keepdims=True)
    if not size.all():
        return 1.0
    rows = rows / size
    parts = cosine_transform(rows - rows.mean(axis=1, keepdims=True), COEFFICIENTS)
    held = parts[1] if varies else None
    now, slower = (slow_variance(parts[0], COSINES, held, slower=slower) for slower in (False, True))
    return max(math.sqrt(slower / now), 1.0) if now > 0 else 1.0
