"""What the header of a column says: quantity, unit, what kind of value, and which words are not known."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache, lru_cache
from typing import NamedTuple

from agree.core.quantities.known import named
from agree.core.quantities.units import KNOWN_UNITS, Unit, unit_of
from agree.files.naming.vocabulary import (
    DERIVED_KINDS,
    DEVICE_KINDS,
    PLACE,
    SIDES,
    near,
    parted,
    phrases,
    quantities,
    words,
)


def _set(text: str) -> frozenset[str]:
    return frozenset(text.split())


POWER = "power"
SECONDS = _set("s sec secs second seconds sek sekunde sekunden seconde secondes segundo segundos secondo secondi "
               "seconden sekund")
MINUTES = _set("min mins minute minutes minuten minuto minutos minuti minuut minut")
# Not heure, hora, ora and godzina, which are the time of day too.
HOURS = _set("h hr hrs hour hours std stunde stunden heures horas ore uur uren godziny")
MILLISECONDS = _set("ms msec msecs millis millisecond milliseconds millisekunde millisekunden milliseconde "
                    "millisecondes milliseconden milisegundo milisegundos millisecondo millisecondi milisekundy")
TIME_UNITS = SECONDS | MILLISECONDS | MINUTES | HOURS | _set("us μs ns hh hhmmss hhmm m mm ss iso gmt 8601 local "
                                                             "unix epoch")
UNIT_SECONDS = {**dict.fromkeys(MILLISECONDS, 1e-3), "us": 1e-6, "μs": 1e-6, "ns": 1e-9,
                **dict.fromkeys(MINUTES, 60.0), **dict.fromkeys(HOURS, 3600.0)}
# Best first: absolute before elapsed, so that two clocks can be matched.
TIME_NAMES = (
    "timestamp", "time stamp", "datetime", "date time", "utc", "utc time", "time utc", "timestamp utc",
    "zeitstempel", "horodatage", "marca de tiempo", "marca temporal", "tijdstempel", "znacznik czasu", "fecha y hora",
    "data e hora", "data ora", "data i godzina", "datum uhrzeit", "date heure", "date et heure", "datum tijd", "time",
    "zeit", "uhrzeit", "temps", "heure", "tiempo", "hora", "tempo", "ora", "tijd", "czas", "godzina", "date", "datum",
    "fecha", "data", "elapsed", "elapsed time", "time elapsed", "temps ecoule", "tiempo transcurrido",
    "tempo trascorso", "tempo decorrido", "verstreken tijd", "vergangene zeit", "seconds", "t")
# Of time only where cells count on and nothing else is called time: a duration may be of another thing.
LAST_TIME_NAMES = ("duration", "dauer", "laufzeit", "fahrzeit", "duree", "duracion", "durata", "duur", "duracao",
                   "czas trwania", "czas jazdy")
DATE_NAMES = _set("date datum fecha data")
TIME_OF_DAY = _set("uhrzeit heure hora ora godzina clock")
# Dimension of what the units of a quantity are; a header may hold the unit alone, unless it is in UNTOLD.
DIMENSIONS = {"temperature": "temperature", "pace": "speed"}
UNTOLD = _set("c f k percent pct point points pp s min m h n ps hp hz")  # "ch" is a channel, "km" a distance
NEUTRAL = {"balance": SIDES | {"other", POWER}, "core temperature": frozenset({"temperature"})}


class Heading(NamedTuple):
    """What a header says of one quantity.

    Attributes
    ----------
    named : bool
        It names the quantity, or is its unit.
    unit : str
        Symbol of the unit of that quantity in it; "" if there is none.
    strange : tuple of str
        Symbols of units of something else, such as kcal beside a power.
    derived : tuple of (str, str)
        Kind and word of what makes it no plain reading, such as ("target", "soll").
    unknown : tuple of str
        Words that are not in the vocabulary.
    bare : bool
        Nothing but the quantity's name and unit.
    """

    named: bool
    unit: str
    strange: tuple[str, ...]
    derived: tuple[tuple[str, str], ...]
    unknown: tuple[str, ...]
    bare: bool

    @property
    def plain(self) -> bool:
        """Whether it can be a plain reading of the quantity."""
        return self.named and not self.derived


def dimension(quantity: str) -> str:
    """Return the dimension of a quantity's unit, "" if the quantity is not known."""
    known = named(quantity)
    return DIMENSIONS.get(quantity, "" if known is None else unit_of(known.unit).dimension)


