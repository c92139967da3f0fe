"""Slow faults of the error: lasting steps, and a warm-up that settles."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import LEAN_STEPS, LEAN_T, STEP_APART_GAIN, STEP_PLACE_GAIN, STEP_T, WARM_APART_GAIN
from agree.faults.slow.coefficient import Beside, coefficient
from agree.faults.slow.lasting_steps import alike, gains, size_of, with_steps
from agree.faults.slow.steady_ride import Mask, Ride, Shape, pieces, steady_ride
from agree.faults.slow.warm_up import SETTLED, best_course, end_of, with_warm_up

STEPS = ("auto_zero_step", "step")


class Slow(NamedTuple):
    """A slow fault: kind, the seconds it touches (first, one past last), its figures, and the words for it."""

    kind: str
    start: int
    stop: int
    detail: dict[str, float]
    words: str


class Found(NamedTuple):
    """A step: first second of pedalling after it, its moment and the range of moments, kind, and figures."""

    place: int
    moment: int
    kind: str
    detail: dict[str, float]


class Search(NamedTuple):
    """What one shape of step finds in some pieces: steps, the pieces with a step, the first piece, squares left."""

    steps: list[Found]
    stepped: list[int]
    first: Ride
    left: float
    seconds: int

    def cost(self) -> float:
        """Misfit, each 10 s counted as one, with what every step must be worth."""
        return self.seconds / 10 * math.log(max(self.left, 1e-300)) + STEP_T**2 * len(self.steps)


def find_slow(
    reference: FloatArray, device: FloatArray, time: FloatArray, used: Mask, cadence: FloatArray | None,
    kinds: Collection[str],
) -> list[Slow]:
    """Find lasting steps of the error and a warm-up.

    Parameters
    ----------
    reference, device, time, cadence : (n,) array, W, s and rev/min
        As in `Pairs`; the cadence may be None.
    used : (n,) array of bool
        Seconds without faults.
    kinds : collection of str
        Some of "auto_zero_step" (at the end of a coasting), "step" (anywhere else) and "warm_up_drift".

    Returns
    -------
    list of Slow
        Steps in order of time, then the warm-up.
    """
    ride = steady_ride(reference, device, time, used, cadence) if kinds else None
    if ride is None:
        return []
    wanted = np.where(ride.rested, "auto_zero_step" in kinds, "step" in kinds)
    ride = replace(ride, tried=ride.tried[wanted], moments=ride.moments[wanted], rested=ride.rested[wanted])
    made = _search(ride, time, kinds)
    if made.stepped:  # of the shapes the one that fits best with few steps; the other pieces have no part in it
        alone = _search(ride, time, kinds, made.stepped)
        shapes: list[Shape] = ["%"] if ride.turning is None else ["N m", "%"]
        tried = [alone, *(_search(replace(ride, shape=shape), time, kinds, made.stepped) for shape in shapes)]
        best = min((one for one in tried if one.steps), key=Search.cost, default=made)
        made = best if 0 in made.stepped else best._replace(first=made.first)
    return [*_steps(ride, made.steps, reference, time), *_warm(made.first, time)]


def _search(ride: Ride, time: FloatArray, kinds: Collection[str], only: Collection[int] | None = None) -> Search:
    """Look for steps in each piece of the ride, or in some, and for a warm-up in the first."""
    found: list[Found] = []
    stepped: list[int] = []
    first, left, length = ride, 0.0, 0
    for number, piece in enumerate(pieces(ride)):
        if only is not None and number not in only:
            continue
        made = _search_piece(piece.ride, kinds if number == 0 else set(kinds) - {"warm_up_drift"})
        first = made if number == 0 else first
        own = [place for place in made.steps if piece.start + place in piece.own]
        if own:
            stepped.append(number)
        found += [_figures(made, place, piece.start, time) for place in own]
        if only is not None:
            left += _left(made)
            length += made.error.size
    return Search(found, stepped, first, left, length)


def _search_piece(ride: Ride, kinds: Collection[str]) -> Ride:
    """Find steps and a warm-up, first as if nothing else changed slowly, which finds smaller steps.

    That stands if one step or two explain all slow change there is, neither a drift nor a slow wave being left, and
    nothing smooth fits as well in their place. Nor does one step stay, found beside slow change, that something smooth
    replaces: a drift from window means then has the step as its rival.
    """
    lean = _alternate(replace(ride, lean=True), kinds)
    made = lean if explains_all(lean) and told_apart(lean) else _alternate(ride, kinds)
    if made.warm is not None and not made.steps:  # an early step is like a warm-up
        alone = with_steps(replace(made, warm=None, warm_size=None))
        if len(alone.steps) == 1 and _better(alone, made, STEP_PLACE_GAIN):
            return alone
    if made is not lean and made.warm is None and len(made.steps) == 1 and not told_apart(replace(made, lean=True)):
        made = replace(made, steps=())
    return warm_up_alone(made)


def _better(one: Ride, other: Ride, gain: float) -> bool:
    """Whether what was found in one leaves less than in the other, by so much of chi-squared."""
    return _left(one) <= math.exp(-gain / one.error.size) * _left(other)


def _left(ride: Ride) -> float:
    """Sum of squares that what was found leaves."""
    basis, _ = np.linalg.qr(ride.base(waves=True).T)
    return float(np.sum((ride.error - basis @ (basis.T @ ride.error)) ** 2))


def explains_all(lean: Ride) -> bool:
    """Whether one step or two, looked for alone, leave no other slow change."""
    if not 0 < len(lean.steps) <= LEAN_STEPS:
        return False
    beside = Beside(lean.base(waves=True), lean.error)
    return all(beside.coefficient(row).t < LEAN_T for row in lean.other_changes())


def told_apart(lean: Ride) -> bool:
    """Whether each step fits clearly better than any one drift, straight or slowing, and than the best warm-up.

    With t of the step beside the other one and u of the other beside the step, both fits together explain as much more
    than either: the step is ahead by t^2 - u^2 of chi-squared.
    """
    for place in lean.steps:
        rest = replace(lean, steps=tuple(other for other in lean.steps if other != place))
        warm = best_course(rest) if lean.warm is None else None
        base, row = rest.base(waves=True), lean.step_row(place)
        for other in [*rest.drifts(), *([] if warm is None else [warm.shape])]:
            t, u = (coefficient(one, np.vstack([base, beside]), lean.error).t
                    for one, beside in ((row, other), (other, row)))
            if t**2 - u**2 < STEP_APART_GAIN:
                return False
    return True


def warm_up_alone(ride: Ride) -> Ride:
    """Take a warm-up back that a drift which slows over the whole of the ride, or one step, explains about as well.

    Neither is named then by itself: window means, in which courses of all kinds are weighed, tell what it may be.
    """
    if ride.warm is None:
        return ride
    alone, shape = replace(ride, warm=None, warm_size=None), ride.warm.shape
    lean = replace(alone, lean=True)
    found = gains(lean) if lean.tried.size else np.zeros(1)
    rivals = [(alone.base(waves=False), other) for other in alone.drifts()[2:]]
    if found.max() > 0:
        rivals.append((lean.base(waves=True), lean.step_row(int(lean.tried[found.argmax()]))))
    for base, other in rivals:
        t, u = (coefficient(one, np.vstack([base, beside]), ride.error).t
                for one, beside in ((shape, other), (other, shape)))
        if t**2 - u**2 < WARM_APART_GAIN:
            return alone
    return ride


def _alternate(ride: Ride, kinds: Collection[str]) -> Ride:
    if "warm_up_drift" not in kinds:
        return with_steps(ride)
    # Each is looked for with the other beside it: a step at 10 min is like a warm-up, until both are tried.
    for _ in range(3):
        before = (ride.steps, ride.warm and ride.warm.end)
        ride = with_steps(with_warm_up(ride))
        if before == (ride.steps, ride.warm and ride.warm.end):
            break
    return ride


def _figures(ride: Ride, place: int, start: int, time: FloatArray) -> Found:
    """Put a step in figures; it may have been at any moment that fits about as well."""
    alone = replace(ride, steps=tuple(other for other in ride.steps if other != place))
    size, watts = size_of(alone, place), float(ride.unit().mean())
    at = int(np.searchsorted(ride.tried, place))
    near = ride.moments[alike(alone, size, gains(alone))]
    detail = {"at_s": float(time[ride.moments[at]]), "earliest_s": float(time[near[0]]),
              "latest_s": float(time[near[-1]]), "step_W": size.value * watts, "se_W": size.se * watts}
    if ride.shape == "N m":
        detail |= {"step_Nm": size.value, "se_Nm": size.se}
    if ride.shape == "%":
        # The shape is power of both devices: a step of g of the reference is g/(1 + g/2) of their mean.
        share, mean = size.value / float(ride.power.mean()), float(ride.power.mean())
        detail |= {"step_percent": 100 * share / (1 - share / 2),
                   "se_percent": 100 * size.se / mean / (1 - share / 2) ** 2}
    return Found(start + place, int(ride.moments[at]), STEPS[not ride.rested[at]], detail)


def _steps(ride: Ride, steps: list[Found], reference: FloatArray, time: FloatArray) -> list[Slow]:
    """Of its two sides a step touches the one further from the longest level."""
    bounds = [0, *(step.place for step in steps), ride.place.size]
    moments = [0, *(step.moment for step in steps), time.size]
    main = int(np.diff(bounds).argmax())
    sums = np.stack([reference[ride.place], ride.error])
    levels = [sums[:, low:high].sum(axis=1) for low, high in pairwise(bounds)]
    bias = [100 * float(error / max(power, 1e-300)) for power, error in levels]
    found = []
    for k, step in enumerate(steps, 1):
        detail = step.detail | {"bias_before_percent": bias[k - 1], "bias_after_percent": bias[k]}
        side = k - 1 if k <= main else k
        where = ("at the end of the coasting at {:.1f} min, as when a device sets its zero"
                 if step.kind == "auto_zero_step" else "at {:.1f} min, without a rest")
        found.append(Slow(step.kind, moments[side], moments[side + 1], detail, (
            f"a step of the error of {detail['step_W']:+.1f} W (standard error {detail['se_W']:.1f}) "
            f"{where.format(detail['at_s'] / 60)}")))
    return found


def _warm(ride: Ride, time: FloatArray) -> list[Slow]:
    if ride.warm is None or ride.warm_size is None:
        return []
    warm, size = ride.warm, ride.warm_size
    end, mean = end_of(ride, warm, size), float(ride.power.mean())
    begins = float(time[ride.place[0]])
    settled = begins + end.value
    detail = {"size_W": size.value, "se_W": size.se, "size_percent": 100 * size.value / mean,
              "se_percent": 100 * size.se / mean, "begins_s": begins, "settled_s": settled, "se_settled_s": end.se,
              "of_power": float(warm.of_power), "straight": float(warm.straight)}
    if not warm.straight:
        detail["time_constant_s"] = end.value / SETTLED
    return [Slow("warm_up_drift", 0, int(np.searchsorted(time, settled, side="right")), detail, (
        f"a warm-up: the error begins {size.value:+.1f} W (standard error {size.se:.1f}), or "
        f"{detail['size_percent']:+.1f} %, off and settles within {settled / 60:.0f} min"))]
