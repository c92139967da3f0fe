"""`Pairs`: two recordings of one effort on one grid, with what was set aside and why."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.data.alignment import Alignment as Alignment
from agree.core.data.alignment import ClockStep as ClockStep
from agree.core.data.alignment import Witness as Witness
from agree.core.data.fault import FIRST_EVENTS, NO_FAULT, Fault, FaultRow
from agree.core.data.fault import REASONS as REASONS
from agree.core.data.matched import MATCHED_TOLD, Matched
from agree.core.data.reason_codes import NAMES, USED, Codes, among, reasons_held_as_codes
from agree.core.data.source_identity import SourceIdentity
from agree.core.errors import InputError
from agree.core.results.drawn import Drawn
from agree.core.results.note import Note
from agree.core.results.plain import plain_name
from agree.core.results.result import Result, json_safe
from agree.core.shared_docs import made_by


@made_by("pair_recordings", also=("Pairs",),
         references='The pages "How recordings are paired" and "Which seconds are faulty" of the documentation.')
class Event(NamedTuple):
    """A run of seconds with one reason: start (s since the first common second) and length (s)."""

    reason: str
    start_s: float
    seconds: int


@made_by("pair_recordings", "match_response", also=("Recording", "Alignment"),
         references='The pages "How recordings are paired" and "Which seconds are faulty" of the documentation.')
@reasons_held_as_codes
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
    speed : (n,) array, m/s, optional
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
    matched : Matched, optional
        Both columns with one response, for what compares second by second; if not given, the readings as recorded.
    stamps : tuple of float, optional
        First and last stamp of the reference's file, s, where its clock shows no date; a file cut from a longer one
        does not begin at 0.
    ridden_s : float
        Seconds in which the whole recording of the reference shows power, in the overlap or not; NaN if not known.

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
    speed: FloatArray | None = None
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
    matched: Matched | None = None
    stamps: tuple[float, float] | None = None
    ridden_s: float = math.nan
    _codes: Codes = field(init=False, repr=False)

    if TYPE_CHECKING:  # columns of any kind are taken, arrays are held
        def __init__(
            self, *, reference: ArrayLike, device: ArrayLike, time: ArrayLike | None = None,
            reason: ArrayLike | None = None, cadence: ArrayLike | None = None, temperature: ArrayLike | None = None,
            speed: ArrayLike | None = None, session: str = "1", alignment: Alignment | None = None,
            reference_name: str = "reference", device_name: str = "device", reference_column: str = "",
            device_column: str = "", start: str = "",
            notes: tuple[Note | str, ...] = (), faults: tuple[Fault, ...] | None = None,
            sources: tuple[SourceIdentity | None, SourceIdentity | None] = (None, None),
            matched: Matched | None = None, stamps: tuple[float, float] | None = None, ridden_s: float = math.nan,
        ) -> None: ...

    def __post_init__(self) -> None:
        x, y = checks.shared_vector(self.reference, "reference"), checks.shared_vector(self.device, "device")
        n = x.size
        time = np.arange(n, dtype=float) if self.time is None else checks.shared_vector(self.time, "time")
        channels: dict[str, Any] = {name: None if getattr(self, name) is None else checks.shared_vector(
            getattr(self, name), name) for name in ("cadence", "temperature", "speed")}
        missing = ~(np.isfinite(x) & np.isfinite(y)) if x.size == y.size else np.zeros(0, bool)
        given: Any = self.reason
        if given is None and x.size == y.size:
            given = np.where(missing, "missing", np.where((x == 0) & (y == 0), "both_coasting", ""))
            object.__setattr__(self, "reason", given)
        for name, column in {"device": y, "time": time, "reason": self._codes, **channels}.items():
            if column is not None and column.shape != (n,):
                raise InputError(f"`{name}` must have the length of `reference`, {n}; got {column.size}", option=name)
        if np.isinf(x).any() or np.isinf(y).any():
            raise InputError("`reference` and `device` must hold finite readings, or NaN where missing; "
                             "got infinite ones", option="reference")
        if np.isnan(time).any() or (np.diff(time) <= 0).any():
            raise InputError("`time` must increase from each second to the next", option="time")
        if (missing & self.used).any():
            raise InputError("`reason` must be 'missing' where a reading is NaN", option="reason")
        self._check_matched(self.used)
        for name, value in (("reference", x), ("device", y), ("time", time), *channels.items()):
            object.__setattr__(self, name, value)
        faults: Any = self.faults
        if faults is None:
            faults = [Fault(kind=event.reason, start_s=event.start_s, seconds=event.seconds, energy_share=share)
                      for event, share in self._energy_shares() if event.reason not in NO_FAULT]
        if strange := sorted({str(getattr(item, "kind", item)) for item in faults} - set(REASONS)):
            raise InputError(f"`faults` must hold items of `Fault` whose kind is one of {', '.join(REASONS)}; got "
                             f"{strange}", option="faults")
        object.__setattr__(self, "faults", tuple(faults))
        for name in ("session", "reference_name", "device_name", "reference_column", "device_column"):
            object.__setattr__(self, name, plain_name(getattr(self, name)))
        Result.__post_init__(self)

    def _check_matched(self, used: NDArray[np.bool_]) -> None:
        if self.matched is None:
            return
        if not isinstance(self.matched, Matched):
            raise InputError(f"`matched` must be `Matched` or None; got {type(self.matched).__name__}",
                             option="matched")
        if self.matched.reference.shape != used.shape:
            raise InputError(f"`matched` must have the length of `reference`, {used.size}; got "
                             f"{self.matched.reference.size}", option="matched")
        if not all(np.isfinite(column[used]).all() for column in (self.matched.reference, self.matched.device)):
            raise InputError("`reason` must be 'beside_fault', 'beside_gap' or 'missing' where a column of `matched` "
                             "is NaN", option="reason")

    @property
    def used(self) -> NDArray[np.bool_]:
        """(n,) True where the second of the matched pair is used."""
        mask: NDArray[np.bool_] = self._codes == USED
        return mask

    def has_reason(self, *reasons: str) -> NDArray[np.bool_]:
        """(n,) True where the reason is one of these; "" is that of a used second."""
        return among(self._codes, reasons)

    @property
    def sound(self) -> NDArray[np.bool_]:
        """(n,) True where both readings as recorded are known and neither is faulty; coasting is included."""
        known = np.isfinite(self.reference) & np.isfinite(self.device)
        return np.asarray(known & self.has_reason("", "both_coasting", "beside_fault", "beside_gap"))

    @property
    def recorded(self) -> NDArray[np.bool_]:
        """(n,) True where the readings as recorded can be compared: sound, and not both 0."""
        return np.asarray(self.sound & ~((self.reference == 0) & (self.device == 0)))

    @property
    def matched_reference(self) -> FloatArray:
        """(n,) The reference with the response of the device, W; as recorded if `matched` is not given."""
        return self.reference if self.matched is None else self.matched.reference

    @property
    def matched_device(self) -> FloatArray:
        """(n,) The device with the response of the reference, W; as recorded if `matched` is not given."""
        return self.device if self.matched is None else self.matched.device

    def scaled(self, *, reference: float = 1.0, device: float = 1.0) -> Pairs:
        """Return pairs whose readings, as recorded and matched, are multiplied by a factor.

        Examples
        --------
        >>> from agree import Pairs
        >>> Pairs(reference=[100, 200], device=[101, 203]).scaled(reference=1.01).reference
        array([101., 202.])
        """
        matched = self.matched
        if matched is not None:
            matched = replace(matched, reference=matched.reference * reference, device=matched.device * device)
        return replace(self, reference=self.reference * reference, device=self.device * device, matched=matched)

    def counts(self) -> dict[str, int]:
        """Seconds set aside under each reason; every reason is listed."""
        return {reason: int(self.has_reason(reason).sum()) for reason in REASONS}

    def events(self) -> tuple[Event, ...]:
        """Return the runs of seconds set aside, in order of time."""
        codes = self._codes  # `reason` makes the names of all seconds each time
        if not codes.size:
            return ()
        change = np.flatnonzero(np.r_[True, codes[1:] != codes[:-1]])
        length = np.diff(np.r_[change, codes.size])
        return tuple(Event(NAMES[codes[i]], float(self.time[i]), int(k))
                     for i, k in zip(change, length, strict=True) if codes[i] != USED)

    def _spans(self, found: Sequence[Fault]) -> NDArray[np.bool_]:
        mask = np.zeros(self.time.size, bool)
        for start, item in zip(np.searchsorted(self.time, [item.start_s for item in found]), found, strict=True):
            mask[start:start + item.seconds] = True
        return mask

    def _energy(self) -> float:
        whole = float(self.reference[np.isfinite(self.reference) & np.isfinite(self.device)].sum())
        return whole if whole > 0 else math.nan

    def _energy_shares(self) -> list[tuple[Event, float]]:
        events, whole = self.events(), self._energy()
        energy = np.r_[0.0, np.cumsum(np.nan_to_num(self.reference))]
        return [(event, float(energy[at + event.seconds] - energy[at]) / whole)
                for event, at in zip(events, np.searchsorted(self.time, [one.start_s for one in events]), strict=True)]

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
            inside = self._spans(found)
            used = self.used | (self.has_reason(kind) & both)
            rows.append(FaultRow(
                kind=kind, handling=found[0].handling, events=len(found), seconds=int(inside.sum()),
                energy_share=float(np.nansum(self.reference[inside])) / self._energy(), first_s=tuple(
                    item.detail.get("at_s", item.start_s) for item in found[:FIRST_EVENTS]),
                bias_without=self._bias(used & ~inside), bias_with=self._bias(used)))
        return tuple(rows)

    def _bias(self, mask: NDArray[np.bool_]) -> float:
        x, y = self.matched_reference, self.matched_device
        mask = mask & np.isfinite(x) & np.isfinite(y)
        whole = float(x[mask].sum())
        return 100 * float((y - x)[mask].sum()) / whole if whole > 0 else math.nan

    def to_dict(self) -> dict[str, Any]:
        """Return what was paired and set aside, without the readings themselves."""
        return {
            "session": self.session, "reference": self.reference_name, "device": self.device_name,
            "start": self.start, "sources": json_safe(self.sources), "notes": json_safe(self.notes),
            "alignment": None if self.alignment is None else self.alignment.to_dict(),
            "matched": None if self.matched is None else {
                name: json_safe(getattr(self.matched, name)) for name in MATCHED_TOLD},
            "seconds": {"overlap": int(self.reason.size), "used": int(self.used.sum()),
                        "set_aside": self.counts()},
            "faults": json_safe(self.faults), "fault_table": json_safe(self.fault_table()),
        }
