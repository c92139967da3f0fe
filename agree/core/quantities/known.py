"""The quantities that are known by name, and those made from a unit alone.

Plausible ranges and steps are this package's own choice, wide enough for any athlete; customary claims are in the
documentation with their sources.
"""

from __future__ import annotations

from dataclasses import replace
from difflib import get_close_matches

from agree.core.errors import InputError
from agree.core.quantities.units import is_known, unit_in_header, unit_of
from agree.core.quantity import Quantity

POWER_FAULTS = ("late_start", "early_end", "saturation", "held", "dropout", "spike", "partial", "auto_zero_step",
                "step", "warm_up_drift")
POWER = Quantity(
    name="power", unit="W", aliases=("power", "leistung", "puissance", "potencia", "potenza", "vermogen", "watts"),
    resolution=1.0, low=-2_000.0, high=20_000.0, working=15.0, spike=100.0, zero_means="rest",
    fault_rules=POWER_FAULTS, claim_example="1.5 %")
HEART_RATE = Quantity(
    name="heart rate", unit="bpm", aliases=("heart rate", "heartrate", "hr", "pulse", "herzfrequenz", "puls", "pols",
                                            "fréquence cardiaque", "frecuencia cardiaca", "frequenza cardiaca"),
    resolution=1.0, low=25.0, high=250.0, working=40.0, spike=30.0, zero_means="missing", delay_belongs_to="device",
    fault_rules=("held", "dropout", "lost_contact", "cadence_lock", "half_or_double"), corrections=(),
    shadow="cadence", claim_example="5 bpm")
SPEED = Quantity(
    name="speed", unit="m/s", aliases=("speed", "velocity", "geschwindigkeit", "vitesse", "velocidad", "velocita"),
    # At a stop noise reads below 0; as far below as a reading at work is above.
    resolution=0.01, low=-0.5, high=30.0, working=0.5, spike=5.0, zero_means="rest", delay_belongs_to="device",
    fault_rules=("dropout", "held", "spike"), corrections=("scale",), claim_example="2 %")
PACE = Quantity(
    name="pace", unit="min/km", aliases=("pace", "allure"), scale="reciprocal", resolution=1 / 60,
    low=0.55, high=60.0, zero_means="missing", delay_belongs_to="device", fault_rules=("dropout", "held", "spike"),
    corrections=("scale",), claim_example="2 %")
CADENCE = Quantity(
    name="cadence", unit="rpm", aliases=("cadence", "cad", "trittfrequenz", "kadenz", "cadencia", "cadenza"),
    resolution=1.0, low=0.0, high=250.0, working=20.0, spike=40.0, zero_means="rest",
    fault_rules=("held", "half_or_double"), corrections=(), claim_example="2 rpm")
TORQUE = Quantity(
    name="torque", unit="Nm", aliases=("torque", "drehmoment", "couple", "coppia"), resolution=0.1, low=-100.0,
    high=500.0, working=2.0, spike=50.0, zero_means="rest",
    fault_rules=tuple(kind for kind in POWER_FAULTS if kind != "partial"), corrections=("offset", "scale"),
    claim_example="1 %")
BALANCE = Quantity(
    name="balance", unit="%", aliases=("balance", "bal", "left right balance", "l/r balance"), scale="share",
    resolution=0.5, low=0.0, high=100.0, zero_means="side lost", fault_rules=("side_lost", "sides_exchanged"),
    corrections=("offset",), claim_example="2 points")
OXYGEN_UPTAKE = Quantity(
    name="oxygen uptake", unit="l/min", aliases=("oxygen uptake", "vo2", "v'o2", "v̇o2", "sauerstoffaufnahme"),
    resolution=0.01, low=0.1, high=8.0, working=0.3, spike=1.0, zero_means="missing", sampling="events",
    delay_belongs_to="device", fault_rules=("cough", "held"), corrections=("scale",), claim_example="5 %")
CORE_TEMPERATURE = Quantity(
    name="core temperature", unit="°C",
    aliases=("core temperature", "body temperature", "core temp", "rectal temperature", "körperkerntemperatur"),
    scale="interval", resolution=0.01, low=33.0, high=42.0, zero_means="missing", delay_belongs_to="device",
    fault_rules=("held",), corrections=("offset", "line"), claim_example="0.3 °C")
