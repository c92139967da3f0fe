"""`Pairs`: two recordings of one effort on one grid, with what was set aside and why."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.drawn import Drawn
from agree.core.errors import InputError
from agree.core.fault import FIRST_EVENTS, NO_FAULT, Fault, FaultRow
from agree.core.fault import REASONS as REASONS
from agree.core.note import Note
from agree.core.plain import plain_name
from agree.core.result import Result, json_safe
from agree.core.source_identity import SourceIdentity


class Event(NamedTuple):
    """A run of seconds with one reason: start (s since the first common second) and length (s)."""

    reason: str
    start_s: float
    seconds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """What another channel than power says of the lag.

    Attributes
    ----------
    channel : {"cadence", "speed"}
        Recorded by both.
    lag_s, lag_se_s : float
        Its lag and standard error, s.
    correlation, strength : float
        Of its fast changes at that lag.
    agrees : bool
        The lag is within 3 s and 3 standard errors of that of the alignment.
    """

    channel: str
    lag_s: float
    lag_se_s: float
    correlation: float
    strength: float
    agrees: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockStep:
    """A step of one clock against the other.

    Attributes
    ----------
    time_s : float
        Where the new lag begins, on the pairs' time, s.
    step_s : float
        Change of the lag, s: negative if the device's clock lost time, positive if the reference's did.
    se_s : float
        Standard error of the step; NaN if it cannot be told.
    """

    time_s: float
    step_s: float
    se_s: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Alignment(Result):
    """How two clocks were matched.

    Attributes
    ----------
    lag_s : float
        Device timestamp minus reference timestamp of one event, in seconds; before the first step, if there is one.
    lag_se_s : float
        Standard error of the lag, from its spread between windows; NaN if there was one window.
    drift_ppm : float
        Change of the lag in parts per million of the elapsed time; NaN if fewer than 3 windows tell of it.
    drift_se_ppm : float
        Standard error of the drift; a drift of less than 3 of them is not told apart from none.
    correlation : float
        Correlation of the two traces, fast changes only, at that lag.
    runner_up : float
        The next best correlation at a distinctly different lag.
    mixed : float
        Share of the neighbouring second in each of the device's readings, after a lag that is no whole number of
        seconds; 0 where readings were left as they are.
    note : str
        Anything unusual, such as a lag near a whole number of quarter hours.
    channel : {"power", "cadence", "speed", "given", "assumed"}
        What told the lag; "assumed" if both are in one file and power does not tell it.
    witnesses : tuple of Witness
        What other channels say of it.
    steps : tuple of ClockStep
        Steps of one clock against the other, in order; they were taken out.
    """

    lag_s: float
    lag_se_s: float
    drift_ppm: float
    drift_se_ppm: float = math.nan
    correlation: float
    runner_up: float
    mixed: float = 0.0
    note: str = ""
    channel: str = "power"
    witnesses: tuple[Witness, ...] = ()
    steps: tuple[ClockStep, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pairs(Drawn):
    """Reference and device on one 1-s grid.

    Parameters
    ----------
    reference, device : (n,) array, W
        Readings; NaN where missing. Infinite or negative-infinite readings are refused.
    time : (n,) array, s, optional
        Seconds since the first common second; 0, 1, 2 ... if not given.
    reason : (n,) array of str, optional
        Why a second is set aside, one of `REASONS`, or "" if it is used. If not given, only missing
        seconds and seconds with both readings 0 are set aside.
    cadence : (n,) array, rev/min, optional
        Cadence, NaN where unknown.
    temperature : (n,) array, degrees C, optional
        Temperature of the device or the air, NaN where unknown.
    session : str
        Label of the session.
    alignment : Alignment, optional
        How the clocks were matched.
    reference_name, device_name : str
        What the two are called in reports.
    reference_column, device_column : str
        Columns the readings were taken from, if from files.
    start : str
        Clock time of the first common second, on the reference's clock, if known.
    notes : tuple of str
        What the reader of a report must know about how the pairs came about.
    faults : tuple of Fault, optional
        Faults found, in order of time; if not given, the runs of faulty seconds in `reason`.
    sources : tuple of SourceIdentity, optional
        Name, size and digest of what reference and device were read from; None where it is not known.

    Raises
    ------
    InputError
        Unequal lengths, infinite readings, an unknown reason, or a used second without a reading.

    Examples
    --------
    >>> from agree import Pairs
    >>> pairs = Pairs(reference=[100, 0, 200, 210], device=[101, 0, 0, float("nan")])
    >>> pairs.counts()["both_coasting"], pairs.counts()["missing"], int(pairs.used.sum())
    (1, 1, 2)
    """

    reference: FloatArray
    device: FloatArray
    time: FloatArray = None  # type: ignore[assignment]
    reason: NDArray[np.str_] = None  # type: ignore[assignment]
    cadence: FloatArray | None = None
    temperature: FloatArray | None = None
    session: str = "1"
    alignment: Alignment | None = None
    reference_name: str = "reference"
    device_name: str = "device"
    reference_column: str = ""
    device_column: str = ""
    start: str = ""
    notes: tuple[Note | str, ...] = field(default=())
    faults: tuple[Fault, ...] = None  # type: ignore[assignment]
    sources: tuple[SourceIdentity | None, SourceIdentity | None] = (None, None)

    def __post_init__(self) -> None:
        x, y = checks.vector(self.reference, "reference"), checks.vector(self.device, "device")
        n = x.size
        time = np.arange(n, dtype=float) if self.time is None else checks.vector(self.time, "time")
        cadence, warmth = (None if column is None else checks.vector(column, name) for name, column in (
            ("cadence", self.cadence), ("temperature", self.temperature)))
        missing = ~(np.isfinite(x) & np.isfinite(y)) if x.size == y.size else np.zeros(0, bool)
        given: Any = self.reason
        if given is None and x.size == y.size:
            reason = np.where(missing, "missing", np.where((x == 0) & (y == 0), "both_coasting", ""))
        else:
            reason = np.asarray(given, dtype=str)
        for name, column in (("device", y), ("time", time), ("reason", reason), ("cadence", cadence),
                             ("temperature", warmth)):
            if column is not None and column.shape != (n,):
                raise InputError(f"`{name}` must have the length of `reference`, {n}; got {column.size}")
        if np.isinf(x).any() or np.isinf(y).any():
            raise InputError("`reference` and `device` must hold finite readings, or NaN where missing; "
                             "got infinite ones")
        if np.isnan(time).any() or (np.diff(time) <= 0).any():
            raise InputError("`time` must increase from each second to the next")
        unknown = set(np.unique(reason)) - {"", *REASONS}
        if unknown:
            raise InputError(f"`reason` must be one of {', '.join(REASONS)} or ''; got {sorted(unknown)}")
        if (missing & (reason == "")).any():
            raise InputError("`reason` must be 'missing' where a reading is NaN")
        for name, value in (("reference", x), ("device", y), ("time", time), ("reason", reason),
                            ("cadence", cadence), ("temperature", warmth)):
            object.__setattr__(self, name, value)
        given = self.faults
        if given is None:
            given = [Fault(kind=event.reason, start_s=event.start_s, seconds=event.seconds,
                           energy_share=self._energy_share(self._span(event.start_s, event.seconds)))
                     for event in self.events() if event.reason not in NO_FAULT]
        strange = sorted({str(getattr(item, "kind", item)) for item in given} - set(REASONS))
        if strange:
            raise InputError(f"`faults` must hold items of `Fault` whose kind is one of {', '.join(REASONS)}; got "
                             f"{strange}")
        object.__setattr__(self, "faults", tuple(given))
        for name in ("session", "reference_name", "device_name", "reference_column", "device_column"):
            object.__setattr__(self, name, plain_name(getattr(self, name)))
        Result.__post_init__(self)

    @property
    def used(self) -> NDArray[np.bool_]:
        """(n,) True where the second is used."""
        mask: NDArray[np.bool_] = self.reason == ""
        return mask

    def counts(self) -> dict[str, int]:
        """Seconds set aside under each reason; every reason is listed."""
        return {reason: int((self.reason == reason).sum()) for reason in REASONS}

    def events(self) -> tuple[Event, ...]:
        """Return the runs of seconds set aside, in order of time."""
        if not self.reason.size:
            return ()
        change = np.flatnonzero(np.r_[True, self.reason[1:] != self.reason[:-1]])
        length = np.diff(np.r_[change, self.reason.size])
        return tuple(Event(str(self.reason[i]), float(self.time[i]), int(k))
                     for i, k in zip(change, length, strict=True) if self.reason[i])

    def _span(self, start_s: float, seconds: int) -> NDArray[np.bool_]:
        first = int(np.searchsorted(self.time, start_s))
        mask = np.zeros(self.time.size, bool)
        mask[first:first + seconds] = True
        return mask

    def _energy_share(self, mask: NDArray[np.bool_]) -> float:
        whole = float(self.reference[np.isfinite(self.reference) & np.isfinite(self.device)].sum())
        return float(np.nansum(self.reference[mask])) / whole if whole > 0 else math.nan

    def fault_table(self) -> tuple[FaultRow, ...]:
        """Return count, length, energy, first positions and effect on the mean error of each kind of fault found.

        Examples
        --------
        >>> from agree import Pairs
        >>> pairs = Pairs(reference=[100, 100, 200, 210], device=[101, 0, 201, 210],
        ...               reason=["", "device_dropout", "", ""])
        >>> row = pairs.fault_table()[0]
        >>> row.kind, row.seconds, round(row.energy_share, 3), round(row.bias_without, 2), round(row.bias_with, 2)
        ('device_dropout', 1, 0.164, 0.39, -16.07)
        """
        both = np.isfinite(self.reference) & np.isfinite(self.device)
        rows = []
        for kind in sorted({item.kind for item in self.faults}, key=REASONS.index):
            found = [item for item in self.faults if item.kind == kind]
            inside = np.logical_or.reduce([self._span(item.start_s, item.seconds) for item in found])
            used = self.used | ((self.reason == kind) & both)
            rows.append(FaultRow(
                kind=kind, handling=found[0].handling, events=len(found), seconds=int(inside.sum()),
                energy_share=self._energy_share(inside), first_s=tuple(
                    item.detail.get("at_s", item.start_s) for item in found[:FIRST_EVENTS]),
                bias_without=self._bias(used & ~inside), bias_with=self._bias(used)))
        return tuple(rows)

    def _bias(self, mask: NDArray[np.bool_]) -> float:
        whole = float(self.reference[mask].sum())
        return 100 * float((self.device - self.reference)[mask].sum()) / whole if whole > 0 else math.nan

    def to_dict(self) -> dict[str, Any]:
        """Return what was paired and set aside, without the readings themselves."""
        return {
            "session": self.session, "reference": self.reference_name, "device": self.device_name,
            "start": self.start, "notes": json_safe(self.notes),
            "alignment": None if self.alignment is None else self.alignment.to_dict(),
            "seconds": {"overlap": int(self.reason.size), "used": int(self.used.sum()),
                        "set_aside": self.counts()},
            "faults": json_safe(self.faults), "fault_table": json_safe(self.fault_table()),
        }
