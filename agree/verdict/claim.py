"""A maker's accuracy claim, from the words people use."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.result import Result

SIGN = r"(?:±|\+/-|\+-|plus or minus)?\s*"
NUMBER = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
UNIT = r"(%|percent|per cent|w|watts?)"
_CLAIM = re.compile(
    rf"{SIGN}{NUMBER}\s*{UNIT}(?:\s*or\s*{SIGN}{NUMBER}\s*{UNIT})?(?:\s*above\s*{NUMBER}\s*(?:w|watts?))?")
_FULL_SCALE = re.compile(rf"{SIGN}{NUMBER}\s*(?:%|percent|per cent)\s*of\s*{NUMBER}\s*(?:w|watts?)")


def number(text: str) -> float:
    """Read a number with a decimal point or comma."""
    return float(text.replace(",", "."))


def is_percent(unit: str) -> bool:
    """Whether a unit word means per cent rather than W."""
    return not unit.startswith("w")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Claim(Result):
    """An accuracy claim.

    Attributes
    ----------
    text : str
        The claim as it is repeated in reports.
    percent, watts : float or None
        Largest allowed error, per cent of the reference and W; with both, the larger of the two counts.
    above_watts : float or None
        The claim is made for this power and above only.

    Examples
    --------
    >>> from agree import Claim
    >>> claim = Claim.parse("1.5 % or 2 W above 100 W")
    >>> claim.text, claim.limit_w([100.0, 400.0]).tolist()
    ('±1.5 % or ±2 W above 100 W', [2.0, 6.0])
    """

    text: str
    percent: float | None
    watts: float | None
    above_watts: float | None

    @classmethod
    def parse(cls, text: str) -> Claim:
        """Read a claim such as "1.5%", "±1.5 %", "2 W", "1.5 % or 2 W above 100 W" or "1 % of 2000 W" (full scale).

        Raises
        ------
        InputError
            Any other form, a limit of 0, or one of 100 % and more.
        """
        words = " ".join(str(text).lower().split())
        full_scale = _FULL_SCALE.fullmatch(words)
        if full_scale is not None:
            share, full = map(number, full_scale.groups())
            if not 0 < share < 100 or full == 0:
                raise InputError(f"claim {text!r} must allow an error above 0 and below 100 %")
            return cls(text=f"±{share:g} % of {full:g} W", percent=None, watts=share / 100 * full, above_watts=None)
        found = _CLAIM.fullmatch(words)
        if found is None:
            raise InputError(f"claim {text!r} is not understood; write it like '1.5%', '2 W' or "
                             "'1.5 % or 2 W above 100 W'")
        first, unit, second, other, above = found.groups()
        limits = {is_percent(unit): number(first)}
        if second is not None:
            if is_percent(other) in limits:
                raise InputError(f"claim {text!r} gives two limits in one unit; write one in % and one in W")
            limits[is_percent(other)] = number(second)
        percent, watts = limits.get(True), limits.get(False)
        if (percent is not None and not 0 < percent < 100) or watts == 0:
            raise InputError(f"claim {text!r} must allow an error above 0 and below 100 %")
        said = [f"±{value:g} {sign}" for value, sign in ((percent, "%"), (watts, "W")) if value is not None]
        floor = None if above is None else number(above)
        return cls(text=" or ".join(said) + ("" if floor is None else f" above {floor:g} W"), percent=percent,
                   watts=watts, above_watts=floor)

    @property
    def unit(self) -> str:
        """Unit the verdict is given in: W for a claim in W alone, else per cent."""
        return "W" if self.percent is None else "%"

    def limit_w(self, reference: FloatArray) -> FloatArray:
        """Largest allowed error in W at each reference level."""
        level = np.abs(np.asarray(reference, float))
        limit: FloatArray = np.maximum((self.percent or 0) / 100 * level, self.watts or 0)
        return limit
