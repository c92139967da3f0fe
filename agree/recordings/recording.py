"""`Recording`: readings of one quantity against time, and the channels recorded beside them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.data.source_identity import SourceIdentity
from agree.core.errors import InputError
from agree.core.quantities.known import POWER
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.core.results.plain import plain_name
from agree.core.results.result import Result
from agree.core.shared_docs import made_by

CLOCKS = ("utc", "local", "elapsed", "rows")
# Fields that hold a channel each; a quantity without a field of its own is in `readings`.
FIELDS = {"power": "power", "cadence": "cadence", "speed": "speed", "pace": "speed", "temperature": "temperature",
          "balance": "balance", "heart rate": "heart_rate", "torque": "torque",
          "core temperature": "core_temperature", "oxygen uptake": "oxygen_uptake"}
CHANNELS = tuple(dict.fromkeys(FIELDS.values()))


@made_by("read_recording", also=("FileLook", "Pairs"),
         references='The page "Files that are read" of the documentation.')
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recording(Result):
    """One device's readings against time, as recorded: nothing filled in, nothing averaged.

    Parameters
    ----------
    time : (n,) array, s
        Stamps in order of the file; equal neighbours are allowed, gaps are absent rows.
    power : (n,) array, W, optional
        Readings of power; NaN where blank.
    cadence : (n,) array, rev/min, optional
        Cadence; NaN where blank.
    speed : (n,) array, m/s, optional
        Speed, also of a pace; NaN where blank.
    temperature : (n,) array, degrees C, optional
        Temperature the recorder noted; NaN where blank.
    balance : (n,) array, %, optional
        Share of the right side in the power; NaN where unknown.
    heart_rate : (n,) array, bpm, optional
    torque : (n,) array, Nm, optional
    core_temperature : (n,) array, degrees C, optional
    oxygen_uptake : (n,) array, l/min, optional
    readings : (n,) array, optional
        Readings of any other quantity, in its unit.
    quantity : Quantity
        What is to be compared; power by default.
    clock : {"utc", "local", "elapsed", "rows"}
        What `time` counts: seconds since 1970 UTC; the same on a clock of unknown zone; seconds since
        some start; rows of one second.
    start : str
        First stamp as ISO 8601, if the clock has a date.
    name : str
        What the recording is called.
    columns : dict
        Header chosen for "time", the quantity and each further channel.
    laps : (k,) array, s, optional
        When laps began, on the clock of `time`, if the file says so (FIT and TCX).
    notes : tuple of Note
        How the file was understood, and what was read as missing.
    identity : SourceIdentity, optional
        Name, size and digest of what was read.

    Raises
    ------
    InputError
        Unequal lengths, an infinite reading, a stamp that is NaN, an unknown clock, or no readings of the quantity.

    Examples
    --------
    >>> from agree import Recording
    >>> recording = Recording(time=[0, 1, 2], power=[200, float("nan"), 210])
    >>> recording.clock, recording.values.size, recording.unit
    ('elapsed', 3, 'W')
    """

    time: FloatArray
    power: FloatArray | None = None
    cadence: FloatArray | None = None
    speed: FloatArray | None = None
    temperature: FloatArray | None = None
    balance: FloatArray | None = None
    heart_rate: FloatArray | None = None
    torque: FloatArray | None = None
    core_temperature: FloatArray | None = None
    oxygen_uptake: FloatArray | None = None
    readings: FloatArray | None = None
    quantity: Quantity = POWER
    clock: str = "elapsed"
    start: str = ""
    name: str = "recording"
    columns: dict[str, str] = field(default_factory=dict)
    laps: FloatArray | None = None
    notes: tuple[Note, ...] = ()
    identity: SourceIdentity | None = None

    def __post_init__(self) -> None:
        checks.choice(self.clock, "clock", CLOCKS)
        object.__setattr__(self, "time", checks.vector(self.time, "time"))
        for name in ("time", *CHANNELS, "readings"):
            given: Any = getattr(self, name)
            if given is None:
                continue
            column = checks.vector(given, name)
            object.__setattr__(self, name, column)
            if column.size != self.time.size:
                raise InputError(f"`{name}` must have the length of `time`, {self.time.size}; got {column.size}",
                                 option=name)
            if np.isinf(column).any() or (name == "time" and np.isnan(column).any()):
                raise InputError(f"`{name}` must hold finite numbers" + (
                    "" if name == "time" else ", or NaN where missing"), option=name)
        if self.laps is not None:
            object.__setattr__(self, "laps", checks.vector(self.laps, "laps"))
        if getattr(self, self._field) is None:
            raise InputError(f"`{self._field}` is needed: the readings of {self.quantity.label}", option=self._field)
        object.__setattr__(self, "name", plain_name(self.name))
        object.__setattr__(self, "columns", {role: plain_name(header) for role, header in self.columns.items()})
        Result.__post_init__(self)

    @property
    def _field(self) -> str:
        return FIELDS.get(self.quantity.name, "readings")

    @property
    def values(self) -> FloatArray:
        """(n,) readings of the quantity, in `unit`."""
        found: FloatArray = getattr(self, self._field)
        return found

    @property
    def unit(self) -> str:
        """Unit of `values`: the quantity's; of a pace, m/s."""
        return self.quantity.computed_in
