"""What is known of the reference: its uncertainty, its calibration, and the losses before the device."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from agree.core.errors import InputError
from agree.core.results.result import Result
from agree.core.thresholds import MOST_LOSS, MOST_OFF
from agree.verdict.claim import NUMBER, SIGN, UNIT, is_percent, number
from agree.verdict.error_distribution import KnownError

_K = rf"(?:\s*,?\s*\(?k\s*=\s*{NUMBER}\)?)?"
_TERM = re.compile(rf"{SIGN}{NUMBER}\s*{UNIT}{_K}")
_CALIBRATED = re.compile(rf"reads\s*{NUMBER}\s*%\s*(high|low)\s*(?:±|\+/-|\+-)\s*{NUMBER}\s*%{_K}")
LOSS = "drivetrain loss"  # name of its term
UNTOLD = "seconds that may be faulty"  # name of what these leave open, beside a trace so slow that it does not tell
_LOSS = re.compile(rf"(-?){NUMBER}\s*%?\s*(?:±|\+/-|\+-)\s*{NUMBER}\s*%{_K}")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Term(Result):
    """One standard uncertainty of the reference: `percent` of the level, or `watts` at every level.

    `shape`: how the error behind it is spread, "rectangle" ("±a": nothing else is known) or "normal" (stated with k).
    """

    name: str
    percent: float
    watts: float
    shape: Literal["rectangle", "normal"] = "rectangle"

    def at(self, level_w: float, unit: str) -> float:
        """Return its standard uncertainty at a level of power, in % or W."""
        return self.percent + 100 * self.watts / level_w if unit == "%" else self.percent * level_w / 100 + self.watts


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReferenceUncertainty(Result):
    """What is known of the reference. Its error is shared by the whole recording and does not shrink with data.

    Attributes
    ----------
    text : str
        As stated, with how it was read; empty if nothing was stated.
    terms : tuple of Term
        Standard uncertainties, independent of each other.
    factor : float
        What the reference's readings are multiplied by before anything else, from a calibration or a declared loss.

    Notes
    -----
    "±a" with nothing more is a rectangle of half-width a, u = a/sqrt(3) (JCGM 100:2008, 4.3.7); "a k=2" is an
    expanded uncertainty of a normal error, u = a/k. Terms in per cent grow with the level, those in W do not.
    Interval, probability, plan and budget work on the shapes (`known`), never on one normal u for all.

    Examples
    --------
    >>> from agree.verdict.reference import ReferenceUncertainty
    >>> known = ReferenceUncertainty.parse("reads 0.3 % high ± 0.4 % k=2; 1 W", loss="2.5 ± 1 %")
    >>> [round(value, 3) for value in (known.factor, known.percent, known.watts)]
    [0.972, 0.611, 0.577]
    """

    text: str
    terms: tuple[Term, ...]
    factor: float = 1.0

    @property
    def percent(self) -> float:
        """Standard uncertainty in per cent of the level."""
        return math.hypot(*(term.percent for term in self.terms), 0.0)

    @property
    def watts(self) -> float:
        """Standard uncertainty in W at every level."""
        return math.hypot(*(term.watts for term in self.terms), 0.0)

    def in_percent(self, level_w: float) -> float:
        """Standard uncertainty in per cent at a level in W."""
        return math.hypot(self.percent, 100 * self.watts / level_w)

    def known(self, level_w: float, unit: str = "%") -> KnownError:
        """Return the error that all these terms leave open at a level of power, in % or W.

        Examples
        --------
        >>> from agree.verdict.reference import ReferenceUncertainty
        >>> known = ReferenceUncertainty.parse("±1 %; 1 % k=2").known(200)
        >>> known.normal, [round(half, 6) for half in known.rectangles]
        (0.5, [1.0])
        """
        sizes = [(term.at(level_w, unit), term.shape) for term in self.terms]
        return KnownError(normal=math.hypot(0.0, *(u for u, shape in sizes if shape == "normal")),
                          rectangles=tuple(math.sqrt(3) * u for u, shape in sizes if shape == "rectangle" and u > 0))

    def main_term(self, level_w: float) -> str:
        """Return the name of the term that brings most of the uncertainty; empty if there is none."""
        return max(self.terms, key=lambda term: term.at(level_w, "%")).name if self.terms else ""

    @classmethod
    def parse(cls, stated: str | float | None, *, loss: str | None = None) -> ReferenceUncertainty:
        """Read what is stated of the reference, and a declared loss between it and the device.

        Parameters
        ----------
        stated : str, float or None
            "±1 %", "1 % k=2", "2 W", "reads 0.3 % high ± 0.4 % k=2", several of these after semicolons, or a number
            (per cent, ±).
        loss : str, optional
            "2.5 ± 1 %": share of the reference's power lost before it reaches the device (a device at the hub
            against a reference at the crank); negative if the device comes first.

        Raises
        ------
        InputError
            Any other form, a negative or infinite number, or a coverage factor of 0.
        """
        if isinstance(stated, int | float):
            if not 0 <= stated < math.inf:
                raise InputError(f"reference uncertainty must be 0 or more per cent; got {stated!r}")
            stated = f"{stated:g} %"
        factor, terms, texts = 1.0, [], []
        for part in [] if stated is None else str(stated).split(";"):
            term, text, own = _term(part, str(stated))
            factor *= own
            terms.append(term)
            texts.append(text)
        if loss is not None:
            found = _LOSS.fullmatch(" ".join(loss.lower().split()))
            if found is None:
                raise InputError(f"drivetrain loss {loss!r} is not understood; write it like '2.5 ± 1 %'")
            sign, share, half, k = found.groups()
            lost = number(share) * (-1 if sign else 1)
            if abs(lost) > MOST_LOSS or number(half) > MOST_LOSS:
                raise InputError(f"drivetrain loss {loss!r} is more than any drivetrain loses; expected a share of the "
                                 f"power from -{MOST_LOSS:g} to {MOST_LOSS:g} %, such as '2.5 ± 1 %' (a chain loses 1 "
                                 "to 5 %)")
            factor *= 1 - lost / 100
            terms.append(Term(name=LOSS, percent=number(half) / _coverage(k, loss), watts=0.0,
                              shape=_shape(k)))
            texts.append(f"loss {lost:g} ± {number(half):g} % between reference and device")
        return cls(text="; ".join(texts), terms=tuple(terms), factor=factor)


def _coverage(k: str | None, stated: str) -> float:
    if k is None:
        return math.sqrt(3)
    if number(k) == 0:
        raise InputError(f"reference uncertainty {stated!r} has the coverage factor 0; it must be positive")
    return number(k)


def _shape(k: str | None) -> Literal["rectangle", "normal"]:
    return "rectangle" if k is None else "normal"


def _term(part: str, stated: str) -> tuple[Term, str, float]:
    words = " ".join(part.lower().split())
    calibrated = _CALIBRATED.fullmatch(words)
    if calibrated is not None:
        size, side, half, k = calibrated.groups()
        reads = number(size) * (1 if side == "high" else -1)
        u = number(half) / _coverage(k, stated)
        if max(number(size), number(half)) > MOST_OFF:
            raise InputError(f"reference uncertainty {stated!r} is no reference's: expected a calibration of at most "
                             f"{MOST_OFF:g} %, such as 'reads 0.3 % high ± 0.4 % k=2'")
        return (Term(name="calibration of the reference", percent=u, watts=0.0, shape=_shape(k)),
                f"reads {number(size):g} % {side}, u = {u:.2g} %", 1 / (1 + reads / 100))
    found = _TERM.fullmatch(words)
    if found is None:
        raise InputError(f"reference uncertainty {stated!r} is not understood; write it like '±1 %', '1 % k=2', '2 W' "
                         "or 'reads 0.3 % high ± 0.4 % k=2', and join several by a semicolon, as in '±1 %; 2 W'")
    value, unit, k = found.groups()
    u = number(value) / _coverage(k, stated)
    if is_percent(unit) and number(value) > MOST_OFF:
        raise InputError(f"reference uncertainty {stated!r} is no reference's: expected at most {MOST_OFF:g} %, such "
                         "as '±1 %'")
    sign = "%" if is_percent(unit) else "W"
    how = f"{number(value):g} {sign}, k = {number(k):g}" if k else f"±{number(value):g} {sign}, rectangular"
    percent = u if sign == "%" else 0.0
    return (Term(name="reference", percent=percent, watts=u - percent, shape=_shape(k)), f"{how}: u = {u:.2g} {sign}",
            1.0)
