"""What recordings are called, and when they were made: short, printable, and harmless on a terminal."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime

from agree.assessment.claim_check import ClaimCheck
from agree.core.data.pairs import Pairs
from agree.core.results.plain import plain_name

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
LONGEST = 22  # characters of a name in a sentence


def columns(text: str) -> int:
    """Return how many columns a text takes on a terminal: two for a wide character, none for a combining one."""
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def printable(text: str) -> str:
    """One line without control characters, escapes and marks that turn the direction of writing."""
    return " ".join(plain_name(text).split())


def cut(text: str, most: int) -> str:
    """Return the beginning of a text in at most so many columns."""
    return next((text[:k] for k in range(len(text), 0, -1) if columns(text[:k]) <= most), "")


def short(text: str, most: int = LONGEST) -> str:
    """Return a name in at most so many columns; its middle gives way, since names differ at both ends."""
    line = printable(text)
    if columns(line) <= most:
        return line
    tail = cut(line[::-1], (most - 1) // 3)[::-1]
    return f"{cut(line, most - 1 - columns(tail))}…{tail}"


def whole_parts(text: str, most: int) -> str:
    """Return a message in at most so many columns: the last parts of it give way, never the middle of one.

    Parts end with a full stop or a semicolon before a blank; a first part that is too long is a name, and is shortened.
    """
    line = printable(text)
    if columns(line) <= most:
        return line
    ends = [found.start() for found in re.finditer(r"(?<=[.;]) ", line) if columns(line[:found.start()]) <= most]
    return line[:ends[-1]].rstrip(";") if ends else short(line, most)


def lower_first(text: str) -> str:
    """Return a sentence to stand after a label: a small first letter, unless the word is written in capitals."""
    return text if text[1:2].isupper() or not text[:1].isupper() else text[0].lower() + text[1:]


def upper_first(text: str) -> str:
    """Return a text with a capital first letter."""
    return text[:1].upper() + text[1:]


def date_of(pairs: Pairs, *, year: bool = True) -> str:
    """Return the day of a session such as "2 Mar 2026"; empty if its clock does not tell it."""
    try:
        begin = datetime.fromisoformat(pairs.start)
    except ValueError:
        return ""
    return f"{begin.day} {MONTHS[begin.month - 1]}" + (f" {begin.year}" if year else "")


def days(check: ClaimCheck) -> str:
    """Return the day, or the first and the last, of all sessions; empty if they are not known."""
    found = [(item.start, date_of(item)) for item in check.pairs if date_of(item)]
    if not found:
        return ""
    first, last = min(found)[1], max(found)[1]
    return first if first == last else f"{first} to {last}"


def subject(check: ClaimCheck) -> str:
    """Name the device at the start of a sentence."""
    name = check.pairs[0].device_name
    return "This device" if len(check.pairs) > 1 or name in ("", "device") else short(name)


def opponent(check: ClaimCheck) -> str:
    """Name the reference."""
    name = check.pairs[0].reference_name
    return "the reference" if len(check.pairs) > 1 or name in ("", "reference") else short(name)
