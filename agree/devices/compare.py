"""`compare_devices`: each device's own error, and the factors that line them up, without a trusted one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from agree.core.checks import fraction
from agree.core.errors import SampleSizeError
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.devices.closure import Closure, closures
from agree.devices.line_up import LinedUp, line_up
from agree.devices.means import (
    Difference,
    differences_of,
    lasting_errors,
    one_apart,
    own_errors,
    ratio_to,
    unseen_errors,
    window_means,
)
from agree.devices.voices import voices

LEAST_WINDOWS = 20
WINDOW_S = 30           # the customary reading: differences in response and fractions of a second vanish in it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Device(Result):
    """One device among several.

    Attributes
    ----------
    name : str
    error_sd : Estimate or None
        SD of its own error of a window's mean, per cent of the power; None with two devices, where it cannot be told.
    factor : Estimate
        Multiplies the device to line it up with the first.
    factor_to_mean : Estimate
        Multiplies it to line it up with the mean of all.
    lag_s : float
        Its clock minus the first one's.
    response : str
        How it follows changes beside the first: "" alike, "slower" or "faster"; both are given one response before
        anything is compared.
    response_s : float
        Width of the running mean, or time constant of the lag, by which it does; NaN if alike.
    voice_of : str
        Name of an earlier device that it is one and the same as (another link, another factor set); "" if of none.
    stands_apart : bool
        It differs from every other by at least five times as much as these differ from one another, if they do.
    """

    name: str
    error_sd: Estimate | None
    factor: Estimate
    factor_to_mean: Estimate
    lag_s: float
    stands_apart: bool
    response: str = ""
    response_s: float = math.nan
    voice_of: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeviceComparison(Result):
    """Several devices on one effort, none of them trusted.

    Attributes
    ----------
    devices : tuple of Device
        In the order given.
    differences : tuple of Difference
        Of each two.
    seconds, windows : int
        Seconds that all devices recorded and none had a fault in; windows of 30 s made of them.
    notes : tuple of Note
        What such a comparison cannot tell, and an error that two devices share where four allow to see it.
    closures : tuple of Closure
        Of each three devices.
    """

    devices: tuple[Device, ...]
    differences: tuple[Difference, ...]
    seconds: int
    windows: int
    notes: tuple[Note, ...]
    closures: tuple[Closure, ...] = ()


def compare_devices(
    sources: Sequence[Any], *, max_lag_s: float | None = None, window_s: int = WINDOW_S, level: float = 0.95,
) -> DeviceComparison:
    """Compare two or more devices that recorded one effort, none of which is trusted.

    Parameters
    ----------
    sources : sequence of files, Recordings, frames or arrays
        The first is what the factors line the others up with; that does not make it right.
    max_lag_s : float, optional
        Largest difference of clocks to search, s.
    window_s : int, s
        Averaging time of a reading.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    DeviceComparison

    Raises
    ------
    InputError
        Fewer than 2 recordings, two that hold the same readings, or fewer than 20 windows that all of them have.
    MatchError
        A recording of another effort.

    See Also
    --------
    agree.split_errors : the split of errors alone, of arrays.

    Notes
    -----
    Errors are split by Grubbs (1948, JASA 43:243, from memory): the variance of each from those of the differences,
    which is right if no two share a source of error. With four devices that can be tested: without a shared error
    the differences of two pairs do not vary together. Lag and response are taken out of each pair first. A device that
    is another one recorded twice is no further witness: of three with two such, none is said to stand apart. Factors
    are ratios of sums, with the serial engine's intervals.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.devices.compare import compare_devices
    >>> rng, t = np.random.default_rng(4), np.arange(2400)
    >>> true = 220 + 90 * np.sin(t / 70) + np.convolve(rng.normal(0, 60, 2404), np.ones(5) / 5, "valid")
    >>> devices = [k * true + rng.normal(0, 3, 2400) for k in (1.0, 1.0, 0.95)]
    >>> found = compare_devices(devices)
    >>> [round(device.factor.value, 2) for device in found.devices], found.devices[2].stands_apart
    ([1.0, 1.0, 1.05], True)
    """
    fraction(level, "level")
    return compare_lined(line_up(sources, max_lag_s=max_lag_s), window_s=window_s, level=level)


def compare_lined(lined: LinedUp, *, window_s: int = WINDOW_S, level: float = 0.95) -> DeviceComparison:
    """Compare devices that are lined up already; see `compare_devices`."""
    means = window_means(lined, window_s)
    if means.shape[1] < LEAST_WINDOWS:
        raise SampleSizeError(f"at least {LEAST_WINDOWS} windows of {window_s} s that all {len(lined.names)} devices "
                              f"recorded are needed; got {means.shape[1]}: record a longer effort together")
    names, owner = lined.names, voices(lined)
    own = [k for k, first in enumerate(owner) if k == first]  # witnesses that do not repeat another one
    differences = differences_of(names, means, level)
    apart = one_apart([names[k] for k in own], differences)
    sds = dict(zip(own, own_errors([names[k] for k in own], means[own], level), strict=True))
    mean = means[own].mean(axis=0)
    devices = []
    for k, name in enumerate(names):
        response, size = _response(lined, k)
        devices.append(Device(
            name=name, error_sd=sds[owner[k]], factor=ratio_to(means[0], means[k], level),
            factor_to_mean=ratio_to(mean, means[k], level), lag_s=lined.lag_s(0, k), stands_apart=name == apart,
            response=response, response_s=size, voice_of="" if owner[k] == k else names[owner[k]]))
    triangles = closures(lined)
    return DeviceComparison(
        devices=tuple(devices), differences=differences, windows=means.shape[1], closures=triangles,
        seconds=int(np.isfinite(lined.readings).all(axis=0).sum()),
        notes=(*_voice_notes(devices), *_open_triangles(triangles), *lasting_errors(means[own]),
               *unseen_errors([names[k] for k in own], means[own], level)))


def _response(lined: LinedUp, k: int) -> tuple[str, float]:
    matched = lined.pairings[0, k].matched if k else None
    if matched is None or not matched.smoother or matched.kind == "none":
        return "", math.nan
    return ("slower" if matched.smoother == "device" else "faster"), matched.size_s


def _voice_notes(devices: Sequence[Device]) -> list[Note]:
    return [Note(kind="devices_one_voice", severity="answer", values={"first": item.voice_of, "second": item.name})
            for item in devices if item.voice_of]


def _open_triangles(triangles: Sequence[Closure]) -> list[Note]:
    return [Note(kind="devices_no_closure", severity="trust", values={
        "devices": ", ".join(item.devices), "percent": item.percent, "lag_s": item.lag_s})
        for item in triangles if not item.closes]


