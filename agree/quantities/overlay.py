"""Two recordings of one quantity on seconds of one clock, as recorded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError, MatchError
from agree.core.quantities.mixups import mixup, mixup_text
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.results.words import clock_of

LONGEST_S = 7 * 86_400
LEAST_COMMON_S = 60
LARGEST = 1e50     # of a reading: fourth powers of larger ones have no place in a double
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
    steps : tuple of float
        Steps that the readings of reference and device are rounded to; about 0 where they are not.
    device_span : tuple of int, optional
        First second in which the device recorded, with or without a reading, and the second after the last; that of
        its readings if not given.
    notes : tuple of Note
        How the clocks were brought together.
    device_raw : (n,) array, optional
        The device's readings before those that are not plausible were taken out; `device` if not given.
    """

    reference: FloatArray
    device: FloatArray
    shadow: FloatArray | None
    quantity: Quantity
    absolute: bool
    reference_name: str = "reference"
    device_name: str = "device"
    session: str = "1"
    steps: tuple[float, float] = (0.0, 0.0)
    device_span: tuple[int, int] | None = None
    notes: tuple[Note, ...] = ()
    device_raw: FloatArray | None = None

    @property
    def device_seconds(self) -> tuple[int, int]:
        """First second in which the device recorded, and the second after the last."""
        if self.device_span is not None:
            return self.device_span
        held = np.flatnonzero(np.isfinite(self.device))
        return (int(held[0]), int(held[-1]) + 1) if held.size else (0, 0)


def step_of(values: FloatArray) -> float:
    """Step that readings are rounded to: the usual least distance of two that differ; 0 if all are equal."""
    apart = np.diff(np.unique(values[np.isfinite(values)]))
    apart = apart[apart > 1e-9 * max(float(np.abs(values[np.isfinite(values)]).max()), 1e-300)] if apart.size else apart
    return float(np.quantile(apart, 0.1)) if apart.size else 0.0


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


def _refuse_mixup(x: FloatArray, y: FloatArray, quantity: Quantity, names: tuple[str, str]) -> None:
    """Refuse recordings whose levels differ as two units do; quantiles, since they may not be lined up yet."""
    held = [values[np.isfinite(values) & (values != 0)] for values in (x, y)]
    if all(values.size for values in held):
        one, two = (np.quantile(values, np.linspace(0.1, 0.9, 17)) for values in held)
        found = mixup(one, two, quantity.computed_in)
        if found is not None:
            raise InputError(mixup_text(found, names))


def _begins(gap: float, names: tuple[str, str]) -> str:
    """Return how long after the reference the device begins, to be added to a message; "" within a second."""
    if abs(gap) < 1:
        return ""
    return (f" As stamped, {names[1]} begins {clock_of(abs(gap))} {'after' if gap > 0 else 'before'} {names[0]} does; "
            "if one clock was wrong, correct its column of time (one that is wrong by whole quarters of an hour, as of "
            "another zone, is put right where the readings are alike so, and these are not).")


def lay_over(
    reference: tuple[FloatArray, FloatArray], device: tuple[FloatArray, FloatArray], quantity: Quantity, *,
    absolute: bool, shadow: tuple[FloatArray, FloatArray] | None = None,
    names: tuple[str, str] = ("reference", "device"), session: str = "1",
    notes: tuple[Note, ...] = (),
) -> Overlay:
    """Put (time, readings) of both on seconds of one clock.

    Clocks count from one moment: absolute ones by their dates, others from when both recorders were started.

    Raises
    ------
    MatchError
        Fewer than 60 s in common.
    InputError
        A span beyond a week.
    """
    times = [np.asarray(pair[0], float) for pair in (reference, device)]
    start, end = (float(f([f(time) for time in times])) for f in (min, max))
    start = float(np.floor(start))
    size = int(np.floor(end - start)) + 1
    if size > LONGEST_S:
        raise InputError(f"{names[0]} and {names[1]} span {size / 86_400:.0f} days; expected one session of at most 7: "
                         "are they of one day?")
    raw = [_by_second(time, np.asarray(pair[1], float), start, size)
           for time, pair in zip(times, (reference, device), strict=True)]
    for values, name in zip(raw, names, strict=True):
        large = np.abs(values[np.isfinite(values) & (values != 0)])
        far = large[(large > LARGEST) | (large < 1 / LARGEST)]
        if far.size:
            raise InputError(f"{name}: found a reading of {far[0]:g}; expected 0, or a size from {1 / LARGEST:g} to "
                             f"{LARGEST:g}; write it in another unit")
    _refuse_mixup(raw[0], raw[1], quantity, names)
    x, y = (plausible(values, quantity) for values in raw)
    for values, before, name in ((x, raw[0], names[0]), (y, raw[1], names[1])):
        if not np.isfinite(values).any() and np.isfinite(before).any():
            raise InputError(
                f"{name}: found {int(np.isfinite(before).sum())} s of readings from {np.nanmin(before):g} to "
                f"{np.nanmax(before):g}, none of them a {quantity.label}; expected some between {quantity.low:g} and "
                f"{quantity.high:g} {quantity.unit}: is the column right, and was the sensor connected?")
    common = int((np.isfinite(x) & np.isfinite(y)).sum())
    if common < LEAST_COMMON_S:
        raise MatchError(f"{names[0]} and {names[1]} have {common} s in common; expected at least {LEAST_COMMON_S}: "
                         "are they of one session, and on one clock?"
                         + _begins(float(times[1][0] - times[0][0]), names))
    other: FloatArray | None = None
    if shadow is not None:
        other = _by_second(np.asarray(shadow[0], float), np.asarray(shadow[1], float), start, size)
    first, last = (int(np.floor(times[1][k] - start)) for k in (0, -1))
    return Overlay(reference=x, device=y, shadow=other, quantity=quantity, absolute=absolute, reference_name=names[0],
                   device_name=names[1], session=session, device_span=(first, last + 1), notes=notes,
                   device_raw=raw[1],
                   steps=(step_of(np.asarray(reference[1], float)), step_of(np.asarray(device[1], float))))