@cache
def _units() -> dict[tuple[str, ...], Unit]:
    """Units by the words they are split into."""
    # Names of columns may hold no "/": pace_min_per_km, speed_m_per_s.
    found = {words(text): unit for unit in reversed(KNOWN_UNITS) for written in unit.words
             for text in (written.replace("/", " per "), written)}
    return {**found, ("km",): unit_of("km")}


STRANGE = frozenset({"energy", "torque", "pulse rate", "turning rate", "pressure", "step rate", "speed", "flow",
                     "flow for mass"})
# Of a length of averaging in seconds, where the name ends in it: "Power30". 1 to 4 number what is measured.
WINDOWS = _set("5 10 15 20 30 60 90 120 180 300 600 1200")
SCALED = re.compile(r"\d+[.,]\d+ ?k?w\b|1 ?/ ?10+|(?<![a-z])[x×*/] ?10+\b|(?<!\d)10+ ?[x×](?![a-z])|w ?[*/] ?10+\b",
                    re.IGNORECASE)  # "0.1 W", "x10", "W/10": no unit of its own
POLISH_HORSE = {("km",): unit_of("PS")}  # written KM
OWN_WORDS = {POWER: {("metric", "hp"): unit_of("PS"), ("hp", "metric"): unit_of("PS"),
                     ("j", "s"): unit_of("W"), ("horse",): unit_of("hp")}}


@lru_cache(maxsize=4096)
def heading(header: str, quantity: str = POWER, aliases: tuple[str, ...] = ()) -> Heading:
    """Read a header with regard to a quantity of the vocabulary, or to one with aliases of its own.

    Examples
    --------
    >>> from agree.files.naming.headers import heading
    >>> heading("Soll-Leistung [W]").derived, heading("Gesamtleistung [PS]").unit, heading("power xyz").unknown
    ((('target', 'soll'),), 'PS', ('xyz',))
    """
    split = tuple(part for word in words(header) for part in parted(word))
    rest, unit, strange = _without_units(split, quantity, header)
    own = {words(alias) for alias in (quantity or "readings", *aliases)}
    kinds: list[tuple[str, str]] = []
    unknown: list[str] = []
    scaled = SCALED.search(header) if quantity == POWER else None
    if scaled:
        kinds.append(("scaled", scaled[0].strip()))
    at, is_named = 0, False
    while at < len(rest):
        length = next((n for n in range(min(4, len(rest) - at), 0, -1)
                       if rest[at:at + n] in own or rest[at:at + n] in phrases()), 0)
        phrase, text = rest[at:at + (length or 1)], " ".join(rest[at:at + (length or 1)])
        found = phrases().get(phrase, frozenset())
        if phrase in own or quantity in found:
            is_named = True
        elif found:
            kinds += [(kind, text) for kind in sorted(found)]
            # "moc p" is the right side (prawa) beside the Polish word for power alone
            is_named = is_named or (found <= SIDES and any(quantity in phrases().get((w,), ()) for w in phrase))
        elif text.isdigit() and rest[at + 1:at + 2] and rest[at + 1] in SECONDS | MINUTES:
            kinds += [] if text == "1" and rest[at + 1] in SECONDS else [("smoothed", f"{text} {rest[at + 1]}")]
            at += 1
        elif text in WINDOWS and rest[at - 1:at] in own | {(POWER,)} and at + 1 == len(rest):
            kinds.append(("smoothed", text))
        elif near(text) - {quantity}:
            kinds += [(kind, text) for kind in sorted(near(text) - {quantity})]
        else:
            unknown.append(text)
        at += length or 1
    neutral = NEUTRAL.get(quantity, frozenset())
    derived = tuple((kind, text) for kind, text in kinds if kind not in neutral and (
        kind in DERIVED_KINDS or kind in quantities() or (kind == PLACE and quantity in quantities())))
    is_named = is_named or bool(unit and not unit_is_untold(unit) and not any(kind in quantities() for kind, _ in kinds)
                                and dimension(quantity))
    return Heading(is_named, unit, strange, derived, tuple(unknown), not kinds and not unknown)


def unit_is_untold(unit: str) -> bool:
    """Tell whether a unit alone does not tell the quantity."""
    return " ".join(words(unit)) in UNTOLD


