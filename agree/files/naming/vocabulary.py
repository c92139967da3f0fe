"""The words of headers and what they mean, from the table words.csv: eight languages, one row a kind and language.

English, German, French, Spanish, Italian, Dutch, Portuguese and Polish: the Latin-script languages with the most
native speakers in Europe, into which recording software is most often translated (common practice; no count of files
was made). A word of another language is unknown, and is said.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from functools import cache, lru_cache
from pathlib import Path

# Letters that decomposition leaves as they are.
PLAIN_LETTERS = str.maketrans({"ł": "l", "Ł": "L", "ß": "ss", "æ": "ae", "Æ": "Ae", "⌀": "ø", "Ø": "ø", "’": "'"})
DEVICE_KINDS = frozenset({"total", "measured", "device"})  # beside a quantity they leave a plain reading
SIDES = frozenset({"left", "right", "side"})
# Never a plain reading: one side, a wish, an average, a share, another quantity.
DERIVED_KINDS = SIDES | {"target", "average", "smoothed", "normalised", "extreme", "part", "threshold", "estimated",
                         "other", "foreign", "scaled"}
LONGEST_PHRASE = 4
PLACE = "place"  # distance, altitude, slope: no reading of a known quantity, but one's own may be called so
COMPOUNDS = ("leistung", "vermogen", "effekt", "watts", "watt", "power", "temperatur", "temperatuur",
             "geschwindigkeit", "snelheid", "balance", "drehmoment")


@lru_cache(maxsize=4096)
def words(header: str) -> tuple[str, ...]:
    """Split a header into plain lower-case words: 'Leistung [W]' and 'powerW' alike.

    Examples
    --------
    >>> from agree.files.naming.vocabulary import words
    >>> words("Średnia moc [W]"), words("powerW"), words("L/R %")
    (('srednia', 'moc', 'w'), ('power', 'w'), ('l', 'r', 'percent'))
    """
    text = unicodedata.normalize("NFKD", header.translate(PLAIN_LETTERS))
    text = "".join(c for c in text if not unicodedata.combining(c)).replace("%", " percent ")
    text = re.sub(r"\bw'", " wprime ", text, flags=re.IGNORECASE)
    text = re.sub(r"(?<=[a-z]{2})(?=[A-Z])", " ", text).lower()
    return tuple(re.findall(r"[^\W\d_]+|\d+", text))


@cache
def phrases() -> dict[tuple[str, ...], frozenset[str]]:
    """Return the kinds of each phrase of the table."""
    found: dict[tuple[str, ...], set[str]] = {}
    with Path(__file__).with_name("words.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            for phrase in row["words"].split(";"):
                found.setdefault(words(phrase), set()).add(row["kind"])
    return {phrase: frozenset(kinds) for phrase, kinds in found.items()}


@cache
def quantities() -> frozenset[str]:
    """Return the kinds of the table that are quantities."""
    every = frozenset[str]().union(*phrases().values())
    return every - DEVICE_KINDS - DERIVED_KINDS - {PLACE}


@lru_cache(maxsize=4096)
def near(word: str) -> frozenset[str]:
    """Return the kinds of the known word that an unknown one is another form or the beginning of: 'lewego', 'gauch.'.

    The one with the longest common beginning counts, at least 4 letters and 0.6 of the longer word, unless the unknown
    word is the beginning of it. Of equals one that is no plain reading counts: to refuse is safe.
    """
    best, kinds = 0, frozenset[str]()
    for phrase, found in phrases().items():
        if len(phrase) > 1:
            continue
        other = phrase[0]
        common = next((k for k, (a, b) in enumerate(zip(word, other, strict=False)) if a != b),
                      min(len(word), len(other)))
        if common < 4 or not (common == len(word) or common >= 0.6 * max(len(word), len(other))):
            continue
        if common > best or (common == best and found & DERIVED_KINDS and not kinds & DERIVED_KINDS):
            best, kinds = common, found
    return kinds


def parted(word: str) -> tuple[str, ...]:
    """Part a compound such as 'gesamtleistung' or 'powerleft' at a name of a quantity; a known word stays whole."""
    if (word,) in phrases():
        return (word,)
    for noun in COMPOUNDS:
        if word.endswith(noun) and word != noun:
            first = word.removesuffix(noun)
            shorter = first.removesuffix("s")  # as in Durchschnittsleistung
            return (shorter if (shorter,) in phrases() and (first,) not in phrases() else first, noun)
        rest = word.removeprefix(noun)
        if word.startswith(noun) and rest:
            rest = rest if (rest,) in phrases() else rest.removeprefix("s")  # as in Leistungsvorgabe
            if (rest,) in phrases():
                return (noun, rest)
    return (word,)
