"""How late a device shows what the reference shows, how sure that is, and whose the delay is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from agree.core import thresholds
from agree.core.checks import FloatArray
from agree.core.errors import MatchError
from agree.core.results.result import Result
from agree.quantities.delays.lag_curve import correlations, nearest_peak
from agree.quantities.moving_sum import moving_sum
from agree.quantities.overlay import Overlay

Owner = Literal["device", "clock", "unknown"]
SLOW_S = 301           # changes slower than this tell no lag: they are taken out
WIDTHS_S = (1, 5, 10, 15, 20, 30, 45, 60)  # running means that the device may take
BLOCK_S = 120          # blocks left out in turn for the standard error
LEAST_BLOCKS = 4
SLOPE_S = 61           # running mean that the slope is taken of, so that steps of rounding do not count as slope


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Delay(Result):
    """Lag of the device behind the reference.

    Attributes
    ----------
    lag_s, se_s : float
        Device's stamp minus the reference's for one event, and its standard error, s; NaN if no lag can be told.
    correlation : float
        Of the changes at that lag.
    averaged_s : int
        Width of the running mean over the reference that the device is most like; 1 if none. Averaging over w seconds
        looks like a delay too.
    belongs_to : {"device", "clock", "unknown"}
        Whose it is: the device's where both clocks are absolute and the delay is certain, or as stated.
    stated : bool
        Whether the user has said so.
    """

    lag_s: float
    se_s: float
    correlation: float
    averaged_s: int
    belongs_to: Owner
    stated: bool = False


def running_mean(values: FloatArray, width: int) -> FloatArray:
    """Centred running mean of what there is; NaN where less than half of the seconds have a reading."""
    if width <= 1:
        return values
    held = np.isfinite(values)
    count = moving_sum(held, width)
    total = moving_sum(np.where(held, values, 0.0), width)
    result: FloatArray = np.where(count >= width / 2, total / np.maximum(count, 1), np.nan)
    return result


def changes(values: FloatArray) -> FloatArray:
    """Readings less their running mean over 5 min: what tells a lag."""
    result: FloatArray = values - running_mean(values, SLOW_S)
    return result


def _sums(x: FloatArray, y: FloatArray, lag: int) -> FloatArray:
    """Block sums (6, blocks) of n, x, y, xx, yy, xy with the device `lag` seconds later."""
    if lag >= 0:
        x, y = x[:x.size - lag or None], y[lag:]
    else:
        x, y = x[-lag:], y[:y.size + lag]
    both = np.isfinite(x) & np.isfinite(y)
    a, b = np.where(both, x, 0.0), np.where(both, y, 0.0)
    starts = np.arange(0, a.size, BLOCK_S)
    return np.stack([np.add.reduceat(term, starts) for term in (both.astype(float), a, b, a * a, b * b, a * b)])


def _correlation(sums: FloatArray) -> float:
    n, sx, sy, sxx, syy, sxy = sums
    if n < LEAST_BLOCKS:
        return -1.0
    vx, vy = sxx - sx * sx / n, syy - sy * sy / n
    return float((sxy - sx * sy / n) / math.sqrt(vx * vy)) if vx > 0 and vy > 0 else -1.0


def _best(x: FloatArray, y: FloatArray, *, everywhere: bool) -> tuple[float, float, float]:
    """Lag, standard error by blocks left out in turn, and correlation."""
    lags, whole = correlations(x, y, everywhere=everywhere)
    k = nearest_peak(lags, whole)
    near = range(max(k - 8, 0), min(k + 9, lags.size))
    sums = {j: _sums(x, y, int(lags[j])) for j in near}
    blocks = min(each.shape[1] for each in sums.values())
    found = []
    for left in range(-1, blocks if blocks >= LEAST_BLOCKS else 0):
        curve = np.array([_correlation(sums[j].sum(axis=1) - (sums[j][:, left] if left >= 0 else 0.0)) for j in near])
        found.append(float(lags[near.start]) + _vertex(curve))
    rest = np.array(found[1:])
    se = math.sqrt((rest.size - 1) / rest.size * float(np.square(rest - rest.mean()).sum())) if rest.size else math.inf
    return found[0], se, float(whole[k])


def _of_rounding(overlay: Overlay) -> float:
    """Standard uncertainty of a lag from the rounding of readings, s.

    The rounding of a smooth trace goes along with its slope, so that no number of seconds averages it out. In
    simulations the lag was off by up to 0.3 of the step over the slope (root mean square) where changes are of one
    step, and the less the more steps they span.
    """
    moves = changes(running_mean(overlay.reference, SLOPE_S))
    slope = np.diff(moves)
    slope, moves = slope[np.isfinite(slope)], moves[np.isfinite(moves)]
    step = math.hypot(*overlay.steps) / math.sqrt(2)
    usual = float(np.sqrt(np.mean(slope * slope))) if slope.size else 0.0
    if not step:
        return 0.0
    return thresholds.ROUNDING_LAG * step / usual * min(1.0, step / float(moves.std())) if usual else math.inf


def _vertex(curve: FloatArray) -> float:
    """Place of the top of a curve, between its points by a parabola."""
    k = int(np.argmax(curve))
    if not 0 < k < curve.size - 1:
        return float(k)
    left, top, right = curve[k - 1:k + 2]
    bend = left - 2 * top + right
    return k + (0.5 * float((left - right) / bend) if bend < 0 else 0.0)


def find_delay(overlay: Overlay, stated: Owner | None = None, lag_s: float | None = None) -> Delay:
    """Find the lag and say whose it is.

    Unless stated: the device's, if the quantity's delays are devices', both clocks are absolute, and the lag is
    certainly more than 2 s (|lag| - 1.96 standard errors > 2 s), by which recorders' clocks differ, and at most 60 s,
    by which no device is late. Else, and for clocks that are not absolute: unknown. For quantities whose delay is the
    clocks' (power, cadence, torque, balance): the clocks'. A lag that is given is the clocks' unless stated otherwise.
    """
    if lag_s is not None:
        return Delay(lag_s=float(lag_s), se_s=0.0, correlation=math.nan, averaged_s=1, belongs_to=stated or "clock",
                     stated=True)
    x, y = changes(overlay.reference), changes(overlay.device)
    lag, se, fit = _best(x, y, everywhere=not overlay.absolute)
    se = math.hypot(se, _of_rounding(overlay))
    width, best = 1, fit
    for w in WIDTHS_S[1:]:
        other = _best_fit(changes(running_mean(overlay.reference, w)), y, round(lag))
        if 1 - other < thresholds.AVERAGING_GAIN * (1 - best):
            width, best = w, other
    told = fit >= thresholds.LEAST_LAG_FIT and se <= thresholds.MOST_LAG_SE_S
    if stated is not None:
        owner: Owner = stated
        if stated == "clock" and not told:
            raise MatchError(f"{overlay.device_name}: changes are too unlike those of {overlay.reference_name} to tell "
                             "a lag that could be taken out; give it with `lag_s`, or leave `delay` out to compare as "
                             "the stamps have them", option="delay")
    elif overlay.quantity.delay_belongs_to == "clock":
        owner = "clock" if told else "unknown"
    elif overlay.absolute and told and abs(lag) - 1.96 * se > thresholds.DELAY_CERTAIN_S and (
            abs(lag) <= thresholds.CLOCK_ALONE_S):
        owner = "device"
    else:
        owner = "unknown"
    return Delay(lag_s=lag if told else math.nan, se_s=se if told else math.nan, correlation=fit,
                 averaged_s=width if told else 1, belongs_to=owner, stated=stated is not None)


def _best_fit(x: FloatArray, y: FloatArray, lag: int) -> float:
    return max(_correlation(_sums(x, y, k).sum(axis=1)) for k in range(lag - 15, lag + 16))


def taken_out(overlay: Overlay, lag_s: float) -> FloatArray:
    """Return the device's readings moved back by the lag, between seconds by a line; NaN at the ends."""
    if math.isnan(lag_s):
        return overlay.device
    seconds = np.arange(overlay.device.size)
    at = seconds + lag_s
    low = np.floor(at).astype(np.intp)
    part = at - low
    inside = (low >= 0) & (low + 1 < seconds.size)
    low = np.clip(low, 0, max(seconds.size - 2, 0))
    first, second = overlay.device[low], overlay.device[low + 1]
    moved = np.where(part < 1e-9, first, (1 - part) * first + part * second)
    result: FloatArray = np.where(inside, moved, np.nan)
    return result
