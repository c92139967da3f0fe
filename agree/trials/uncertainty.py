"""What is known of the reference's own error, on the scale of the errors."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

import numpy as np

from agree.core.errors import InputError
from agree.core.quantities.units import factor, is_known, unit_of
from agree.trials.scaled import OF_LIMIT, ScaledErrors
from agree.verdict.claim import NUMBER, PERCENT, SIGN, Claim, number
from agree.verdict.error_distribution import EXACT, KnownError

_STATED = re.compile(
    rf"{SIGN}{NUMBER}\s*([^\s\d,(]+(?:\s[^\s\d,(k]+)?)(?:\s*,?\s*\(?k\s*=\s*{NUMBER}\)?)?", re.IGNORECASE)


class Stated(NamedTuple):
    """Value, unit and coverage factor of a statement; no factor where none is said."""

    value: float
    unit: str
    k: float | None

    def known(self, size: float) -> KnownError:
        """Return it as an error of this size: a rectangle, or normal where a coverage factor is stated."""
        return KnownError(normal=size / self.k) if self.k else KnownError(rectangles=(size,) if size else ())


def _read(stated: str | float) -> Stated:
    """Read a statement; a number alone has no unit.

    Raises
    ------
    InputError
        Another form, a negative number or an unknown unit.
    """
    if isinstance(stated, int | float) and not isinstance(stated, bool):
        if not 0 <= stated < math.inf:
            raise InputError(f"`reference_uncertainty` must be 0 or more; got {stated!r}",
                             option="reference_uncertainty")
        return Stated(float(stated), "", None)
    found = _STATED.fullmatch(" ".join(str(stated).split()))
    if found is None or not is_known(found[2]) or (found[3] and number(found[3]) == 0):
        raise InputError(f"`reference_uncertainty` {stated!r} is not understood; write it like '±0.5 cm', '1 %' or "
                         "'1 % k=2'", option="reference_uncertainty")
    return Stated(number(found[1]), unit_of(found[2]).symbol, number(found[3]) if found[3] else None)


def known_beside_limit(stated: str | float | None, claim: Claim) -> KnownError:
    """Return the reference's own error in units of a claim's one limit, as a plan needs it.

    Raises
    ------
    InputError
        Another form, or a unit that is not the claim's.
    """
    if stated is None:
        return EXACT
    read = _read(stated)
    limit = float(claim.percent if claim.percent is not None else claim.absolute or 0)
    if read.unit and unit_of(read.unit).dimension != unit_of(claim.unit).dimension:
        raise InputError(f"`reference_uncertainty` {stated!r}: the claim is in {claim.unit}; a plan needs both in one "
                         "unit", option="reference_uncertainty")
    by = factor(read.unit, claim.unit) if read.unit else 1.0
    return read.known(read.value * by / limit)


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
    read = _read(stated)
    if not read.unit:
        return read.known(read.value)
    own = scaled.trials.quantity.computed_in
    level = float(np.median(np.abs(scaled.trials.reference)))
    if read.unit == PERCENT and scaled.trials.quantity.percent_has_meaning:
        absolute = read.value / 100 * level
    elif unit_of(read.unit).dimension == unit_of(own).dimension:
        absolute = read.value * factor(read.unit, own)
    else:
        what = (f"readings are in {own}; write it in {own}" if is_known(own) else
                "no column names the readings' unit; state it with `unit`")
        raise InputError(f"`reference_uncertainty` {stated!r}: {what}",
                         option="reference_uncertainty")
    divisor = {PERCENT: level / 100, OF_LIMIT: float(claim.limit(np.array(level))) / 100}.get(scaled.unit, 1.0)
    return read.known(absolute / divisor)
