"""A maker's accuracy claim, from the words people use."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.quantities.units import convert, factor, is_known, unit_of
from agree.core.quantity import Quantity
from agree.core.results.result import Result
from agree.core.shared_docs import made_by

SIGN = r"(?:±|\+/-|\+-|plus or minus)?\s*"
NUMBER = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
UNIT = r"(%|percent|per cent|w|watts?)"
_LIMIT = re.compile(rf"{SIGN}{NUMBER}\s*(\S.*)")
_FLOOR = re.compile(rf"{NUMBER}\s*(\S.*)")
_FULL_SCALE = re.compile(rf"{SIGN}{NUMBER}\s*(?:%|percent|per cent)\s*of\s*{NUMBER}\s*(\S.*)", re.IGNORECASE)
_MEAN_ABSOLUTE = re.compile(r"(?:mape|mae|mean absolute)\b", re.IGNORECASE)
_WORD = re.compile(r"[^\W\d_]+(?:/[^\W\d_]+)*")  # an unknown unit is one word, such as "au"
PERCENT = "%"


def number(text: str) -> float:
    """Read a number with a decimal point or comma."""
    return float(text.replace(",", "."))


def is_percent(unit: str) -> bool:
    """Whether a unit word means per cent rather than W."""
    return not unit.startswith("w")


def _limit(text: str, pattern: re.Pattern[str] = _LIMIT) -> tuple[float, str] | None:
    """Return a number and the symbol of its unit."""
    found = pattern.fullmatch(text.strip())
    if found is None or not (is_known(found[2]) or _WORD.fullmatch(found[2])):
        return None
    return number(found[1]), unit_of(found[2]).symbol


@made_by("check_claim", "check_trials", "check_quantity",
         references="JCGM 106:2012, clause 3 (limits of what is allowed; from memory).")
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Claim(Result):
    """An accuracy claim.

    Attributes
    ----------
    text : str
        The claim as it is repeated in reports.
    percent : float or None
        Largest allowed error, per cent of the reference.
    absolute : float or None
        Largest allowed error in `absolute_unit`; with both, the larger of the two counts.
    above : float or None
        The claim is made for this level and above only, in `absolute_unit`.
    absolute_unit : str
        Unit of `absolute` and `above`, such as "W" or "cm"; "" if there is neither.

    Examples
    --------
    >>> from agree import Claim
    >>> claim = Claim.parse("1.5 % or 2 W above 100 W")
    >>> claim.text, claim.limit([100.0, 400.0]).tolist()
    ('±1.5 % or ±2 W above 100 W', [2.0, 6.0])
    >>> Claim.parse("2 cm").unit, Claim.parse("10 % or 5 bpm").absolute_unit
    ('cm', 'bpm')
    """

    text: str
    percent: float | None
    absolute: float | None
    above: float | None
    absolute_unit: str

    @classmethod
    def parse(cls, text: str) -> Claim:
        """Read a claim: "1.5%", "±1.5 %", "2 W", "2 cm", "1.5 % or 2 W above 100 W" or "1 % of 2000 W" (full scale).

        Raises
        ------
        InputError
            Any other form, a limit of 0, one of 100 % and more, or two units that do not convert.
        """
        plain = " ".join(str(text).split())
        named = _MEAN_ABSOLUTE.match(plain)
        if named is not None:
            raise InputError(f"claim {text!r} is of a mean absolute error, which is a meaning and no limit: give the "
                             "limit alone, like '5 %', and the meaning mean_absolute (--meaning mean-absolute on the "
                             "command line), for tables of trials and for quantities other than power")
        full_scale = _FULL_SCALE.fullmatch(plain)
        if full_scale is not None and (is_known(full_scale[3]) or _WORD.fullmatch(full_scale[3])):
            share, full, unit = number(full_scale[1]), number(full_scale[2]), unit_of(full_scale[3]).symbol
            if not 0 < share < 100 or full == 0:
                raise InputError(f"claim {text!r} must allow an error above 0 and below 100 %")
            return cls(text=f"±{share:g} % of {full:g} {unit}", percent=None, absolute=share / 100 * full, above=None,
                       absolute_unit=unit)
        wanted, *floors = re.split(r"\s*above\s*", plain, flags=re.IGNORECASE)
        found = [_limit(part) for part in re.split(r"\s*\bor\b\s*", wanted, flags=re.IGNORECASE)]
        floor = _limit(floors[0], _FLOOR) if len(floors) == 1 else None
        limits = [item for item in found if item is not None]
        misread = len(limits) < len(found) or len(found) > 2 or (floor is None) == bool(floors)
        if re.fullmatch(SIGN + NUMBER, plain):
            value = plain.lstrip("±+-/ ")
            raise InputError(f"claim {text!r} has no unit; write '{value} %' for per cent of the reading, or "
                             f"'{value} W' for watts")
        if misread or (floor is not None and floor[1] == PERCENT):
            raise InputError(f"claim {text!r} is not understood; write it like '1.5%', '2 W' or "
                             "'1.5 % or 2 W above 100 W'")
        return cls._of(str(text), limits, floor)

    @classmethod
    def _of(cls, text: str, limits: list[tuple[float, str]], floor: tuple[float, str] | None) -> Claim:
        """Return the claim of one or two limits and a level; each is a number and a unit."""
        units = [unit for _, unit in limits if unit != PERCENT]
        if len(limits) == 2 and len(units) != 1:
            other = units[0] if units else "W"
            raise InputError(f"claim {text!r} gives two limits in one unit; write one in % and one in {other}")
        percent = next((value for value, unit in limits if unit == PERCENT), None)
        absolute = next((value for value, unit in limits if unit != PERCENT), None)
        if (percent is not None and not 0 < percent < 100) or absolute == 0:
            raise InputError(f"claim {text!r} must allow an error above 0 and below 100 %")
        own = units[0] if units else floor[1] if floor else ""
        if floor is not None and unit_of(floor[1]).dimension != unit_of(own).dimension:
            raise InputError(f"claim {text!r} names a level in {floor[1]}, its limit in {own}; write both in one unit")
        said = [f"±{value:g} {unit}" for value, unit in ((percent, PERCENT), (absolute, own)) if value is not None]
        return cls(text=" or ".join(said) + ("" if floor is None else f" above {floor[0]:g} {floor[1]}"),
                   percent=percent, absolute=absolute, absolute_unit=own,
                   above=None if floor is None else float(convert(floor[0], floor[1], own)))

    def for_quantity(self, quantity: Quantity, column: str = "") -> Claim:
        """Return the claim in the unit that the quantity is computed in; its text stays as stated.

        Parameters
        ----------
        quantity : Quantity
            What is measured.
        column : str
            Name of the column, for messages.

        Raises
        ------
        InputError
            A per cent of readings without a natural zero, or a unit of something else.

        Examples
        --------
        >>> from agree import Claim
        >>> from agree.core.quantities.known import quantity
        >>> Claim.parse("2 cm").for_quantity(quantity("mm")).absolute
        20.0
        """
        stated = self.text.removeprefix("±").replace(" ±", " ")
        if self.percent is not None and not quantity.percent_has_meaning:
            if quantity.scale == "share":
                raise InputError(f"claim '{stated}': {quantity.label} is a per cent itself, so per cent of it "
                                 "misleads; write it in points, like '2 points'")
            raise InputError(f"claim '{stated}': {quantity.label} has no natural zero, so per cent of it means "
                             f"nothing; write it in {quantity.unit}, like '0.3 {quantity.unit}'")
        own = quantity.difference_unit
        if self.absolute_unit in ("", own):
            return self
        alike = unit_of(self.absolute_unit).dimension == unit_of(own).dimension
        if alike and unit_of(self.absolute_unit).inverse:
            raise InputError(f"claim '{stated}': {quantity.label} is judged as speed, since {self.absolute_unit} is "
                             "not the same difference at every level; write the claim in % or km/h")
        if not alike:
            where = f"column {column!r} is" if column else f"{quantity.label} is"
            ways = "points" if quantity.scale == "share" else quantity.unit
            ways += " or %" if quantity.percent_has_meaning else ""
            raise InputError(f"claim '{stated}': {where} in {quantity.unit}; write the claim in {ways}")
        return replace(
            self, absolute_unit=own,
            absolute=None if self.absolute is None else self.absolute * factor(self.absolute_unit, own),
            above=None if self.above is None else float(convert(self.above, self.absolute_unit, own)))

    @property
    def unit(self) -> str:
        """Unit the verdict is given in: that of a claim in one unit alone, else per cent."""
        return self.absolute_unit if self.percent is None else PERCENT

    @property
    def watts(self) -> float | None:
        """Largest allowed error of a claim about power, W."""
        return self.absolute

    @property
    def above_watts(self) -> float | None:
        """Level from which on a claim about power is made, W."""
        return self.above

    def limit(self, reference: FloatArray) -> FloatArray:
        """Largest allowed error at each reference level, in the reference's unit."""
        level = np.abs(np.asarray(reference, float))
        limit: FloatArray = np.maximum((self.percent or 0) / 100 * level, self.absolute or 0)
        return limit

    def limit_w(self, reference: FloatArray) -> FloatArray:
        """As `limit`, of power: W."""
        return self.limit(reference)

    def to_dict(self) -> dict[str, Any]:
        """Return JSON types: keys of schema 1 for a claim about power, of schema 2 for another."""
        if self.absolute_unit in ("", "W"):
            return {"text": self.text, "percent": self.percent, "watts": self.absolute, "above_watts": self.above}
        return self.plain_dict()

    def plain_dict(self) -> dict[str, Any]:
        """Return JSON types with keys that carry no unit, as schema 2 has them."""
        return {"text": self.text, "percent": self.percent, "absolute": self.absolute, "unit": self.absolute_unit,
                "above": self.above}
