"""`Quantity`: what is measured, its unit, and what the package must know of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from agree.core.errors import InputError
from agree.core.quantities.units import convert, factor, is_known, unit_of
from agree.core.results.result import Result
from agree.core.shared_docs import made_by

Scale = Literal["ratio", "interval", "share", "reciprocal"]
ZeroMeans = Literal["reading", "rest", "missing", "side lost"]


@made_by("read_recording", "overlay_recordings", "check_quantity",
         references="BIPM, The International System of Units, 9th edition 2019 (units and their factors; from "
                    "memory).")
@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity(Result):
    """What is measured: data only; the rules that use it stand where they are applied.

    Attributes
    ----------
    name : str
        "power", "heart rate", ...; for a quantity that is not known by name, "" or what the user calls it.
    unit : str
        Its unit, as printed.
    aliases : tuple of str
        Words of a column's name that mean this quantity, in lower case.
    scale : {"ratio", "interval", "share", "reciprocal"}
        ``ratio``: 0 means none, so that per cent of a reading has a meaning. ``interval``: no natural zero (°C).
        ``share``: a part of 100 itself; errors are points. ``reciprocal``: time for a distance; computed as speed.
    resolution : float
        Step of common recorders; 0 if not known.
    low, high : float
        Readings outside are not plausible; infinite if not known.
    working : float
        A reading at or above is at work: below, no fault is looked for. NaN where the idea does not apply.
    spike : float
        A jump up and back within 3 s of at least this is a fault of the device; infinite if not known.
    zero_means : {"reading", "rest", "missing", "side lost"}
        What a reading of exactly 0 is.
    sampling : {"seconds", "events", "trials"}
        What one row is: a second, an event such as a breath, or one trial.
    delay_belongs_to : {"clock", "device"}
        Whose a lag is taken to be where time stamps do not tell: power's is the clocks', heart rate's the device's.
    fault_rules : tuple of str
        Kinds of fault that are looked for.
    corrections : tuple of str
        Corrections that may be advised: "scale", "offset", "line"; empty where none is honest.
    shadow : str
        Channel that the device may show in place of the quantity: "cadence" for an optical heart rate.
    claim_example : str
        A claim as it is customary for this quantity, for messages.

    Examples
    --------
    >>> from agree import Quantity
    >>> from agree.core.quantities.known import quantity
    >>> quantity("heart rate").unit, quantity("heart rate").zero_means, quantity("pace").scale
    ('bpm', 'missing', 'reciprocal')
    >>> Quantity(name="jump height", unit="cm").scale
    'ratio'
    """

    name: str
    unit: str
    aliases: tuple[str, ...] = ()
    scale: Scale = "ratio"
    resolution: float = 0.0
    low: float = -math.inf
    high: float = math.inf
    working: float = math.nan
    spike: float = math.inf
    zero_means: ZeroMeans = "reading"
    sampling: Literal["seconds", "events", "trials"] = "seconds"
    delay_belongs_to: Literal["clock", "device"] = "clock"
    fault_rules: tuple[str, ...] = ()
    corrections: tuple[str, ...] = ("scale", "offset", "line")
    shadow: str = ""
    claim_example: str = ""

    def __post_init__(self) -> None:
        if not isinstance(self.unit, str) or not self.unit.strip():
            raise InputError(f"`unit` of a quantity must be text such as 'cm'; got {self.unit!r}", option="unit")
        if not self.low < self.high:
            raise InputError(f"`low` must be below `high`; got {self.low!r} and {self.high!r}", option="low")

    @property
    def label(self) -> str:
        """Name for a sentence: the quantity's, or "a reading in cm" where it has none."""
        return self.name or f"a reading in {self.unit}"

    @property
    def plausible(self) -> tuple[float, float]:
        """Lowest and highest plausible reading."""
        return self.low, self.high

    @property
    def percent_has_meaning(self) -> bool:
        """Whether a per cent of a reading means anything."""
        return self.scale in ("ratio", "reciprocal")

    @property
    def difference_unit(self) -> str:
        """Unit of errors: that of the readings, but points where these are per cent themselves."""
        return "points" if self.scale == "share" else self.computed_in

    @property
    def computed_in(self) -> str:
        """Unit that errors are computed in: the quantity's own, but m/s for a pace."""
        return "m/s" if self.scale == "reciprocal" else self.unit

    def in_unit(self, unit: str) -> Quantity:
        """Return the quantity in another unit of its dimension, its limits and steps converted.

        Raises
        ------
        InputError
            A unit of something else.
        """
        own, other = unit_of(self.unit), unit_of(unit)
        if own.symbol == other.symbol:
            return self
        if own.dimension != other.dimension:
            known = "" if not is_known(unit) else f", a unit of {other.dimension}"
            raise InputError(f"{self.label} is measured in {own.symbol}; got {unit!r}{known}")
        low, high = (float(convert(x, own.symbol, other.symbol)) for x in (self.low, self.high))
        if own.inverse or other.inverse:  # a step is not the same at every level
            turned = own.inverse != other.inverse
            name = {"speed": "pace", "pace": "speed"}.get(self.name, self.name) if turned else self.name
            low, high = (high, low) if turned else (low, high)
            return replace(self, name=name, unit=other.symbol, low=-math.inf if math.isnan(low) else low,
                           high=math.inf if math.isnan(high) else high, working=math.nan, spike=math.inf,
                           scale="reciprocal" if other.inverse else "ratio", resolution=0.0)
        by = factor(own.symbol, other.symbol)
        return replace(self, unit=other.symbol, low=low, high=high, resolution=self.resolution * by,
                       working=float(convert(self.working, own.symbol, other.symbol)), spike=self.spike * by)