KNOWN: tuple[Quantity, ...] = (POWER, HEART_RATE, SPEED, PACE, CADENCE, TORQUE, BALANCE, OXYGEN_UPTAKE,
                               CORE_TEMPERATURE)
# Step rates are counted like cadence, in their own unit.
STEP_RATE = replace(CADENCE, name="step rate", unit="spm", aliases=("step rate", "steps per minute", "schrittfrequenz"),
                    claim_example="2 spm")
_ALL = (*KNOWN, STEP_RATE)
# Dimensions without a natural zero, or shares themselves: per cent of these readings means nothing.
_SCALES = {"temperature": "interval", "share": "share"}


def named(text: str) -> Quantity | None:
    """Return the known quantity of a name or alias, None if there is none."""
    plain = " ".join(str(text).lower().replace("_", " ").replace("-", " ").split())
    return next((item for item in _ALL if plain == item.name or plain in item.aliases), None)


def plain(unit: str, name: str = "") -> Quantity:
    """Return a quantity that is known by its unit alone.

    Examples
    --------
    >>> from agree.core.quantities.known import plain
    >>> plain("cm").scale, plain("°F").scale, plain("%").scale
    ('ratio', 'interval', 'share')
    """
    own = unit_of(unit)
    scale = "reciprocal" if own.inverse else _SCALES.get(own.dimension, "ratio")
    return Quantity(name=name, unit=own.symbol, scale=scale)  # type: ignore[arg-type]


def quantity(text: str | Quantity, unit: str = "") -> Quantity:
    """Return a quantity by name, in `unit` if given; a unit alone, such as "cm", makes a plain quantity.

    Raises
    ------
    InputError
        A name that is neither known nor a known unit, where no unit is given; or a unit that contradicts the name.

    Examples
    --------
    >>> from agree.core.quantities.known import quantity
    >>> round(quantity("core temperature", "°F").low, 6), quantity("jump height", "cm").name, quantity("cm").unit
    (91.4, 'jump height', 'cm')
    """
    if isinstance(text, Quantity):
        return text.in_unit(unit) if unit else text
    found = named(text)
    if found is not None:
        other = STEP_RATE if found is CADENCE and unit and unit_of(unit).dimension == "step rate" else found
        return other.in_unit(unit) if unit else other
    if unit:
        return plain(unit, str(text))
    if is_known(str(text)):
        return plain(str(text))
    names = ", ".join(item.name for item in KNOWN)
    near = _near(str(text))
    hint = f"; perhaps {near.name!r}" if near is not None else ""
    example = near.unit if near is not None and near.scale == "interval" else "cm"
    raise InputError(f"quantity {text!r} is not known{hint}; known are {names}; for another, give its unit, like "
                     f"{example!r}")


def _near(text: str) -> Quantity | None:
    """Return the known quantity that a name may mean: one with a word that begins alike, or is spelt alike."""
    words = text.lower().replace("_", " ").replace("-", " ").split()
    for item in _ALL:
        own = {word for name in (item.name, *item.aliases) for word in name.split()}
        if any(len(min(a, b, key=len)) > 3 and (a.startswith(b) or b.startswith(a)) for a in words for b in own):
            return item
    names = {name: item for item in _ALL for name in (item.name, *item.aliases)}
    return next((names[name] for name in get_close_matches(" ".join(words), names, 1, 0.8)), None)


def in_header(header: str) -> Quantity | None:
    """Return the quantity that a column's name tells, with its unit: "wrist heart rate (bpm)"; None if it tells none.

    A name with a unit of another dimension ("power (cm)") tells none. A unit alone ("plate_cm") makes a plain quantity.
    """
    unit = unit_in_header(header)
    text = " ".join("".join(c if c.isalnum() else " " for c in header.lower()).split())
    padded = f" {text} "
    for item in _ALL:
        told = any(f" {word} " in padded for word in (item.name, *item.aliases))
        step = item is CADENCE and bool(unit) and unit_of(unit).dimension == unit_of(STEP_RATE.unit).dimension
        if told and (step or not unit or unit_of(unit).dimension == unit_of(item.unit).dimension):
            return quantity(item.name, unit)
    return plain(unit) if unit else None
