"""What is known of the reference's own error, in the unit of any quantity."""

from __future__ import annotations

import math
import re
from typing import Literal

from agree.core.errors import InputError
from agree.core.quantities.units import factor, is_known, unit_of
from agree.core.quantity import Quantity
from agree.verdict.claim import NUMBER, PERCENT, SIGN, number
from agree.verdict.reference import ReferenceUncertainty, Term

_IN_UNIT = re.compile(rf"{SIGN}{NUMBER}\s*([^\s\d,(]+(?:\s[^\s\d,(k]+)?)(?:\s*,?\s*\(?k\s*=\s*{NUMBER}\)?)?",
                      re.IGNORECASE)


def known_of_quantity(stated: str | float | None, quantity: Quantity) -> ReferenceUncertainty:
    """Read what is stated of the reference: "1 bpm", "±0.05 °C", "1 % k=2", several after semicolons.

    "±a" with nothing more is a rectangle of half-width a (JCGM 100:2008, 4.3.7); "a k=2" is normal, u = a/2. A number
    alone is per cent.

    Raises
    ------
    InputError
        Another form, a unit of something else, or per cent of a scale without a zero.

    Examples
    --------
    >>> from agree.core.quantities.known import quantity
    >>> from agree.quantities.uncertainty import known_of_quantity
    >>> known_of_quantity("1 bpm k=2", quantity("heart rate")).known(150, "bpm").normal
    0.5
    """
    wanted = f"write it in {quantity.computed_in}" + (" or %" if quantity.percent_has_meaning else "")
    if stated is None or (isinstance(stated, int | float) and quantity.percent_has_meaning):
        return ReferenceUncertainty.parse(stated)
    terms: list[Term] = []
    others: list[str] = []
    for part in str(stated).split(";"):
        found = _IN_UNIT.fullmatch(" ".join(part.split()))
        if found is None or not is_known(found[2]) or unit_of(found[2]).symbol == PERCENT != quantity.computed_in:
            if not quantity.percent_has_meaning:
                raise InputError(f"`reference_uncertainty` {stated!r} is not understood for {quantity.label}; "
                                 f"{wanted}, like '±0.1 {quantity.computed_in}'", option="reference_uncertainty")
            others.append(part)
            continue
        terms.append(_term(found, str(stated), quantity, wanted))
    own = ReferenceUncertainty.parse("; ".join(others) if others else None)
    return ReferenceUncertainty(text=str(stated), terms=(*own.terms, *terms), factor=own.factor)


def _term(found: re.Match[str], stated: str, quantity: Quantity, wanted: str) -> Term:
    unit = unit_of(found[2])
    if unit.dimension != unit_of(quantity.computed_in).dimension or unit.inverse:
        raise InputError(f"`reference_uncertainty` {stated!r}: {quantity.label} is in {quantity.computed_in}; {wanted}",
                         option="reference_uncertainty")
    if found[3] and number(found[3]) == 0:
        raise InputError(f"`reference_uncertainty` {stated!r} has the coverage factor 0; it must be positive",
                         option="reference_uncertainty")
    shape: Literal["rectangle", "normal"] = "normal" if found[3] else "rectangle"
    size = number(found[1]) * factor(unit.symbol, quantity.computed_in)
    return Term(name="uncertainty of the reference", percent=0.0,
                watts=size / (number(found[3]) if found[3] else math.sqrt(3)), shape=shape)
