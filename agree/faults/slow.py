"""Slow faults of the error: a lasting step at the end of a coasting, and a warm-up that settles."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.runs import runs
from agree.faults.coefficient import Size, coefficient
from agree.faults.waking import Mask

BESIDE_S = 4              # s beside a coasting in which filters of a few seconds smear
LEAST_S = 600             # s of pedalling below which nothing slow is looked for
SMOOTH_S = 61             # s of pedalling over which slow power is averaged
WAVE_S = 1200             # slow cosines down to this period stand for any other change, while a step is looked for
COAST_S = 3               # s of both at 0, or of a gap, after which a step may come
LASTING_S = 120           # s of pedalling on either side of a step
STEP_T, STEP_LEAST_W = 5.0, 1.0  # standard errors, and W, that a step must have
MOST_STEPS = 12
SETTLE_S = (360.0, 480.0, 600.0, 750.0, 900.0, 1200.0, 1500.0, 1800.0)  # ends of a warm-up that are tried
SETTLED = 3.0             # time constants after which 5 % are left: the end, where it dies away
WARM_T, WARM_SHARE = 5.0, 0.01  # standard errors, and share of mean power, that a warm-up must have
KNOWN_SHARE = 0.8         # of the seconds that must have a cadence for torque to be used
PLACE_GAIN, COURSE_GAIN = 3.84, 7.81  # chi-squared by which another place, or course of a warm-up, may fit worse
TURN = 2 * math.pi / 60   # rad/s per rev/min


class Slow(NamedTuple):
    """A slow fault: kind, the seconds it touches (first, one past last), its figures, and the words for it."""

    kind: str
    start: int
    stop: int
    detail: dict[str, float]
    words: str


class Warm(NamedTuple):
    """Course of a warm-up, 1 at its start; its change with the end; the end, s; whether of power; whether straight."""

    shape: FloatArray
    slope: FloatArray
    end: float
    of_power: bool
    straight: bool


@dataclass(frozen=True, slots=True)
class Ride:
    """Seconds of steady pedalling, (n,) each, and what was found in them so far."""

    place: NDArray[np.intp]     # in the pairs
    seconds: FloatArray         # since the first of them
    error: FloatArray
    power: FloatArray           # slow part of the mean of both
    power_rows: FloatArray      # all that the error may owe to power
    unit: FloatArray            # shape of a step: rad/s where the cadence is known, else 1
    coasts: NDArray[np.intp]    # first second of pedalling after each coasting
    moments: NDArray[np.intp]   # the end of that coasting, in the pairs
    steps: tuple[int, ...] = field(default=())
    warm: Warm | None = None
    warm_size: Size | None = None   # in W at mean power; with what courses differ that fit about as well


def _ride(x: FloatArray, y: FloatArray, time: FloatArray, used: Mask, cadence: FloatArray | None) -> Ride | None:
    pedals = used & (x > 0) & (y > 0)
    place = np.flatnonzero(ndimage.binary_erosion(pedals, np.ones(2 * BESIDE_S + 1), border_value=1))
    if place.size < LEAST_S:
        return None
    both = (x + y) / 2
    error, power, change = (y - x)[place], both[place], np.gradient(both)[place]
    slow = ndimage.uniform_filter1d(power, SMOOTH_S, mode="nearest")
    part = slow / float(slow.mean()) - 1
    seconds = time[place] - time[place[0]]
    # Scale by fast and slow power, a bend, a delay; and a drift, in W or of what is read of power.
    rows = np.stack([np.ones(place.size), part, power - slow, part**2, change, seconds, seconds * slow])
    unit = np.ones(place.size)
    if cadence is not None:
        known = np.isfinite(cadence[place]) & (cadence[place] > 0)
        if known.mean() > KNOWN_SHARE:
            unit = TURN * np.where(known, cadence[place], np.median(cadence[place][known]))
    rest = np.isnan(x) | np.isnan(y) | ((x == 0) & (y == 0))
    ends = np.array([stop for start, stop in runs(rest) if stop - start >= COAST_S], dtype=np.intp)
    ends = np.union1d(ends, 1 + np.flatnonzero(np.diff(time) > COAST_S))
    coasts = np.searchsorted(place, ends)
    inside = (coasts >= LASTING_S) & (coasts <= place.size - LASTING_S)
    coasts, first = np.unique(coasts[inside], return_index=True)
    return Ride(place, seconds, error, slow, rows / np.abs(rows).max(axis=1, keepdims=True).clip(1e-300), unit, coasts,
                ends[inside][first])


def _base(ride: Ride, *, waves: bool) -> FloatArray:
    """Rows that explain the error besides what is looked for."""
    n = ride.error.size
    rows = [ride.power_rows]
    if waves:
        phase = np.pi * (np.arange(n) + 0.5) / n
        rows.append(np.stack([np.cos(j * phase) for j in range(1, math.ceil(2 * n / WAVE_S) + 1)]))
    if ride.warm is not None:
        rows.append(ride.warm.shape[None])
    return np.vstack([*rows, *(_step_row(ride, place)[None] for place in ride.steps)])


def _step_row(ride: Ride, place: int) -> FloatArray:
    row: FloatArray = np.where(np.arange(ride.error.size) >= place, ride.unit, 0.0)
    return row


def _gains(ride: Ride) -> FloatArray:
    """Reduction of the sum of squares by a step at each end of coasting; 0 too near to another step."""
    basis, _ = np.linalg.qr(_base(ride, waves=True).T)
    rest = ride.error - basis @ (basis.T @ ride.error)

    def after(values: FloatArray) -> FloatArray:
        total: FloatArray = np.cumsum(values[..., ::-1], axis=-1)[..., ::-1][..., ride.coasts]
        return total

    whole = after(ride.unit**2)
    square = whole - (after(ride.unit * basis.T) ** 2).sum(axis=0)
    gains = np.where(square > 1e-6 * whole, after(ride.unit * rest) ** 2 / np.maximum(square, 1e-300), 0.0)
    for place in ride.steps:
        gains[np.abs(ride.coasts - place) < LASTING_S] = 0.0
    return gains


def _with_steps(ride: Ride) -> Ride:
    """Add the best step until one is not certain; then move each to where it fits best, and drop what is not needed."""
    ride = replace(ride, steps=())
    while ride.coasts.size and len(ride.steps) < MOST_STEPS:
        gains = _gains(ride)
        best = int(ride.coasts[gains.argmax()])
        if gains.max() <= 0 or not _certain(ride, best):
            break
        ride = replace(ride, steps=tuple(sorted([*ride.steps, best])))
    for place in ride.steps:
        rest = replace(ride, steps=tuple(other for other in ride.steps if other != place))
        best = int(ride.coasts[_gains(rest).argmax()])
        ride = replace(rest, steps=tuple(sorted([*rest.steps, best]))) if _certain(rest, best) else rest
    return ride


def _certain(ride: Ride, place: int) -> bool:
    size = coefficient(_step_row(ride, place), _base(ride, waves=True), ride.error)
    return size.t >= STEP_T and abs(size.value) * float(ride.unit.mean()) >= STEP_LEAST_W


def _courses(ride: Ride) -> Iterator[Warm]:
    """Warm-ups that are over in half of the ride: straight or dying away, in W or in proportion to power."""
    t = ride.seconds
    for end in (end for end in SETTLE_S if 2 * end <= t[-1]):
        decay = np.exp(-SETTLED * t / end)
        for straight, shape, slope in ((False, decay, decay * SETTLED * t / end**2),
                                       (True, np.maximum(1 - t / end, 0.0), np.where(t < end, t / end**2, 0.0))):
            for power in (None, ride.power / float(ride.power.mean())):
                times = 1.0 if power is None else power
                yield Warm(shape * times, slope * times, end, power is not None, straight)


def _with_warm(ride: Ride) -> Ride:
    """Find the best of the warm-ups that are over in half of the ride, if it is certain."""
    ride = replace(ride, warm=None)
    base = _base(ride, waves=False)
    basis, _ = np.linalg.qr(base.T)
    rest = ride.error - basis @ (basis.T @ ride.error)
    tried = []
    for warm in _courses(ride):
        free = warm.shape - basis @ (basis.T @ warm.shape)
        square, value = float(free @ free), float(free @ rest)
        tried.append((value**2 / square, value / square, warm))
    if not tried:
        return ride
    best, _, found = max(tried, key=lambda item: item[0])
    size = coefficient(found.shape, base, ride.error)
    if size.t < WARM_T or abs(size.value) < WARM_SHARE * float(ride.power.mean()):
        return ride
    like = [value for gain, value, _ in tried if gain >= best * (1 - COURSE_GAIN / size.t**2)]
    return replace(ride, warm=found, warm_size=Size(size.value, math.hypot(size.se, np.ptp(like) / 2)))


def find_slow(
    reference: FloatArray, device: FloatArray, time: FloatArray, used: Mask, cadence: FloatArray | None,
    kinds: Collection[str],
) -> list[Slow]:
    """Find lasting steps of the error at ends of coasting, and a warm-up.

    Parameters
    ----------
    reference, device, time, cadence : (n,) array, W, s and rev/min
        As in `Pairs`; the cadence may be None.
    used : (n,) array of bool
        Seconds without faults.
    kinds : collection of str
        "auto_zero_step", "warm_up_drift" or both.

    Returns
    -------
    list of Slow
        Steps in order of time, then the warm-up.
    """
    ride = _ride(reference, device, time, used, cadence) if kinds else None
    if ride is None:
        return []
    made = _search(ride, kinds)
    if made.steps and np.ptp(ride.unit) > 0:  # in W, if so fewer steps do, or as many that fit better
        watts = _search(replace(ride, unit=np.ones(ride.error.size)), kinds)
        made = min((one for one in (made, watts) if one.steps), key=lambda one: (len(one.steps), _left(one)))
    sums = np.stack([reference[ride.place], ride.error])
    return [*_steps(made, sums, time), *_warm(made, time)]


def _left(ride: Ride) -> float:
    """Sum of squares that steps and warm-up leave."""
    basis, _ = np.linalg.qr(_base(ride, waves=True).T)
    rest = ride.error - basis @ (basis.T @ ride.error)
    return float(rest @ rest)


def _search(ride: Ride, kinds: Collection[str]) -> Ride:
    """Find steps and a warm-up."""
    # Each is looked for with the other beside it: a step at 10 min is like a warm-up, until both are tried.
    for _ in range(3):
        before = (ride.steps, ride.warm and ride.warm.end)
        if "warm_up_drift" in kinds:
            ride = _with_warm(ride)
        if "auto_zero_step" in kinds:
            ride = _with_steps(ride)
        if before == (ride.steps, ride.warm and ride.warm.end):
            break
    return ride


def _steps(ride: Ride, sums: FloatArray, time: FloatArray) -> list[Slow]:
    """Put each step in figures; of its two sides it touches the one further from the longest level."""
    bounds = [0, *ride.steps, ride.place.size]
    moments = [0, *(int(ride.moments[np.searchsorted(ride.coasts, place)]) for place in ride.steps), time.size]
    main = int(np.diff(bounds).argmax())
    levels = [sums[:, low:high].sum(axis=1) for low, high in pairwise(bounds)]
    bias = [100 * float(error / max(power, 1e-300)) for power, error in levels]
    found = []
    for k, place in enumerate(ride.steps, 1):
        alone = replace(ride, steps=tuple(other for other in ride.steps if other != place))
        size = coefficient(_step_row(ride, place), _base(alone, waves=True), ride.error)
        gains = _gains(alone)
        near = ride.moments[gains >= gains.max() * (1 - PLACE_GAIN / max(size.t, 2.0) ** 2)]
        watts = float(ride.unit.mean())
        detail = {"at_s": float(time[moments[k]]), "earliest_s": float(time[near[0]]),
                  "latest_s": float(time[near[-1]]), "step_W": size.value * watts, "se_W": size.se * watts,
                  "bias_before_percent": bias[k - 1], "bias_after_percent": bias[k]}
        if np.ptp(ride.unit) > 0:
            detail |= {"step_Nm": size.value, "se_Nm": size.se}
        side = k - 1 if k <= main else k
        found.append(Slow("auto_zero_step", moments[side], moments[side + 1], detail, (
            f"a step of the error of {detail['step_W']:+.1f} W (standard error {detail['se_W']:.1f}) at the end of the "
            f"coasting at {detail['at_s'] / 60:.1f} min, as when a device sets its zero")))
    return found


def _warm(ride: Ride, time: FloatArray) -> list[Slow]:
    if ride.warm is None or ride.warm_size is None:
        return []
    warm, size = ride.warm, ride.warm_size
    turn = coefficient(warm.slope, np.vstack([_base(replace(ride, warm=None), waves=False), warm.shape]), ride.error)
    # The end by one step of Gauss and Newton from the nearest tried.
    end = warm.end + min(max(turn.value / size.value, -warm.end / 4), warm.end / 4)
    mean = float(ride.power.mean())
    settled = float(time[ride.place[0]]) + end
    detail = {"size_W": size.value, "se_W": size.se, "size_percent": 100 * size.value / mean,
              "se_percent": 100 * size.se / mean, "settled_s": settled,
              "se_settled_s": turn.se / abs(size.value), "of_power": float(warm.of_power),
              "straight": float(warm.straight)}
    if not warm.straight:
        detail["time_constant_s"] = end / SETTLED
    return [Slow("warm_up_drift", 0, int(np.searchsorted(time, settled, side="right")), detail, (
        f"a warm-up: the error begins {size.value:+.1f} W (standard error {size.se:.1f}), or "
        f"{detail['size_percent']:+.1f} %, off and settles within {settled / 60:.0f} min"))]
