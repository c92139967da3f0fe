"""A maker's accuracy claim, and the stated uncertainty of a reference, from the words people use."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from agree._check import FloatArray
from agree._result import Result
from agree.errors import InputError

_SIGN = r"(?:±|\+/-|\+-|plus or minus)?\s*"
_NUMBER = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
_UNIT = r"(%|percent|per cent|w|watts?)"
_CLAIM = re.compile(
    rf"{_SIGN}{_NUMBER}\s*{_UNIT}(?:\s*or\s*{_SIGN}{_NUMBER}\s*{_UNIT})?(?:\s*above\s*{_NUMBER}\s*(?:w|watts?))?")
_REFERENCE = re.compile(rf"{_SIGN}{_NUMBER}\s*{_UNIT}(?:\s*,?\s*\(?k\s*=\s*{_NUMBER}\)?)?")


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _is_percent(unit: str) -> bool:
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
        """Read a claim such as "1.5%", "±1.5 %", "2 W" or "1.5 % or 2 W above 100 W".

        Raises
        ------
        InputError
            Any other form, a limit of 0, or one of 100 % and more.
        """
        found = _CLAIM.fullmatch(" ".join(str(text).lower().split()))
        if found is None:
            raise InputError(f"claim {text!r} is not understood; write it like '1.5%', '2 W' or "
                             "'1.5 % or 2 W above 100 W'")
        first, unit, second, other, above = found.groups()
        limits = {_is_percent(unit): _number(first)}
        if second is not None:
            if _is_percent(other) in limits:
                raise InputError(f"claim {text!r} gives two limits in one unit; write one in % and one in W")
            limits[_is_percent(other)] = _number(second)
        percent, watts = limits.get(True), limits.get(False)
        if (percent is not None and not 0 < percent < 100) or watts == 0:
            raise InputError(f"claim {text!r} must allow an error above 0 and below 100 %")
        words = [f"±{value:g} {sign}" for value, sign in ((percent, "%"), (watts, "W")) if value is not None]
        floor = None if above is None else _number(above)
        return cls(text=" or ".join(words) + ("" if floor is None else f" above {floor:g} W"), percent=percent,
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReferenceUncertainty(Result):
    """Standard uncertainty of the reference, one shared error for the whole recording.

    Attributes
    ----------
    text : str
        As stated, with how it was read; empty if none was given.
    percent, watts : float
        Standard uncertainty, per cent of the level and W; one of them is 0.

    Notes
    -----
    "±a" with nothing more is a rectangle of half-width a, u = a/sqrt(3) (JCGM 100:2008, 4.3.7); "a, k = 2" is an
    expanded uncertainty, u = a/k. It does not shrink with more data.

    Examples
    --------
    >>> from agree.verdict.claim import ReferenceUncertainty
    >>> round(ReferenceUncertainty.parse("±1.5 %").percent, 3), ReferenceUncertainty.parse("1 % k=2").percent
    (0.866, 0.5)
    """

    text: str
    percent: float
    watts: float

    @classmethod
    def parse(cls, stated: str | float | None) -> ReferenceUncertainty:
        """Read "±1 %", "1 % k=2", "2 W", a number (per cent, ±) or None.

        Raises
        ------
        InputError
            Any other form, or a negative or infinite number.
        """
        if stated is None:
            return cls(text="", percent=0.0, watts=0.0)
        if isinstance(stated, int | float):
            if not 0 <= stated < math.inf:
                raise InputError(f"reference uncertainty must be 0 or more per cent; got {stated!r}")
            stated = f"{stated:g} %"
        found = _REFERENCE.fullmatch(" ".join(str(stated).lower().split()))
        if found is None:
            raise InputError(f"reference uncertainty {stated!r} is not understood; write it like '±1 %', '1 % k=2' "
                             "or '2 W'")
        value, unit, factor = found.groups()
        k = _number(factor) if factor else math.sqrt(3)
        if k == 0:
            raise InputError(f"reference uncertainty {stated!r} has the coverage factor 0; it must be positive")
        u = _number(value) / k
        sign = "%" if _is_percent(unit) else "W"
        how = f"{_number(value):g} {sign}, k = {k:g}" if factor else f"±{_number(value):g} {sign}, rectangular"
        percent = u if sign == "%" else 0.0
        return cls(text=f"{how}: u = {u:.2g} {sign}", percent=percent, watts=u - percent)

    def in_percent(self, level_w: float) -> float:
        """Standard uncertainty in per cent at a level in W."""
        return self.percent + 100 * self.watts / level_w
