"""A sharp trace answered by a slow filter although some of its seconds are faulty, or missing."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.runs import runs
from agree.core.thresholds import BRIDGED_S, BRIDGED_SHARE
from agree.estimators.response.kernels import Kernel, smoothed
from agree.faults.view import Mask


def answered_over(values: FloatArray, hidden: Mask, by: Kernel) -> FloatArray:
    """The trace as the slow one would show it; NaN where more than a fifth of it comes of seconds that are unknown.

    Without this, a filter that reaches over minutes would leave hardly a second known beside strewn faults.

    Parameters
    ----------
    values : (n,) array, W
        The trace, with what it should have read where that is known; NaN where unknown. Up to 15 s of these are
        filled by a straight line.
    hidden : (n,) array of bool
        Seconds whose readings are none of the device's own.
    by : Kernel
        The filter.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.estimators.response.kernels import Kernel
    >>> from agree.faults.behind_slow.bridge import answered_over
    >>> x = np.full(60, 200.0)
    >>> x[30:32] = np.nan
    >>> answered_over(x, np.isnan(x), Kernel(0, np.full(20, 0.05)))[[10, 40, 59]].round(3).tolist()
    [nan, 200.0, 200.0]
    """
    known = np.flatnonzero(np.isfinite(values))
    if not known.size:
        return np.full(values.size, np.nan)
    filled = values.copy()
    for start, stop in runs(~np.isfinite(values)):
        if stop - start <= BRIDGED_S and known[0] < start and stop <= known[-1]:
            filled[start:stop] = np.interp(np.arange(start, stop), known, values[known])
    unknown = np.isfinite(filled) & (hidden | ~np.isfinite(values))
    share = smoothed(unknown.astype(float), by)
    return np.where(np.nan_to_num(share, nan=1.0) <= BRIDGED_SHARE + 1e-9, smoothed(filled, by), np.nan)
