"""Errors of a pace in its own unit: judged as speed, a difference of pace is another one at every level."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from agree.core.interval.estimate import Estimate
from agree.core.quantities.units import convert, unit_of
from agree.core.results.result import Result
from agree.estimators.limits.agreement import LimitsOfAgreement

SECONDS_OF = {"min/km": "s/km", "min/mi": "s/mi"}  # differences of a pace are told in seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class PaceLimits(Result):
    """Limits of agreement of a pace at one level.

    Attributes
    ----------
    at : float
        The level in the unit of the pace: that of the reference's mean speed.
    unit, difference_unit : str
        Of the level, such as "min/km", and of the limits, such as "s/km".
    lower, upper : Estimate
        Device - reference at that level; below 0 the device shows the faster pace.
    """

    at: float
    unit: str
    difference_unit: str
    lower: Estimate
    upper: Estimate


def limits_as_pace(limits: LimitsOfAgreement, speed: float, unit: str) -> PaceLimits | None:
    """Return limits of speed as those of pace at a speed; None where one of them leaves no speed.

    An error e of the speed v is one of 1/(v + e) - 1/v of the pace (common practice: the level is that of the mean
    speed).

    Parameters
    ----------
    limits : LimitsOfAgreement
        Of speeds, m/s.
    speed : float
        Mean speed of the reference, m/s.
    unit : str
        Of the pace, such as "min/km".

    Examples
    --------
    >>> from agree import limits_of_agreement
    >>> from agree.quantities.pace import limits_as_pace
    >>> limits = limits_of_agreement([3.0, 3.1, 3.2, 3.3], [3.1, 3.2, 3.3, 3.4])
    >>> found = limits_as_pace(limits, 3.2, "min/km")
    >>> round(found.at, 2), round(found.lower.value, 1), found.difference_unit
    (5.21, -9.5, 's/km')
    """
    at = float(convert(speed, "m/s", unit))
    own, times = (SECONDS_OF[unit], 60.0) if unit in SECONDS_OF else (unit, 1.0)

    def changed(error: float) -> float:
        if not math.isfinite(error):  # no limit of speed, none of pace
            return -error
        return times * (float(convert(speed + error, "m/s", unit)) - at)

    def turned(item: Estimate) -> Estimate:
        se = item.standard_error * abs(changed(item.value + 1e-6) - changed(item.value)) / 1e-6
        return replace(item, value=changed(item.value), low=changed(item.high), high=changed(item.low),
                       standard_error=se)

    if not unit_of(unit).inverse or not speed + min(limits.lower.low, limits.lower.value) > 0:
        return None
    return PaceLimits(at=at, unit=unit, difference_unit=own, lower=turned(limits.upper), upper=turned(limits.lower))
