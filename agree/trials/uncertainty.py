"""What is known of the reference's own error, on the scale of the errors."""

from __future__ import annotations

import math
import re

import numpy as np

from agree.core.errors import InputError
from agree.core.quantities.units import factor, is_known, unit_of
from agree.trials.scaled import OF_LIMIT, ScaledErrors
from agree.verdict.claim import NUMBER, PERCENT, SIGN, Claim, number
from agree.verdict.error_distribution import EXACT, KnownError

_STATED = re.compile(
    rf"{SIGN}{NUMBER}\s*([^\s\d,(]+(?:\s[^\s\d,(k]+)?)(?:\s*,?\s*\(?k\s*=\s*{NUMBER}\)?)?", re.IGNORECASE)


def known_of_reference(stated: str | float | None, scaled: ScaledErrors, claim: Claim) -> KnownError:
    """Return the reference's own error in the unit of the errors; it is shared by all trials.

    "±a" with nothing more is a rectangle of half-width a (JCGM 100:2008, 4.3.7); "a k=2" is normal, u = a/2. On a scale
    that changes with the level it is taken at the median level.

    Raises
    ------
    InputError
        Another form, a negative number, or a unit that does not convert.
    """
    if stated is None:
        return EXACT
    if isinstance(stated, int | float) and not isinstance(stated, bool):
        if not 0 <= stated < math.inf:
            raise InputError(f"`reference_uncertainty` must be 0 or more; got {stated!r}")
        return KnownError(rectangles=(float(stated),) if stated else ())
    found = _STATED.fullmatch(" ".join(str(stated).split()))
    if found is None or not is_known(found[2]) or (found[3] and number(found[3]) == 0):
        raise InputError(f"`reference_uncertainty` {stated!r} is not understood; write it like '±0.5 cm', '1 %' or "
                         "'1 % k=2'")
    value = number(found[1])
    unit, own = unit_of(found[2]).symbol, scaled.trials.quantity.computed_in
    level = float(np.median(np.abs(scaled.trials.reference)))
    if unit == PERCENT and scaled.trials.quantity.percent_has_meaning:
        absolute = value / 100 * level
    elif unit_of(unit).dimension == unit_of(own).dimension:
        absolute = value * factor(unit, own)
    else:
        raise InputError(f"`reference_uncertainty` {stated!r}: readings are in {own}; write it in {own}")
    divisor = {PERCENT: level / 100, OF_LIMIT: float(claim.limit(np.array(level))) / 100}.get(scaled.unit, 1.0)
    size = absolute / divisor
    return KnownError(normal=size / number(found[3])) if found[3] else KnownError(rectangles=(size,))
