"""Numbers and paragraphs as every report prints them, and the text of any result."""

from __future__ import annotations

import dataclasses
import math
import textwrap
from collections.abc import Sequence
from functools import singledispatch
from typing import Any

from agree.core.interval.estimate import Estimate

WIDTH = 79
LONG_ROW = 3  # numbers in a row; more are listed by their ends
LONGEST, MOST_PLACES = 1e8, 8  # of a number written out: beyond, it is written with a power of ten


def decimals(low: float, high: float) -> int:
    """Decimals that show an interval's half-width to two digits, 0 to 4; more where all of it is below a hundredth."""
    half = (high - low) / 2
    if not math.isfinite(half) or half <= 0:
        return 2
    size = max(abs(low), abs(high))
    most = max(4, 2 - math.floor(math.log10(size)))
    return int(min(max(1 - math.floor(math.log10(half)), 0), most))


def number(value: float, low: float, high: float, *, sign: bool = False) -> str:
    """Print a number to the digits its interval deserves."""
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "no limit"
    places = decimals(low, high)
    if abs(value) >= LONGEST or places > MOST_PLACES:
        return f"{value:{'+' if sign else ''}.4g}"
    text = f"{value:{'+' if sign else ''}.{places}f}"
    return text.lstrip("+-") if float(text) == 0 else text


def estimate_text(item: Estimate | None, unit: str = "", *, sign: bool = False) -> str:
    """Value and interval, such as "-5.93 [-6.21, -5.65] %"."""
    if item is None:
        return "-"
    value, low, high = (number(x, item.low, item.high, sign=sign) for x in (item.value, item.low, item.high))
    limits = f"[{low}, {high}]" if math.isfinite(item.low) or math.isfinite(item.high) else "[no limits]"
    return f"{value} {limits}" + (f" {unit}" if unit else "")


def percent(fraction: float) -> str:
    """Print a fraction as per cent without needless digits; one that is not whole is not rounded to 100."""
    rounded = round(100 * fraction, 2)
    return f"{100 * fraction:g} %" if rounded == 100 else f"{rounded:g} %"


def pace_text(value: float, unit: str) -> str:
    """Print a pace in minutes as m:ss, any other as a number."""
    whole = round(60 * value)
    return f"{whole // 60}:{whole % 60:02d} {unit}" if unit.startswith("min/") else f"{value:.3g} {unit}"


def clock_of(seconds: float) -> str:
    """Print seconds as h:mm:ss, to the second."""
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def numbered(numbers: Sequence[int]) -> str:
    """List numbers as in a sentence; four and more in a row by their ends.

    Examples
    --------
    >>> from agree.core.results.words import numbered
    >>> [numbered(one) for one in ((3,), (1, 2), (1, 2, 3), (1, 3, 4, 5, 6, 9))]
    ['3', '1 and 2', '1, 2 and 3', '1, 3 to 6 and 9']
    """
    rows: list[list[int]] = []
    for number in numbers:
        if rows and number == rows[-1][-1] + 1:
            rows[-1].append(number)
        else:
            rows.append([number])
    words = [word for row in rows for word in ([f"{row[0]} to {row[-1]}"] if len(row) > LONG_ROW else map(str, row))]
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def named(name: str, column: str) -> str:
    """Name of a recording and the column its readings are from."""
    return f"{name} (column {column!r})" if column else name


def wrapped(label: str, text: str) -> str:
    """One labelled paragraph, indented under its label."""
    return textwrap.fill(f"{label:<11}{text}", WIDTH, subsequent_indent=" " * 11, break_long_words=False,
                         break_on_hyphens=False)


@singledispatch
def summary(result: Any) -> str:
    """Return any result as text; by default its fields, one a line."""
    if not dataclasses.is_dataclass(result):
        return str(result)
    lines = [type(result).__name__]
    for field in dataclasses.fields(result):
        if not field.repr:
            continue
        value = getattr(result, field.name)
        shown = (f"{estimate_text(value)}   {percent(value.level)} interval, {value.method}"
                 if isinstance(value, Estimate) else f"{value:.6g}" if isinstance(value, float) else str(value))
        lines.append(textwrap.fill(f"  {field.name.replace('_', ' '):<16} {shown}", 100, subsequent_indent=" " * 19))
    return "\n".join(lines)


@summary.register
def _(result: Estimate) -> str:
    return estimate_text(result)
