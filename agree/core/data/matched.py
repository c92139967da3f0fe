"""`Matched`: the two columns of a pair with one response, which mean, bands and causes are taken from."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.results.result import Result

MATCHED_KINDS = ("none", "running mean", "first order", "two lags", "mean and lag", "uneven")
# What JSON tells of it.
MATCHED_TOLD = ("kind", "smoother", "size_s", "size_se_s", "delay_s", "mean_delay_s", "misfit", "fits", "second_s",
                "second_se_s", "down_s", "down_se_s", "held_s", "energy", "reference_every_s", "device_every_s")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Matched(Result):
    """Two recordings of one effort with one response: the sharper trace is filtered as the smoother one is.

    Attributes
    ----------
    reference, device : (n,) array, W
        The columns; NaN where a second that the filter needs is missing or faulty.
    kind : {"none", "running mean", "first order", "two lags", "mean and lag", "uneven"}
        The filter. With "none" the sharper trace is moved by the remaining lag alone, which may be a part of a second.
        "two lags" and "mean and lag" are two stages in a row. "uneven" is a first-order lag with one time constant to
        more power and another one to less.
    smoother : {"", "device", "reference"}
        The trace that is smoother; the other one is filtered. "" if neither trace is changed.
    size_s, size_se_s : float
        Width of the running mean or time constant of the lag, s, and its standard error by chance; NaN without a
        filter. Of two lags the longer one's; of an uneven lag that to more power.
    size_low_s, size_high_s : float
        Its 95 % limits, s, which also allow for readings between whole seconds and for a drift of the clocks.
    delay_s : float
        Device behind reference, s: beside a first-order lag, or of the middle of a running mean.
    mean_delay_s : float
        Delay of the device's energy behind that of the reference, s: `delay_s` and the filter's own.
    misfit : float
        What the filter leaves, over what chance leaves: near 1 if the filter describes the difference. NaN if no filter
        was looked for.
    fits : bool
        The filter describes the difference in response; False if no kind of filter does.
    second_s, second_se_s, second_low_s, second_high_s : float
        The shorter one of two lags, or the lag after a mean, s, its standard error and 95 % limits; else NaN.
    down_s, down_se_s, down_low_s, down_high_s : float
        Time constant of an uneven lag to less power, s, its standard error and 95 % limits; else NaN.
    held_s : int
        Seconds for which the smoother trace goes on with its last reading after pedalling ends; 0 if it does not.
    reference_every_s, device_every_s : int
        Seconds from one reading to the next of a trace that repeats it in between; 1 of one that does not.
    energy : float
        What the response itself makes of the energy of the sharper trace over the whole ride, as a factor: a linear
        filter keeps it (1), but a device that holds its reading adds to it, and one that is slower upwards loses some.
        A trace that repeats its readings keeps it: which seconds it reads is chance, and is not in the mean.
        The filtered column is divided by it, so that this error of the device stays in the mean, and does not hang on
        the seconds that are used.
    energy_course : (n,) array or None
        The factor second by second: that of the ten minutes around, times a constant that makes the mean over the used
        seconds what `energy` says.

    Examples
    --------
    >>> from agree.core.data.matched import Matched
    >>> Matched(reference=[100.0, 150.0], device=[101.0, 149.0]).kind
    'none'
    """

    reference: FloatArray
    device: FloatArray
    kind: str = "none"
    smoother: str = ""
    size_s: float = math.nan
    size_se_s: float = math.nan
    size_low_s: float = math.nan
    size_high_s: float = math.nan
    delay_s: float = 0.0
    mean_delay_s: float = 0.0
    misfit: float = math.nan
    fits: bool = True
    second_s: float = math.nan
    second_se_s: float = math.nan
    second_low_s: float = math.nan
    second_high_s: float = math.nan
    down_s: float = math.nan
    down_se_s: float = math.nan
    down_low_s: float = math.nan
    down_high_s: float = math.nan
    held_s: int = 0
    reference_every_s: int = 1
    device_every_s: int = 1
    energy: float = 1.0
    energy_course: FloatArray | None = None

    def __post_init__(self) -> None:
        x, y = checks.vector(self.reference, "reference"), checks.vector(self.device, "device")
        if x.shape != y.shape:
            raise InputError(f"`reference` and `device` must have equal lengths; got {x.size} and {y.size}",
                             option="reference")
        if np.isinf(x).any() or np.isinf(y).any():
            raise InputError("`reference` and `device` must hold finite readings, or NaN where unknown; got infinite "
                             "ones", option="reference")
        checks.choice(self.kind, "kind", MATCHED_KINDS)
        checks.choice(self.smoother, "smoother", ("", "device", "reference"))
        object.__setattr__(self, "reference", x)
        object.__setattr__(self, "device", y)
        Result.__post_init__(self)

    @property
    def delay_alone(self) -> bool:
        """All that was matched is a part of a second, by which readings of one trace lie between those of the other."""
        return bool(self.smoother) and self.kind == "none" and not self.held_s and (
            self.reference_every_s == self.device_every_s == 1)

    @property
    def answered(self) -> tuple[FloatArray, FloatArray]:
        """Both columns as the filter makes them, W: a device whose response alone is wrong reads the same."""
        course = self.energy_course
        if course is None:
            return self.reference, self.device
        return (self.reference * (1.0 if self.smoother == "reference" else course),
                self.device * (course if self.smoother == "reference" else 1.0))
