"""What the name of a column says: its words, the quantity and unit they stand for, and which columns fit best."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence


def _set(text: str) -> frozenset[str]:
    return frozenset(text.split())


POWER_WORDS = _set("power pwr watts watt leistung puissance potencia potenza vermogen effekt moc")
POWER_UNITS = _set("w watt watts kw")
# Channels of use, not of need: names, units that may stand beside them, and headers that are units alone.
OTHERS = {
    "cadence": (_set("cadence cad rpm trittfrequenz kadenz cadencia cadenza cadans"),
                _set("rpm rev revs r u 1 min"), ("rpm", "u min", "1 min", "r min", "rev min", "revs min")),
    "speed": (_set("speed velocity geschwindigkeit vitesse velocidad velocita snelheid hastighet fart predkosc"),
              _set("km h kmh kph kmph mph mps m s mi ms"), ("km h", "kmh", "kph", "kmph", "mph", "m s", "mps")),
    "temperature": (_set("temperature temp temperatur temperatura temperatuur"),
                    _set("c celsius degc deg degrees f fahrenheit degf"), ()),
    "balance": (_set("balance bal"), _set("percent pct left right l r lr power"), ()),
}
# A speed that is not the rider's, a temperature that is not the recorder's, and so on.
FOREIGN = _set("wind air vertical head fan core skin body cpu battery heat target torque smoothness muscle color")
# Never a plain reading: one side, an average, a share, a wish, another unit.
DERIVED = _set(
    "left right l r balance bal avg average mean median max maximum min minimum peak normalised normalized "
    "weighted lap phase target goal threshold zone zones smooth smoothed smoothing rolling moving estimated "
    "estimate virtual accumulated ratio percent pct kg lb diff difference error offset")
WINDOW = re.compile(r"\b([2-9]|\d\d+) s(ec)?\b")  # "3s power" is an average too
TIME_UNITS = _set("s sec secs second seconds ms min minutes hours h hh m mm ss iso gmt 8601 local")
SECONDS = _set("s sec secs second seconds")
UNIT_SECONDS = {"ms": 1e-3, "min": 60.0, "minutes": 60.0, "hours": 3600.0}
# Best first: absolute before elapsed, so that two clocks can be matched.
TIME_NAMES = (
    "timestamp", "time stamp", "datetime", "date time", "utc", "utc time", "time utc", "timestamp utc",
    "zeitstempel", "horodatage", "time", "zeit", "uhrzeit", "temps", "heure", "tiempo", "hora", "tempo",
    "tijd", "date", "datum", "fecha", "data", "elapsed", "elapsed time", "time elapsed", "seconds", "t")
DATE_NAMES = _set("date datum fecha data")


def words(header: str) -> list[str]:
    """Split a header into plain lower-case words: 'Leistung [W]' and 'powerW' alike."""
    text = unicodedata.normalize("NFKD", header)
    text = "".join(c for c in text if not unicodedata.combining(c)).replace("%", " percent ")
    text = re.sub(r"(?<=[a-z]{2})(?=[A-Z])", " ", text).lower()
    return re.findall(r"[^\W\d_]+|\d+", text)


def called(header: Sequence[str], name: str) -> list[int]:
    """Positions of the columns of a name, or else of this name in any case."""
    wanted = str(name).strip()
    exact = [k for k, found in enumerate(header) if found == wanted]
    return exact or [k for k, found in enumerate(header) if found.lower() == wanted.lower()]


def ranked(header: Sequence[str], names: frozenset[str], units: frozenset[str]) -> list[int]:
    """Positions of the best columns: called just so, else with further words, but never a derived one."""
    exact, further = [], []
    for k, name in enumerate(header):
        split = words(name)
        rest = [word for word in split if word not in units]
        if split and (not rest or (len(rest) == 1 and rest[0] in names)):
            exact.append(k)
        elif names & set(split) and not DERIVED & set(rest) and not WINDOW.search(" ".join(split)):
            further.append(k)
    return exact or further
