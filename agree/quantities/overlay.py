"""Two recordings of one quantity on seconds of one clock, as recorded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError, MatchError
from agree.core.quantity import Quantity
from agree.core.results.result import Result

LONGEST_S = 7 * 86_400
LEAST_COMMON_S = 60
MOST_GAP_S = 10.0  # readings further apart than this leave the seconds between them empty


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Overlay(Result):
    """Reference and device second by second, from the first to the last second that either has.

    Attributes
    ----------
    reference, device : (n,) array
        Readings in `quantity.computed_in`; NaN where there is none.
    shadow : (n,) array or None
        The channel that the device may show in place of the quantity, by whichever recorder has it.
    quantity : Quantity
        What is measured.
    absolute : bool
        Both clocks are absolute, so that a lag is no accident of when recorders were started.
    reference_name, device_name : str
        What they are called.
    session : str
        Label of the session.
    """

    reference: FloatArray
    device: FloatArray
    shadow: FloatArray | None
    quantity: Quantity
    absolute: bool
    reference_name: str = "reference"
    device_name: str = "device"
    session: str = "1"


def _by_second(time: FloatArray, values: FloatArray, start: float, size: int) -> FloatArray:
    """Mean of the readings of each second; slow recorders and events are taken to change evenly between readings."""
    held = np.isfinite(values)
    time, values = time[held], values[held]
    result = np.full(size, np.nan)
    if not values.size:
        return result
    step = float(np.median(np.diff(time))) if time.size > 1 else 1.0
    if step <= 1.5:
        place = np.floor(time - start).astype(np.intp)
        inside = (place >= 0) & (place < size)
        count = np.bincount(place[inside], minlength=size)
        total = np.bincount(place[inside], weights=values[inside], minlength=size)
        filled = count > 0
        result[filled] = total[filled] / count[filled]
        return result
    middle = start + np.arange(size) + 0.5
    after = np.searchsorted(time, middle)
    near = (after > 0) & (after < time.size)
    gap = np.full(size, np.inf)
    gap[near] = time[after[near]] - time[after[near] - 1]
    whole = near & (gap <= max(MOST_GAP_S, 2.5 * step))
    result[whole] = np.interp(middle[whole], time, values)
    return result


def plausible(values: FloatArray, quantity: Quantity) -> FloatArray:
    """Readings without those that are none: 0 where it means missing, and what no body or machine does."""
    low, high = (quantity.in_unit(quantity.computed_in).plausible if quantity.scale == "reciprocal"
                 else quantity.plausible)
    wrong = (values < low) | (values > high)
    if quantity.zero_means == "missing":
        wrong |= values == 0
    elif quantity.zero_means in ("rest", "reading"):
        wrong &= values != 0
    return np.where(wrong, np.nan, values)


def lay_over(
    reference: tuple[FloatArray, FloatArray], device: tuple[FloatArray, FloatArray], quantity: Quantity, *,
    absolute: bool, shadow: tuple[FloatArray, FloatArray] | None = None,
    names: tuple[str, str] = ("reference", "device"), session: str = "1",
) -> Overlay:
    """Put (time, readings) of both on seconds of one clock.

    Clocks that are not absolute are taken to start together.

    Raises
    ------
    MatchError
        Fewer than 60 s in common.
    InputError
        A span beyond a week.
    """
    times = [np.asarray(pair[0], float) for pair in (reference, device)]
    if not absolute:
        times = [time - time[0] for time in times]
    start, end = (float(f([f(time) for time in times])) for f in (min, max))
    start = float(np.floor(start))
    size = int(np.floor(end - start)) + 1
    if size > LONGEST_S:
        raise InputError(f"{names[0]} and {names[1]} span {size / 86_400:.0f} days; expected one session of at most 7: "
                         "are they of one day?")
    x, y = (plausible(_by_second(time, np.asarray(pair[1], float), start, size), quantity)
            for time, pair in zip(times, (reference, device), strict=True))
    common = int((np.isfinite(x) & np.isfinite(y)).sum())
    if common < LEAST_COMMON_S:
        raise MatchError(f"{names[0]} and {names[1]} have {common} s in common; expected at least {LEAST_COMMON_S}: "
                         "are they of one session, and on one clock?")
    other: FloatArray | None = None
    if shadow is not None:
        own = np.asarray(shadow[0], float)
        other = _by_second(own if absolute else own - own[0], np.asarray(shadow[1], float), start, size)
    return Overlay(reference=x, device=y, shadow=other, quantity=quantity, absolute=absolute, reference_name=names[0],
                   device_name=names[1], session=session)
