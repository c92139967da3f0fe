"""Which correction to enter, and whether it can be trusted in the next session."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from agree._result import Result
from agree.errors import InputError
from agree.estimators.bands import ratio_of_sums
from agree.estimators.deming import deming
from agree.estimators.line import Line
from agree.interval import Estimate, estimate, t_quantile
from agree.pairs import Pairs
from agree.verdict.table import Table
from agree.verdict.table import table as join

# Smallest change in power worth a correction, per cent: about 0.3 x the competition variation of elite solo athletes
# (Hopkins 2000, Sports Med 30:1), common practice.
WORTHWHILE_PERCENT = 0.3
LEAST_RANGE = 1.5      # 95th over 5th percentile of window means, below which scale and offset look alike
# A cause is named if its interval at the first level misses the null; alone only if the other's does not even at
# the second.
NAMED_LEVEL, HINT_LEVEL = 0.95, 0.8
LEAST_SESSIONS = 3     # below, stability is not judged


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Correction(Result):
    """A correction of the device.

    Attributes
    ----------
    scale : Estimate
        Factor: corrected = device * scale; sum of reference over sum of device.
    kind : {"none", "scale", "offset", "scale and offset", "cannot tell"}
        What the line through the window means says is wrong.
    stable : bool or None
        Whether the scale can be expected to hold in the next session; None below 3 sessions: not known.
    because : str
        Ground for `kind` and `stable`.
    offset : Estimate or None
        Intercept of the line, W: what the device adds at every level. None where no line could be fitted.
    session_sd_percent : float
        Spread of the scale between sessions; NaN with one session.
    """

    scale: Estimate
    kind: str
    stable: bool | None
    because: str
    offset: Estimate | None
    session_sd_percent: float = math.nan


def fitted_line(table: Table, window_s: int, level: float) -> Line | None:
    """Deming's line through window means; None where the power does not vary or windows are too few."""
    windows = table.line_windows(window_s)
    try:
        return deming(windows.reference, windows.device, level=level, sampling=table.sampling,
                      session=windows.session)
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


def kind_of_error(line: Line | None, bias: Estimate, range_: float, mean_w: float) -> tuple[str, str]:
    """Scale, offset, both or none, from the line's intervals; the effects must be worth a correction."""
    small = WORTHWHILE_PERCENT
    if line is None or range_ < LEAST_RANGE:
        if -small <= bias.low and bias.high <= small:
            return "none", f"the mean error is below {small:g} %"
        return "cannot tell", (f"the power varies by a factor of {range_:.2g} only: scale and offset look alike; "
                               f"record from low to high power (a factor of {LEAST_RANGE:g} at least)")
    slope, intercept = line.slope, line.intercept
    facts = (f"slope {slope.value:.4f} [{slope.low:.4f}, {slope.high:.4f}], "
             f"intercept {intercept.value:.1f} [{intercept.low:.1f}, {intercept.high:.1f}] W")
    large = {"scale": abs(slope.value - 1) * 100 > small, "offset": abs(intercept.value) > small / 100 * mean_w}
    level = {"scale": _level_off(slope, 1), "offset": _level_off(intercept, 0)}
    first, second = sorted(large, key=lambda cause: (large[cause] * level[cause]), reverse=True)
    if large[first] and level[first] > NAMED_LEVEL:
        if large[second] and level[second] > NAMED_LEVEL:
            return "scale and offset", facts
        if large[second] and level[second] > HINT_LEVEL:
            return "cannot tell", f"{first}, perhaps {second} too: {facts}"
        return first, facts
    if bias.low > small or bias.high < -small:
        return "cannot tell", f"the mean is off, but scale and offset are not told apart: {facts}"
    return "none", facts


def find_correction(
    pairs_list: Pairs | Sequence[Pairs], *, level: float = 0.95, window_s: int = 30
) -> Correction:
    """Find the factor that brings the device to the reference, and judge it.

    Use it after the faulty seconds were set aside. It corrects towards the reference, whatever the reference's own
    error; it does not show that the reference is right.

    Parameters
    ----------
    pairs_list : Pairs or sequence of Pairs
        One for each session.
    level : float
        Confidence level, in (0, 1).
    window_s : int
        Length of the windows the line is fitted to, s.

    Returns
    -------
    Correction
        ``.scale`` with corrected = device * scale, ``.kind``, ``.stable``.

    Raises
    ------
    InputError, SampleSizeError
        Not Pairs, too few used seconds, or a device that sums to nothing.

    Notes
    -----
    A scale is called stable if, over at least 3 sessions, its spread between sessions is below half of |scale - 1|
    and the factor found on the other sessions lowers the mean absolute error of each session left out. That spread
    and these thresholds are common practice.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, find_correction
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> found = find_correction(Pairs(reference=watts, device=0.97 * watts))
    >>> f"{found.scale.value:.4f} {found.kind} {found.stable}"
    '1.0309 scale None'
    """
    return correction(join(pairs_list, window_s), level, window_s)


def correction(table: Table, level: float, window_s: int) -> Correction:
    """As `find_correction`, on a table."""
    if not table.device.sum() > 0:
        raise InputError(f"the device sums to {table.device.sum():g} W s over the used seconds; no factor can correct it")
    value, phi = ratio_of_sums(table.reference, table.device)
    scale = estimate(value, phi, level=level, sampling=table.sampling, session=table.labels())
    percent, phi = ratio_of_sums(table.error, table.reference)
    bias = estimate(percent, phi, level=level, sampling=table.sampling, session=table.labels()).scaled(100)
    line = fitted_line(table, window_s, level)
    kind, facts = kind_of_error(line, bias, power_range(table, window_s), float(table.reference.mean()))
    stable, ground, sd = _stability(table, scale.value)
    return Correction(scale=scale, kind=kind, stable=stable, because=f"{facts}; {ground}",
                      offset=None if line is None else line.intercept, session_sd_percent=sd)


def _stability(table: Table, scale: float) -> tuple[bool | None, str, float]:
    sums = np.array([[column[table.session == k].sum() for column in (table.reference, table.device)]
                     for k in range(table.sessions)])
    if table.sessions < 2 or (sums[:, 1] <= 0).any():
        return None, "one session cannot show whether it lasts", math.nan
    scales = sums[:, 0] / sums[:, 1]
    sd = float(scales.std(ddof=1))
    if table.sessions < LEAST_SESSIONS:
        return None, f"{LEAST_SESSIONS} sessions are needed to show whether it lasts", 100 * sd
    others = (sums[:, 0].sum() - sums[:, 0]) / (sums[:, 1].sum() - sums[:, 1])
    before, after = np.abs(1 / scales - 1).mean(), np.abs(others / scales - 1).mean()
    stable = bool(sd < abs(scale - 1) / 2 and after < before)
    return stable, (f"between sessions it varies by SD {100 * sd:.2g} %; on sessions left out it brings the mean error "
                    f"from {100 * before:.2g} to {100 * after:.2g} %"), 100 * sd
