"""What is likely wrong: each cause with its numbers, what speaks for it and what against, the largest first."""

from __future__ import annotations

import math

import numpy as np

from agree.core.checks import FloatArray
from agree.core.engine import estimate
from agree.core.estimate import Estimate
from agree.correction.find import Correction
from agree.diagnosis import evidence
from agree.diagnosis.by_second import Delay, Scatter, Second, Smoothing, delay, scatter, seconds, smoothing
from agree.diagnosis.causes import NAMED_STRENGTH, Fit, fit, level_off
from agree.diagnosis.evidence import Finding, interval
from agree.diagnosis.frame import WINDOW_S
from agree.verdict.columns import Table

__all__ = ["Finding", "findings"]

DELAY_S = 0.3            # least mean delay, and least SD of a delay, worth naming
SMOOTH_RATIO = 0.6       # variance of 1-s changes, the smoother over the other, below which a filter is named
SMOOTH_LEFT = 0.7        # a running mean must leave less than this of the mean square error
SMOOTH_SHARPNESS = 0.5   # beyond this the sharper trace is taken to be but noisier
SCATTER_PERCENT = 4.0    # least scatter within 15 s of a device that senses one side
SCATTER_EXPONENT = 0.5   # its growth with power must be above this: 0 for noise in W, 1 for a share of power
SCATTER_RATIO = 1.1      # least ratio of variances of 1-s changes, device over reference
WANDER_WINDOWS = range(10, 15)   # lags, in windows of 30 s, at which a wandering share still shows
LEAST_MEAN_W, MOST_MEAN_W = 1.0, 1e5   # of mean power: beyond, it is no rider's and nothing is looked for
SIDE_STRENGTH = 0.9      # at most: a noisy device that wanders looks alike


def findings(table: Table, correction: Correction) -> tuple[Finding, ...]:
    """Name the causes that the data speak for, ordered by size times strength; what cannot be told is said.

    What a scale or an offset may come from (crank length, loss) stands after them.

    Parameters
    ----------
    table : Table
        Used seconds of all sessions.
    correction : Correction
        Its `scale`, `kind` and `session_sd_percent` are used.
    """
    if not LEAST_MEAN_W < table.reference.mean() < MOST_MEAN_W:
        return tuple(_faults(table))
    made = fit(table)
    found: list[Finding] = []
    hints: list[Finding] = []
    if made is not None:
        found += [*evidence.parts(made, correction), *evidence.sessions_differ(made)]
        hints = [*evidence.crank_lengths(made), *evidence.loss(made)]
    if not found:
        found += evidence.unclear(correction, made)
    grid = seconds(table, correction.scale.value)
    late = delay(grid)
    smooth = smoothing(grid, late.mean.value if late else 0.0)
    rough = scatter(grid)
    found += [*_delay(late, grid), *_smoothing(smooth, grid), *_faults(table)]
    found.sort(key=lambda item: -item.percent * item.strength)
    side = _one_side(made, rough, smooth)
    # One side would explain scale, offset and drift at once: it stands before them once it is likely.
    ahead = bool(side) and not side[0].rivals
    return tuple([*side, *found, *hints] if ahead else [*found, *hints, *side])


def _in_windows(part: FloatArray, data: Second) -> float:
    """RMS of the window means of an error on the grid of seconds, in per cent of mean power."""
    size = part.size - part.size % WINDOW_S
    good = np.isfinite(part[:size]).reshape(-1, WINDOW_S)
    total = np.where(good, part[:size].reshape(-1, WINDOW_S), 0).sum(axis=1)
    count = good.sum(axis=1)
    means = total[count >= WINDOW_S / 2] / count[count >= WINDOW_S / 2]
    if not means.size:
        return 0.0
    return 100 * math.sqrt(float(np.mean(means**2))) / float(np.nanmean(data.reference))


def _delay(late: Delay | None, data: Second) -> list[Finding]:
    if late is None:
        return []
    found = []
    mean, strength = late.mean, level_off(late.mean)
    if abs(mean.value) >= DELAY_S and strength >= NAMED_STRENGTH:
        side = "behind" if mean.value > 0 else "ahead of"
        found.append(Finding(
            cause="delay", strength=strength, percent=_in_windows(mean.value * late.slope, data),
            key=f"{interval(mean, 2)} s", evidence=f"the device is {side} the reference: {interval(mean, 2)} s, an "
            f"RMS error of {_rms(mean.value * late.slope):.1f} W from second to second",
            against="the mean over a ride is hardly touched; clocks are as much a cause as the device"))
    sd = math.sqrt(max(late.variance.value, 0))
    strength = level_off(late.variance) if late.variance.value > 0 else 0.0
    if sd >= DELAY_S and strength >= NAMED_STRENGTH:
        low = math.sqrt(max(late.variance.low, 0))
        found.append(Finding(
            cause="delay that varies", strength=strength, percent=_in_windows(sd * late.slope, data),
            key=f"SD {sd:.2f} s", evidence=f"over blocks of 2 min the delay varies by SD {sd:.2f} "
            f"[{low:.2f}, {math.sqrt(max(late.variance.high, 0)):.2f}] s, with a trend of {late.trend:+.2f} s per hour",
            against="a trend is a drift of clocks, not of the device" if abs(late.trend) > 3 * DELAY_S else
            "pauses of a recorder that are not in its time stamps look alike"))
    return found


