"""`Matched`: the two columns of a pair with one response, which mean, bands and causes are taken from."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.results.result import Result

MATCHED_KINDS = ("none", "running mean", "first order")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Matched(Result):
    """Two recordings of one effort with one response: the sharper trace is filtered as the smoother one is.

    Attributes
    ----------
    reference, device : (n,) array, W
        The columns; NaN where a second that the filter needs is missing or faulty.
    kind : {"none", "running mean", "first order"}
        The filter. With "none" the sharper trace is moved by the remaining lag alone, which may be a part of a second.
    smoother : {"", "device", "reference"}
        The trace that is smoother; the other one is filtered. "" if neither trace is changed.
    size_s, size_se_s : float
        Width of the running mean or time constant of the lag, s, and its standard error by chance; NaN without a
        filter.
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
