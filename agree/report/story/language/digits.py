"""Numbers as they are printed: few digits, and never so few that they contradict the stored answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from agree.core.interval.estimate import Estimate

FINE_HALF_WIDTH = 0.095  # an interval narrower than this to either side shows two decimals
COARSE_HALF_WIDTH = 9.5  # one wider than this shows none
USUAL_PLACES = 2         # decimals that are enough but for an end that would pass for the other side of the limit
MOST_PLACES = 15         # beyond, a float is printed whole
MINUS = "\N{MINUS SIGN}"


class Shown(NamedTuple):
    """Value, ends of the interval and limit as they are printed, without unit or sign words.

    `places` are the decimals that tell the ends from the limit; `each` those of value, low and high: only an end so
    near to the limit that 2 would hide its side has more.
    """

    value: float
    low: float
    high: float
    limit: float
    places: int
    each: tuple[int, int, int]


def sides(low: float, high: float, limit: float) -> tuple[int, ...]:
    """Return on which side of either limit each end lies, or that it lies on it: what decides the answer."""
    return tuple((end > edge) - (end < edge) for end in (low, high) for edge in (-limit, limit))


def rounded(value: float, places: int) -> float:
    """Return the number that is printed at so many decimals; never -0."""
    return value if not math.isfinite(value) or places > MOST_PLACES else float(f"{value:.{places}f}") + 0.0


def limit_shown(limit: float, places: int = 2) -> float:
    """Return a limit as it is printed: as it was stated if that is short, else rounded."""
    return limit if not math.isfinite(limit) or float(f"{limit:.6g}") == limit else rounded(limit, max(places, 2))


def first_places(half: float) -> int:
    """Decimals that an interval of this half-width deserves."""
    if not math.isfinite(half) or half <= 0:
        return 1
    if half >= FINE_HALF_WIDTH:
        return 0 if half >= COARSE_HALF_WIDTH else 1
    return min(math.ceil(-math.log10(half / FINE_HALF_WIDTH) + 1), MOST_PLACES)


def shown(item: Estimate, limit: float = math.nan) -> Shown:
    """Round an estimate so that each printed end lies on its own side of the printed limit.

    Examples
    --------
    >>> from agree import Estimate
    >>> from agree.report.story.language.digits import shown
    >>> near = Estimate(value=-2.9, low=-4.36, high=-1.4973, level=0.95, method="t")
    >>> shown(near, 1.5)[:4], shown(near, 3.0)[:3]
    ((-2.9, -4.36, -1.497, 1.5), (-2.9, -4.4, -1.5))
    """
    first = places = first_places((item.high - item.low) / 2)
    if not math.isnan(limit + item.low + item.high):
        true = sides(item.low, item.high, limit)
        while places <= MOST_PLACES and sides(
                rounded(item.low, places), rounded(item.high, places), limit_shown(limit, places)) != true:
            places += 1
    edge, least = limit_shown(limit, places), min(places, max(first, USUAL_PLACES))

    def needed(end: float) -> int:
        return next((k for k in range(least, places) if sides(rounded(end, k), rounded(end, k), edge) == sides(
            end, end, limit)), places)

    each = least, needed(item.low), needed(item.high)
    value, low, high = (rounded(x, k) for x, k in zip((item.value, item.low, item.high), each, strict=True))
    if not low <= value <= high:
        each = places, places, places
        value, low, high = (rounded(x, places) for x in (item.value, item.low, item.high))
    return Shown(value, low, high, edge, places, each)


def plain(value: float, places: int, *, sign: bool = False) -> str:
    """Print a rounded number; a true minus sign, a plus where asked, none before 0."""
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "no limit"
    text = repr(abs(value)) if places > MOST_PLACES else f"{abs(value):.{places}f}"
    return text if value == 0 or float(text) == 0 else (MINUS if value < 0 else "+" if sign else "") + text


def unit_after(unit: str) -> str:
    """Return a unit with the blank that goes before it."""
    return f" {unit}" if unit else ""


def interval_text(item: Estimate, unit: str = "", limit: float = math.nan) -> str:
    """Value with its interval, such as "−2.8 % (−3.3 to −2.2)"."""
    seen = shown(item, limit)
    value, low, high = (plain(x, k, sign=True) for x, k in zip(seen[:3], seen.each, strict=True))
    if not (math.isfinite(item.low) or math.isfinite(item.high)):
        return f"{value}{unit_after(unit)} (no limits)"
    return f"{value}{unit_after(unit)} ({low} to {high})"


def plain_interval(item: Estimate, unit: str = "") -> str:
    """Value with its interval where a sign says nothing, such as "1.031 (1.026 to 1.035)"."""
    seen = shown(item)
    value = f"{plain(seen.value, seen.places)}{unit_after(unit)}"
    if not (math.isfinite(item.low) or math.isfinite(item.high)):
        return f"{value} (no limits)"
    return f"{value} ({plain(seen.low, seen.places)} to {plain(seen.high, seen.places)})"


def side_words(value: float, places: int, unit: str) -> str:
    """Say a number as "2.8 % low" or "0.4 % high"; 0 has no side."""
    side = " low" if value < 0 else " high" if value > 0 else ""
    return f"{plain(abs(value), places)}{unit_after(unit)}{side}"


def interval_is(seen: Shown, unit: str) -> str:
    """Say what an interval is, as a verb with its object: "is 2.2 to 3.3 % low"."""
    return "has no limits" if math.isinf(seen.low) and math.isinf(seen.high) else f"is {range_words(seen, unit)}"


def range_words(seen: Shown, unit: str) -> str:
    """Say an interval as "2.2 to 3.3 % low" or "0.6 % low to 0.4 % high"."""
    low, high, (_, first, second) = seen.low, seen.high, seen.each
    if math.isinf(low) or math.isinf(high):
        end, side = (high, "no limit below") if math.isinf(low) else (low, "no limit above")
        return f"{side_words(end, second if math.isinf(low) else first, unit)} with {side}"
    if low < 0 < high or low == high == 0:
        return f"{side_words(low, first, unit)} to {side_words(high, second, unit)}"
    (near, own), (far, other) = sorted(((abs(low), first), (abs(high), second)))
    return f"{plain(near, own)} to {side_words(math.copysign(far, low + high), other, unit)}"


def listed(words: Sequence[str]) -> str:
    """Join words as in a sentence: "a", "a and b", "a, b and c"."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
