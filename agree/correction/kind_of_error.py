"""Scale, offset, both or neither: what the line through the window means says is wrong."""

from __future__ import annotations

import math

import numpy as np
from scipy import special

from agree.core import checks
from agree.core.errors import InputError
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.thresholds import HALF_WEIGHT_S, KIND_ALONE_LEVEL, KIND_LEVEL, POWER_RANGE
from agree.correction.rules import WORTHWHILE_PERCENT
from agree.estimators.lines.deming import deming_line
from agree.estimators.lines.line import Line
from agree.verdict.columns import Table


def fitted_line(table: Table, window_s: int, level: float) -> Line | None:
    """Deming's line through window means; None where the power does not vary or windows are too few.

    Sessions weigh as they do in the mean error, so that the line has its mean.
    """
    windows = table.line_windows(window_s)
    try:
        # Without the warning of a narrow range of power: `kind_of_error` says so.
        x, y, labels = checks.columns(windows.reference, windows.device, sampling=table.sampling,
                                      session=windows.session)
        return deming_line(x, y, labels, level=level, sampling=table.sampling,
                           half_weight_n=HALF_WEIGHT_S / window_s)[0]
    except InputError:
        return None


def power_range(table: Table, window_s: int) -> float:
    """95th over 5th percentile of the reference's window means."""
    reference = table.line_windows(window_s).reference
    if reference.size == 0:
        return 1.0
    low, high = np.percentile(reference, (5, 95))
    return float(high / low) if low > 0 else math.inf


def _level_off(item: Estimate, null: float) -> float:
    """Level of the interval that just reaches `null`, from the half-width on that side; 1 is far off."""
    half = item.value - item.low if null < item.value else item.high - item.value
    distance = abs(item.value - null)
    if not half > 0:
        return float(distance > 0)
    return float(2 * special.stdtr(item.df, t_quantile(item.level, item.df) * distance / half) - 1)


def kind_of_error(line: Line | None, bias: Estimate, range_: float, mean_w: float) -> tuple[str, Note]:
    """Scale, offset, both or none, from the line's intervals; the effects must be worth a correction."""
    small = WORTHWHILE_PERCENT
    if line is None or range_ < POWER_RANGE:
        if -small <= bias.low and bias.high <= small:
            return "none", Note(kind="correction_small", values={"percent": small})
        return "cannot tell", Note(kind="correction_narrow", values={"range": range_, "least": POWER_RANGE})
    slope, intercept = line.slope, line.intercept
    facts: dict[str, float | int | str | bool] = {
        "slope": slope.value, "slope_low": slope.low, "slope_high": slope.high, "intercept": intercept.value,
        "intercept_low": intercept.low, "intercept_high": intercept.high}
    found = Note(kind="correction_line", values=facts)
    large = {"scale": abs(slope.value - 1) * 100 > small, "offset": abs(intercept.value) > small / 100 * mean_w}
    level = {"scale": _level_off(slope, 1), "offset": _level_off(intercept, 0)}
    first, second = sorted(large, key=lambda cause: (large[cause] * level[cause]), reverse=True)
    if large[first] and level[first] > KIND_LEVEL:
        if large[second] and level[second] > KIND_LEVEL:
            return "scale and offset", found
        if large[second] and level[second] > KIND_ALONE_LEVEL:
            return "cannot tell", Note(kind="correction_perhaps", values={**facts, "first": first, "second": second})
        return first, found
    if bias.low > small or bias.high < -small:
        return "cannot tell", Note(kind="correction_not_apart", values=facts)
    return "none", found