def _rms(values: FloatArray) -> float:
    return math.sqrt(float(np.nanmean(values**2)))


def _smoothing(smooth: Smoothing | None, data: Second) -> list[Finding]:
    if smooth is None:
        return []
    ratio = smooth.log_ratio
    names = ("device", "reference") if ratio.value < 0 else ("reference", "device")
    if (abs(ratio.value) < -math.log(SMOOTH_RATIO) or level_off(ratio) < NAMED_STRENGTH or smooth.left > SMOOTH_LEFT
            or not abs(smooth.sharpness) < SMOOTH_SHARPNESS):
        return []
    share = math.exp(-abs(ratio.value))
    return [Finding(
        cause=f"the {names[0]} smooths more", strength=level_off(ratio), percent=_in_windows(smooth.part, data),
        key=f"about a {smooth.width}-s mean", evidence=f"its 1-s changes have {100 * share:.0f} % of the other's "
        f"variance; a {smooth.width}-s mean of the {names[1]} leaves {100 * smooth.left:.0f} % of the square error",
        against=f"noise in the {names[1]} would look alike in the variance; sharpness {smooth.sharpness:+.2f} (0 for a "
        "filter) speaks against it. Means of 30 s and more hardly change")]


def _faults(table: Table) -> list[Finding]:
    found = []
    total = sum(float(np.nansum(item.reference)) for item in table.pairs)
    share = float(table.error.sum() / table.reference.sum())
    for name, cause in (("late_start", "wakes late"), ("early_end", "ends early"), ("saturation", "saturates"),
                        ("dropout", "dropouts"), ("partial", "partial readings"), ("held", "held values"),
                        ("spike", "spikes")):
        for role in ("device", "reference"):
            reason = f"{role}_{name}"
            count = sum(item.counts()[reason] for item in table.pairs)
            events = sum(event.reason == reason for item in table.pairs for event in item.events())
            if not count:
                continue
            effect = sum(float(np.nansum((item.device - (1 + share) * item.reference)[item.reason == reason]))
                         for item in table.pairs) / total * 100
            found.append(Finding(
                cause=f"{role} {cause}", percent=abs(effect), key=f"{count} s",
                evidence=f"{count} s in {events} {'event' if events == 1 else 'events'}; left in, they would change "
                f"the mean error by {effect:+.2f} %", against="set aside: no other figure rests on them"))
    return found


def _wander(made: Fit) -> Estimate | None:
    """Covariance of the error in per cent, 5 to 7 minutes apart."""
    data = made.frame
    share = 100 * data.error / data.power
    share = share - (np.bincount(data.session, share) / np.bincount(data.session))[data.session]
    products = np.zeros(share.size)
    for lag in WANDER_WINDOWS:
        if lag < share.size:
            products[lag:] += share[lag:] * share[:-lag] * (data.session[lag:] == data.session[:-lag])
    products /= len(WANDER_WINDOWS)
    return estimate(float(products.mean()), products, level=0.95, sampling="serial") if share.size > 40 else None


def _one_side(made: Fit | None, rough: Scatter | None, smooth: Smoothing | None) -> list[Finding]:
    """Scatter in proportion to power, larger than the reference's, and a share that wanders over minutes."""
    if made is None or rough is None or smooth is None:
        return []
    exponent, ratio = rough.exponent, smooth.log_ratio
    if (rough.percent < SCATTER_PERCENT or exponent.low < SCATTER_EXPONENT or ratio.value < math.log(SCATTER_RATIO)
            or ratio.low < 0):
        return []
    wander = _wander(made)
    sure = level_off(wander) if wander is not None and wander.value > 0 else 0.0
    sd = math.sqrt(wander.value) if wander is not None and wander.value > 0 else 0.0
    data = made.frame
    others = bool({item.name for item in made.parts} - {"scale"})
    apart = sure >= SIDE_STRENGTH or others
    return [Finding(
        cause="one side doubled" if apart else "one side doubled or noise", key=f"scatter {rough.percent:.0f} %",
        strength=SIDE_STRENGTH * (max(sure, 0.5) if apart else 0.5),
        rivals=() if apart else ("noise in proportion to power",),
        percent=100 * math.sqrt(float(np.mean(data.error**2))) / float(data.power.mean()),
        evidence=f"the error scatters by {rough.percent:.1f} % of power within 15 s, and the scatter goes as power to "
        f"the {interval(exponent, 2)} (0 for noise in W); over minutes it wanders by SD {sd:.1f} % (level {sure:.2f})",
        against="cannot tell for certain: noise in proportion to power looks alike in the seconds, a drift in the "
        "minutes; a recorded balance of left and right would tell")]
