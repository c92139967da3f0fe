"""Recordings on 1-s grids, and one laid over the other."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.errors import InputError, SampleSizeError
from agree.core.thresholds import MIN_OVERLAP_S
from agree.pairing.clocks.fine import Fine
from agree.recordings.recording import Recording

LONGEST_S = 7 * 86400
MAX_GAP_S = 2.0  # nothing is interpolated between readings further apart than this,
GAP_JITTER_S = 0.2  # and what the stamps of a recorder with a reading every 2 s may stray
# Readings every second: the median step within STEP_S of 1 s, and nearly all stamps within PHASE_S of one phase.
STEP_S, PHASE_S, PHASE_SHARE = 0.05, 0.35, 0.95
EVEN, EVEN_SHARE = 0.25, 0.9  # even steps: so many are within this share of their median (of a second: round to it)
HALF = 0.5  # a second covered for less than this is missing
CHANNELS = ("power", "cadence", "speed", "temperature", "read")


class Grid(NamedTuple):
    """A recording on a 1-s grid: timestamp of place 0, channels, and what the reader must know of it.

    `read`, of a recording with a reading every 2 s: its readings of power alone, each in its second; NaN between them.
    """

    first: float
    power: FloatArray
    cadence: FloatArray | None = None
    speed: FloatArray | None = None
    temperature: FloatArray | None = None
    note: str = ""
    read: FloatArray | None = None

    def map(self, change: Callable[[FloatArray], FloatArray]) -> Grid:
        """Change every channel there is."""
        return self._replace(**_channels(self, change))


class Overlap(NamedTuple):
    """The device on the reference's grid: second of the reference, nearest second of the device, and the reading there.

    Readings are moved by whole seconds and never mixed with their neighbours.
    """

    place: NDArray[np.int64]
    nearest: NDArray[np.int64]
    device: FloatArray


def to_grid(recording: Recording, role: str) -> Grid:
    """Put a recording on a 1-s grid of means over time; a second covered for less than half is NaN.

    What a reading stands for depends on how the recorder took it:

    - one every second: the second around its stamp, however the stamps jitter; it is left as it is.
    - even steps, shorter than that: its own step, from halfway to the reading before to halfway to the next. So a
      recording at 4 Hz gives the means of its readings in fours.
    - uneven steps, or longer ones: a point of the power's course, which runs straight from one to the next if they
      are at most 2 s apart (2.2 s, as stamps stray) and is unknown between others.

    In the latter two a second's value is the integral over what is known of it, divided by that time: energy is
    kept. Readings with one stamp are averaged; a blank is no reading.

    Raises
    ------
    InputError
        Readings more than 2.2 s apart by the median, stamps that go back, or that span more than 7 days.
    SampleSizeError
        Fewer than 60 power readings.
    """
    who = f"the {role} ({recording.name})"
    time = recording.time
    valid = np.isfinite(recording.values)
    if valid.sum() < MIN_OVERLAP_S:
        raise SampleSizeError(f"{who} holds {valid.sum()} power readings; at least {MIN_OVERLAP_S} are needed")
    if (np.diff(time) < 0).any():
        raise InputError(f"{who} has stamps that go back; sort its readings by time")
    if time[-1] - time[0] > LONGEST_S:
        raise InputError(f"{who} spans {(time[-1] - time[0]) / 86400:.1f} days, at most {LONGEST_S // 86400} are "
                         "allowed; look for a wrong timestamp, or cut the recording")
    stamps = np.unique(time[valid])
    steps = np.diff(stamps)
    step = float(np.median(steps)) if steps.size else 0.0
    if step > MAX_GAP_S + GAP_JITTER_S:
        raise InputError(f"{who} has a reading every {step:.3g} s; one every second is needed, or every 2 s: set the "
                         "recorder to 1-s recording")
    phase = float(np.angle(np.exp(2j * np.pi * (stamps % 1)).mean())) / (2 * np.pi)
    stray = np.abs(stamps - phase - np.rint(stamps - phase))
    whole = bool((stray <= PHASE_S).mean() >= PHASE_SHARE)
    even = bool((np.abs(steps - step) <= EVEN * step).mean() >= EVEN_SHARE) if steps.size else False
    if whole and abs(step - 1) <= STEP_S and (np.rint(steps) == 1).mean() >= EVEN_SHARE:
        return _seconds(recording, phase - 0.5)
    if even and step <= 1 + STEP_S:
        return _integrated(recording, float(time[0]) - step / 2, step, f"a reading every {step:.3g} s: each second "
                           "is the mean of its readings over time")
    start = phase - 0.5 + math.floor(time[0] - phase + 0.5) if whole else float(time[0])
    made = _integrated(recording, start, 0.0, f"a reading every {step:.3g} s{'' if even else ' by the median'}: "
                       f"interpolated between neighbours at most {MAX_GAP_S:g} s apart, and averaged over each second")
    made = made._replace(read=_apart(recording, start, made.power.size)) if even else made
    return made if as_read(made) is made.power else made._replace(
        note=f"a reading every {step:.3g} s: compared with the other recording at the seconds at which one comes")


def _seconds(recording: Recording, start: float) -> Grid:
    """Readings every second, each left in its second: one that comes a little early is not put into that before."""
    place = np.floor(recording.time - start).astype(np.int64)
    offset = float(np.median(recording.time - place))
    first, size = int(place[0]), int(place[-1] - place[0]) + 1

    def binned(values: FloatArray) -> FloatArray:
        valid = np.isfinite(values)
        count = np.bincount(place[valid] - first, minlength=size)
        total = np.bincount(place[valid] - first, values[valid], minlength=size)
        means: FloatArray = np.where(count > 0, total / np.maximum(count, 1), np.nan)
        return means

    return Grid(first + offset, **_channels(recording, binned))


def _integrated(recording: Recording, start: float, step: float, note: str) -> Grid:
    """Means over seconds from `start`; `step` is that of even readings, 0 if the line between them counts."""
    size = max(math.ceil(recording.time[-1] - start + step / 2 - 1e-6), 1)
    return Grid(start + 0.5, note=note, **_channels(
        recording, lambda values: integrate(recording.time - start, values, size, step)[0]))


def _apart(recording: Recording, start: float, size: int) -> FloatArray:
    """Readings of power that are not every second, each in its second."""
    out = np.full(size, np.nan)
    valid = np.isfinite(recording.values)
    out[np.clip(np.floor(recording.time[valid] - start).astype(np.int64), 0, size - 1)] = recording.values[valid]
    return out


def as_read(grid: Grid) -> FloatArray:
    """Power with the last reading in each second, of a recording with a reading every n s; as it is of any other.

    A line between two readings is none of the device's: beside a stop, or a dropout, it draws power that never was.
    """
    at = np.flatnonzero(np.isfinite(grid.read)) if grid.read is not None else np.zeros(0, np.int64)
    step = round(float(np.median(np.diff(at)))) if at.size > 1 else 1
    if grid.read is None or step < 2 or (np.diff(at) == step).mean() < EVEN_SHARE:
        return grid.power
    second = np.arange(grid.power.size)
    after = np.searchsorted(at, second, side="right")
    last, following = at[np.maximum(after - 1, 0)], np.r_[at, at[-1] + step][after]
    # One that comes a second late leaves no hole; a longer pause does.
    covered = (after > 0) & ((second - last < step) | (following - last == step + 1))
    return np.where(covered, grid.read[last], np.nan)


def _channels(source: Recording | Grid, change: Callable[[FloatArray], FloatArray]) -> dict[str, Any]:
    """Each channel there is, changed."""
    return {name: change(values) for name in CHANNELS if (values := getattr(source, name, None)) is not None}


def integrate(time: FloatArray, values: FloatArray, size: int, step: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Mean over time, and time covered, of each of the seconds 0 to `size`.

    Parameters
    ----------
    time, values : (n,) array
        Readings in order of time; NaN is none.
    size : int
        Number of seconds.
    step : float
        Step of even readings, each of which stands for its own; 0: the course is straight between neighbours.

    Returns
    -------
    tuple of (size,) array
        Means, NaN where less than half a second is covered, and the seconds covered.
    """
    valid = np.isfinite(values)
    time, same = np.unique(time[valid], return_inverse=True)
    values = np.bincount(same, values[valid]) / np.bincount(same)
    if time.size < 2:
        return np.full(size, np.nan), np.zeros(size)
    if step:
        half = np.where(np.diff(time) <= 1.5 * step, np.diff(time), step) / 2
        left, right = time - np.r_[step / 2, half], time + np.r_[half, step / 2]
        before = after = values
    else:
        near = np.diff(time) <= MAX_GAP_S + GAP_JITTER_S
        left, right, before, after = time[:-1][near], time[1:][near], values[:-1][near], values[1:][near]
    if not left.size:
        return np.full(size, np.nan), np.zeros(size)
    cuts = np.unique(np.r_[left, right, np.arange(size + 1.0)])
    cuts = cuts[(cuts >= 0) & (cuts <= size)]
    middle, width = (cuts[1:] + cuts[:-1]) / 2, np.diff(cuts)
    piece = np.maximum(np.searchsorted(left, middle, side="right") - 1, 0)
    inside = (middle > left[piece]) & (middle < right[piece])
    piece, middle, width = piece[inside], middle[inside], width[inside]
    # The mean of a straight piece is its value in the middle.
    height = before[piece] + (after - before)[piece] * (middle - left[piece]) / (right - left)[piece]
    place = middle.astype(np.int64)
    covered: FloatArray = np.bincount(place, width, minlength=size).astype(float)
    total = np.bincount(place, width * height, minlength=size)
    means: FloatArray = np.where(covered >= HALF - 1e-5, total / np.maximum(covered, 1e-9), np.nan)
    return means, covered


def lay_over(x: FloatArray, y: FloatArray, fine: Fine) -> Overlap:
    """Give each second of the reference the device's reading of the nearest second.

    What is left of the lag, up to half a second, is part of the difference in response.
    """
    place = np.arange(x.size)
    spot = np.clip(place + fine.at(place.astype(float)), -2.0, y.size + 1.0)  # beyond the device all is one
    nearest = np.floor(spot + 0.5).astype(np.int64)  # rint would take the even one of two: x.5 would repeat readings
    both = (nearest >= 0) & (nearest < y.size)
    return Overlap(place[both], nearest[both], y[nearest[both]])
