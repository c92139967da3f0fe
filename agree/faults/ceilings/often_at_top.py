"""A ceiling beside a slow trace, which foretells no second: the sharp one is at its top far more often than near it."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import (
    CEILING_MOST_SHARE,
    CEILING_OFTEN,
    CEILING_OFTEN_RUN_S,
    CEILING_SHARP_W,
    CEILING_STUCK_S,
    CLAIM_ERRORS,
    SLOW_REACH_S,
    WORKING_W,
)
from agree.estimators.response.kernels import Kernel
from agree.faults.together import borne_out
from agree.faults.view import Mask, View, usual_error

BELOW_W = 10  # W below the top whose readings tell how many there are of each watt


def often_at_top(view: View) -> Mask:
    """Seconds of a sharp trace at its top, if it is there far more often than near it, and the slow one shows more.

    Notes
    -----
    Power passes a top in short pushes: a trainer that holds one power for minutes makes one value the most common one
    too, and a device that bends there would show more as well. What the slow trace has more is weighed over the whole
    ride at once (`borne_out`).
    """
    none = np.zeros(view.y.size, bool)
    if not isinstance(view.kernel, Kernel) or view.reach[1] - view.reach[0] < SLOW_REACH_S:
        return none
    y = np.where(view.known, np.nan_to_num(view.y), 0.0)
    top = float(y.max(initial=0.0))
    at = y >= top - CEILING_SHARP_W
    near = (y >= top - BELOW_W) & ~at
    count = int(at.sum())
    if top <= WORKING_W or count < max(CEILING_STUCK_S, CEILING_OFTEN * near.sum() / BELOW_W):
        return none
    if count > CEILING_OFTEN_RUN_S * len(runs(at)) or count > CEILING_MOST_SHARE * view.working.sum():
        return none
    rest = view.other - view.compared(np.where(np.isfinite(view.y), view.y, view.usual))
    rest = np.where(view.known, rest - usual_error(np.nan_to_num(rest), view.working), np.nan)
    (energy, error), = borne_out(rest, [(0, at.size)], at.astype(float), view.kernel)
    return at if energy >= max(CLAIM_ERRORS * error, CEILING_SHARP_W * count) else none


def above_top(rest: FloatArray, count: int) -> float:
    """Power that a trace should have read in the mean at its ceiling, W.

    Parameters
    ----------
    rest : (n,) array, W
        The trace without its seconds at the ceiling, NaN there.
    count : int
        How many these are.

    Notes
    -----
    Seconds of high power grow fewer and fewer. With an exponential distribution as many are beyond the top as there
    are within ln 2 of its mean below it.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.faults.ceilings.often_at_top import above_top
    >>> round(above_top(np.r_[np.full(50, 200.0), np.arange(280.0, 300.0)], 11), 1)
    313.4
    """
    known = np.sort(rest[np.isfinite(rest)])
    if not 0 < count < known.size:
        return float(known[-1]) if known.size else 0.0
    return float(known[-1] + (known[-1] - known[-count]) / np.log(2))
