"""Two hundred made dialects and forty by hand: each is read rightly or refused, none is read wrongly in silence.

All files are invented here. What is true is known, as the writer made it; a reading that differs from it fails unless
a note that says so comes first on the screen.
"""

from __future__ import annotations

import random
from collections import Counter
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from agree import InputError, read_recording

START = datetime(2024, 5, 31, 17, 2, 3, tzinfo=UTC)
# time, power (with the factor to W), cadence, and columns that are no plain power
LANGUAGES = {
    "en": ("time", [("Power", 1), ("power [kW]", 1000), ("Total Power (W)", 1)], "cadence",
           ["Left Power", "Target Power (W)", "3s Power", "Avg Power", "NP", "Power Balance", "Heart rate"]),
    "de": ("Zeit", [("Leistung [W]", 1), ("Gesamtleistung", 1), ("Leistung [PS]", 735.49875)], "Trittfrequenz",
           ["Leistung links [W]", "Leistung re.", "Soll-Leistung", "Ø Leistung", "Maximalleistung", "Herzfrequenz"]),
    "fr": ("temps", [("Puissance (W)", 1), ("puissance mesurée [kW]", 1000)], "cadence",
           ["Puissance gauche", "Puissance cible (W)", "Puissance moyenne", "FC"]),
    "es": ("tiempo", [("Potencia (W)", 1), ("Potencia total", 1)], "cadencia",
           ["Potencia objetivo", "Potencia I", "Potencia izquierda", "Potencia media", "pulso"]),
    "it": ("tempo", [("Potenza [W]", 1), ("Potenza totale", 1)], "cadenza",
           ["Potenza sinistra", "Potenza S", "Potenza obiettivo", "Potenza media", "frequenza cardiaca"]),
    "nl": ("tijd", [("Vermogen (W)", 1), ("Totaal vermogen", 1), ("Vermogen [pk]", 735.49875)], "cadans",
           ["Vermogen links", "Doelvermogen", "Gemiddeld vermogen", "hartslag"]),
    "pt": ("tempo", [("Potência [W]", 1), ("Potência total", 1)], "cadência",
           ["Potência alvo", "Potência E", "Potência esquerda", "Potência média", "frequência cardíaca"]),
    "pl": ("czas", [("Moc [W]", 1), ("Moc całkowita", 1), ("Moc [KM]", 735.49875)], "kadencja",
           ["Moc docelowa", "Moc P", "Moc lewa", "Średnia moc", "tętno"])}
FORMS = {
    "iso": lambda t: t.isoformat().replace("+00:00", "Z"), "elapsed": lambda t: str(int((t - START).total_seconds())),
    "clock": lambda t: f"{t:%H:%M:%S}", "hhmmss": lambda t: f"{t:%H%M%S}", "unix": lambda t: f"{t.timestamp():.0f}",
    "unix ms": lambda t: f"{1000 * t.timestamp():.0f}", "fit": lambda t: f"{t.timestamp() - 631_065_600:.0f}",
    "12 h": lambda t: f"{t:%I:%M:%S %p}", "12 h bare": lambda t: f"{t:%I:%M:%S}", "minutes": lambda t: f"{t:%H:%M}",
    "German": lambda t: f"{t:%d.%m.%Y %H:%M:%S}", "American": lambda t: f"{t:%m/%d/%Y %I:%M:%S %p}",
    "compact": lambda t: f"{t:%Y%m%d%H%M%S}", "mm:ss": lambda t: f"{t.minute - 2:02}:{t:%S}",
    "ms": lambda t: str(1000 * round((t - START).total_seconds())),
    "ms, no unit": lambda t: str(1000 * round((t - START).total_seconds())),
    "min": lambda t: f"{(t - START).total_seconds() / 60:.8f}",
    "min, no unit": lambda t: f"{(t - START).total_seconds() / 60:.8f}"}
TOO_LITTLE = {"minutes", "ms, no unit", "min, no unit"}
UNITS = {"en": "s", "de": "Sekunden", "fr": "secondes", "es": "segundos", "it": "secondi", "nl": "s", "pt": "segundos",
         "pl": "s"}
SUMMARIES = {"en": "Average", "de": "Mittelwert", "fr": "Moyenne", "es": "Promedio", "it": "Media", "nl": "Gemiddelde",
             "pt": "Média", "pl": "Średnia"}


