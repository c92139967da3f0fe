"""Whether an error that seems to bend with power is no mere echo of changes that the two answer in unlike times."""

from __future__ import annotations

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import HINT_STRENGTH, LARGEST_BEND, NAMED_STRENGTH
from agree.diagnosis.windows.frame import Frame
from agree.diagnosis.windows.least_squares import level_off, regress
from agree.diagnosis.windows.long_windows import in_long_windows


def shows(data: Frame, base: FloatArray, column: FloatArray, error: FloatArray, floor: float) -> bool:
    """Whether the bend has a credible size and shows in long windows too.

    Parameters
    ----------
    data : Frame
        Windows of 30 s.
    base : (k, n) array, W
        What else goes with power: scale and offsets.
    column : (n,) array, W
        The bend.
    error : (n,) array, W
        Error of each window.
    floor : float
        Scatter of window means that is rounding, W.

    Notes
    -----
    After each change of power a trace that is slower than the filter between the two says carries error from one window
    of 30 s into the next, most of it at the highest and lowest power. In means over 4 minutes that cancels; an error
    that bends stays, with the same sign. Where no filter fits, or none was told, it must be as certain there as any
    cause; where one does, it must only not vanish, and is believed if the ride is too short to ask.
    """
    size = regress(np.vstack([base, column]), error, floor)[-1]
    if abs(size.value) > LARGEST_BEND:
        return False
    sizes = in_long_windows(np.vstack([base, column]), error, data, floor)
    if sizes is None:
        return data.answered
    long = sizes[-1]
    least = HINT_STRENGTH if data.answered else NAMED_STRENGTH
    return long.value * size.value > 0 and level_off(long) >= least