def _without_units(
    split: tuple[str, ...], quantity: str, header: str
) -> tuple[tuple[str, ...], str, tuple[str, ...]]:
    """Return the words that are no units, the unit of the quantity, and units of something else."""
    wanted, own = dimension(quantity), OWN_WORDS.get(quantity, {})
    beside_power = any(quantity in phrases().get((word,), ()) for word in split)
    if quantity == POWER and beside_power and re.search(r"\bKM\b", header):  # a distance is in km
        own = own | POLISH_HORSE
    rest: list[str] = []
    strange: list[str] = []
    unit, at = "", 0
    while at < len(split):
        for length in range(min(3, len(split) - at), 0, -1):
            phrase = split[at:at + length]
            found = own.get(phrase) or _units().get(phrase)
            counted = length == 1 and at and split[at - 1].isdigit()  # "at 20 Hz" says how, "power 2 [kW]" the unit
            if found is None or (counted and found.dimension not in (wanted, "energy", "torque", "pressure")):
                continue
            if phrase[0].isdigit() and _wanted_after(split[at + 1:], wanted):  # "pace 1 [min/km]" is not in 1/min
                continue
            if found.dimension == wanted and (not unit or unit == found.symbol) and not _noun(phrase, quantity):
                unit = found.symbol
                break
            if found.dimension in STRANGE and found.dimension != wanted and phrase not in phrases():
                strange.append(found.symbol)
                at += split[at + length:at + length + 1] in (("min",), ("h",), ("s",))  # kcal/min is one unit
                break
        else:
            rest.append(split[at])
            length = 1
        at += length
    return tuple(rest), unit, tuple(strange)


def _wanted_after(split: tuple[str, ...], wanted: str) -> bool:
    """Tell whether words begin with a unit of a dimension that is written with more than one word."""
    found = (_units().get(split[:length]) for length in (2, 3))
    return any(unit is not None and unit.dimension == wanted for unit in found)


def _noun(phrase: tuple[str, ...], quantity: str) -> bool:
    """Tell whether a unit's word is also the name of the quantity, as "watts" is."""
    return quantity in phrases().get(phrase, frozenset()) and len(phrase[0]) > 3


def fitting(header: Sequence[str], quantity: str = POWER, aliases: tuple[str, ...] = ()) -> list[int]:
    """Positions of the columns that can be a plain reading of a quantity."""
    others = _other_sides(header, quantity)
    return [k for k, name in enumerate(header) if heading(name, quantity, aliases).plain and k not in others]


def _other_sides(header: Sequence[str], quantity: str) -> dict[int, str]:
    """Return the columns that only a short word tells from one of a side, as in "Watt L" and "Watt P", and that word.

    The letters of sides differ between languages; beside one of them another is the other side.
    """
    sides = [_without_units(words(name), quantity, name)[0] for name in header
             if {kind for kind, _ in heading(name, quantity).derived} & SIDES]
    found = {}
    for k, name in enumerate(header if sides else ()):
        if heading(name, quantity).plain:
            rest = _without_units(words(name), quantity, name)[0]
            for side in sides:
                told = [own for own, other in zip(rest, side, strict=False) if own != other]
                if len(rest) == len(side) and len(told) == 1 and len(told[0]) < 3:
                    found[k] = told[0]
    return found


def barest(header: Sequence[str], quantity: str) -> list[int]:
    """Positions of the fitting columns: called just so, else with further words."""
    fit = fitting(header, quantity)
    return [k for k in fit if heading(header[k], quantity).bare] or fit


def passed_over(header: Sequence[str], quantity: str = POWER) -> list[tuple[int, str, str]]:
    """Position, kind and word of the columns that name a quantity, but no plain reading of it."""
    others = _other_sides(header, quantity)
    found = [(k, heading(name, quantity)) for k, name in enumerate(header)]
    return [(k, *(("side", others[k]) if k in others else said.derived[0])) for k, said in found
            if said.named and (said.derived or k in others)]


def called(header: Sequence[str], name: str) -> list[int]:
    """Positions of the columns of a name, or else of this name in any case."""
    wanted = str(name).strip()
    exact = [k for k, found in enumerate(header) if found == wanted]
    return exact or [k for k, found in enumerate(header) if found.lower() == wanted.lower()]


__all__ = ["DATE_NAMES", "DEVICE_KINDS", "LAST_TIME_NAMES", "SECONDS", "TIME_NAMES", "TIME_UNITS", "UNIT_SECONDS",
           "Heading", "barest", "called", "fitting", "heading", "passed_over", "words"]