def dialect(seed):
    """Return the bytes of a file, what its power is, and how it was made."""
    chance = random.Random(seed)  # noqa: S311 (no secret)
    language = chance.choice(sorted(LANGUAGES))
    time, powers, cadence, decoys = LANGUAGES[language]
    power, factor = chance.choice(powers)
    form = chance.choice(sorted(FORMS))
    sign = chance.choice(".,")
    delimiter = chance.choice(",;\t|")
    start = START.replace(second=0) if form == "mm:ss" else START
    watts = [chance.choice([0, None, *range(80, 400)]) for _ in range(150)]
    watts[:3] = [200, 210, 190]
    decimals = {1: chance.choice([0, 1]), 1000: 4, 735.49875: 4}[factor]
    marker = chance.choice(["", "-", "n/a", "65535", "32767", "-1", "9999"])
    own = 1 if factor == 1 else factor

    def cell(value, places):
        text = f"{value:.{places}f}".replace(".", sign)
        return f'"{text}"' if delimiter in text else text

    time += f" [{form}]" if form in ("ms", "min") else ""
    columns = [(time, [FORMS[form](start + timedelta(seconds=k)) for k in range(150)]),
               (power, [marker if w is None else cell(w / own, decimals) for w in watts]),
               (cadence, [str(chance.choice([0, 80, 95])) for _ in watts])]
    columns += [(name, [str(chance.randint(50, 180)) for _ in watts])
                for name in chance.sample(decoys, chance.randint(0, len(decoys)))]
    chance.shuffle(columns)
    lines = [delimiter.join(name for name, _ in columns)]
    lines += [delimiter.join(row) for row in zip(*(cells for _, cells in columns), strict=True)]
    if chance.random() < 0.2:
        units = {time: UNITS[language] if form == "elapsed" else "", power: "W" if own == 1 else "", cadence: "1/min"}
        lines.insert(1, delimiter.join(units.get(name, "") for name, _ in columns))
    if chance.random() < 0.2:
        lines.append(delimiter.join([SUMMARIES[language], *(["203"] * (len(columns) - 1))]))
    if chance.random() < 0.2:
        lines[:0] = ["Ride by hand", "", "Serial" + delimiter + "17"]
    if chance.random() < 0.3:
        lines.insert(0, "# exported by hand")
    data = chance.choice(["\n", "\r\n"]).join([*lines, ""])
    encoding = chance.choice(["utf-8", "utf-8-sig", "utf-16"])
    true = [np.nan if w is None else float(f"{w / own:.{decimals}f}") * factor for w in watts]
    return data.encode(encoding), np.array(true), (language, power, form, delimiter, sign, marker)


def outcome(data, watts):
    """Return "right", "refused", or what is wrong."""
    try:
        found = read_recording(data)
    except InputError as error:
        return "refused", str(error)
    steps = np.diff(found.time)
    if found.power.size != watts.size or not np.allclose(found.power, watts, rtol=1e-9, equal_nan=True):
        return "wrong", f"power {found.power[:4]} for {watts[:4]}; {found.columns}"
    if not np.allclose(steps, 1, atol=1e-6):
        return "wrong", f"steps {steps[:4]} of time; {found.columns}"
    return "right", ""


def test_two_hundred_made_dialects():
    """A form that tells too little (hh:mm, ms and minutes without a word of it) is refused, all others are read."""
    found = {seed: (*outcome(*dialect(seed)[:2]), dialect(seed)[2]) for seed in range(200)}
    assert [item for item in found.values() if item[0] == "wrong"] == []
    refused = Counter(how[2] for result, _, how in found.values() if result == "refused")
    assert set(refused) <= TOO_LITTLE, [item for item in found.values() if item[0] == "refused"]


ROWS = [(k, 200 + k % 9) for k in range(70)]


def table(header, rows=ROWS, sign=",", form="{0}{s}{1}"):
    return "\n".join([header, *(form.format(*row, s=sign, t=START + timedelta(seconds=row[0])) for row in rows), ""])


RIGHT, REFUSED = "right", "refused"
BY_HAND = [
    ("time,power", RIGHT), ("time,hp power", REFUSED), ("time,power hp", REFUSED), ("time,kcal", REFUSED),
    ("time,left", REFUSED), ("time,L", REFUSED), ("time,R power", REFUSED), ("time,power avg", REFUSED),
    ("time,30s power", REFUSED), ("time,power_3s", REFUSED), ("time,1s power", RIGHT), ("time,target", REFUSED),
    ("time,power target", REFUSED), ("time,ERG", REFUSED), ("time,watts/kg", REFUSED), ("time,W/kg", REFUSED),
    ("time,W", RIGHT), ("time,[W]", RIGHT), ("time,P [W]", RIGHT), ("time,heart rate", REFUSED), ("time,hr", REFUSED),
    ("time,speed", REFUSED), ("time,cadence", REFUSED), ("time,energy [kJ]", REFUSED), ("time,Leistung%", REFUSED),
    ("time,power balance", REFUSED), ("time,Power phase", REFUSED), ("time,FTP", REFUSED), ("time,work", REFUSED),
    ("time,moc", RIGHT), ("time,potência", RIGHT), ("time,POTENZA", RIGHT), ("time,PUISSANCE (W)", RIGHT),
    ("time,vermogen", RIGHT), ("time,wattage", RIGHT), ("time,leistung_gesamt", RIGHT), ("time,Leistung_soll", REFUSED),
    ("time,PowerTarget", REFUSED), ("time,powerAvg", REFUSED), ("time,power\u00a0(W)", RIGHT), ("t,power", RIGHT),
    ("secs,watts", RIGHT)]


@pytest.mark.parametrize(("header", "expected"), BY_HAND)
def test_by_hand(header, expected):
    result, why = outcome(table(header).encode(), np.array([w for _, w in ROWS], dtype=float))
    assert result == expected, why
