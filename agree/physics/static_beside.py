"""A static check beside rides: whether hung masses and a reference find the same error, and what if not."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.thresholds import TRAIL_MARGIN_OF_CLAIM, TRAIL_USUAL_MARGIN
from agree.physics.static_check import StaticCheck

Agreement = Literal["agree", "differ", "not settled"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BesideRides(Result):
    """What masses and rides say of one device.

    Attributes
    ----------
    static_percent : Estimate
        100 (scale - 1) under hung masses.
    rides_percent : Estimate
        Mean error against the reference on rides, with the reference's uncertainty as it was stated.
    difference_percent : Estimate
        Rides minus masses, points.
    margin_percent : float
        Half the claim: what counts as agreement.
    answer : {"agree", "differ", "not settled"}
    state : str
        The device's state in the rides, if they had states.
    """

    static_percent: Estimate
    rides_percent: Estimate
    difference_percent: Estimate
    margin_percent: float
    answer: Agreement
    state: str = ""


def beside_rides(check: StaticCheck, rides: Mapping[str, Any]) -> BesideRides:
    """Compare a static check with a check of rides.

    Parameters
    ----------
    check : StaticCheck
        Under hung masses.
    rides : mapping
        `to_dict()` of a `ClaimCheck` of the same device in the same state.

    Returns
    -------
    BesideRides

    Raises
    ------
    InputError
        A mapping that is no check of rides, or a check in W.

    Notes
    -----
    Half-widths are added in squares: that of the masses knows nothing of the reference, that of the rides nothing of
    the masses. The scale is compared, not the mean torque error, since a zero is set before a ride. Agreement within
    the margin says that static scale and riding error have one origin. A difference is the reference's error or
    something that masses cannot show: a filter or cadence, temperature, a zero that moves, a loss between the two.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, check_claim
    >>> from agree.physics.static_beside import beside_rides
    >>> from agree.physics.static_check import static_check
    >>> from agree.physics.torque import HungMass
    >>> masses = static_check([0, 5, 10, 15, 20], [0.0, 8.21, 16.4, 24.61, 32.82], hang=HungMass(crank_length_mm=172.5))
    >>> watts = 200 + 80 * np.sin(np.arange(3600) / 90)
    >>> beside_rides(masses, check_claim(Pairs(reference=watts, device=0.97 * watts), "1.5 %").to_dict()).answer
    'agree'
    """
    try:
        reading = next(item for item in rides["readings"] if item["meaning"] == "average")
        found, percent, state = reading["estimate"], rides["claim"]["percent"], rides.get("state") or ""
        unit = str(reading["unit"])
        low, high = (math.inf * sign if found[name] is None else float(found[name])
                     for name, sign in (("low", -1), ("high", 1)))
        item = Estimate(value=float(found["value"]), low=low, high=high, level=float(found["level"]),
                        method=str(found["method"]))
    except (KeyError, TypeError, ValueError, StopIteration):
        raise InputError("`rides` must be the to_dict() of a check of rides, with the reading 'average'; write it with "
                         "agree check ... --json FILE", option="rides") from None
    if unit != "%":
        raise InputError("the rides were checked against a claim in W; check them against one in per cent",
                         option="rides")
    if abs(item.level - check.scale.level) > 1e-9:
        raise InputError(f"`rides` has intervals of {100 * item.level:g} %, the static check of "
                         f"{100 * check.scale.level:g} %; give both one level", option="rides")
    own = check.scale
    static = Estimate(value=100 * (own.value - 1), low=100 * (own.low - 1), high=100 * (own.high - 1), level=own.level,
                      method=own.method)
    half = math.hypot((item.high - item.low) / 2, (static.high - static.low) / 2)
    centre = (item.low + item.high) / 2 if math.isfinite(item.high - item.low) else item.value
    value = centre - static.value
    margin = TRAIL_MARGIN_OF_CLAIM * float(percent) if percent else TRAIL_USUAL_MARGIN
    difference = Estimate(value=value, low=value - half, high=value + half, level=own.level,
                          method="half-widths in squares")
    answer: Agreement = ("differ" if difference.low > 0 or difference.high < 0 else
                         "agree" if -margin <= difference.low and difference.high <= margin else "not settled")
    if answer == "differ" and -margin <= difference.low and difference.high <= margin:
        answer = "agree"
    return BesideRides(static_percent=static, rides_percent=item, difference_percent=difference, margin_percent=margin,
                       answer=answer, state=str(state))
