"""`check_quantity`: a claim on recordings of any quantity, as recorded and with the delay taken out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from agree.core import checks
from agree.core.choices import Sampling
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.interval.engine import spread
from agree.core.interval.estimate import Estimate
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.core.results.result import Result, json_safe
from agree.core.thresholds import TRIALS_HOLDS_MARGIN
from agree.estimators.limits.agreement import LimitsOfAgreement, limits_of_agreement
from agree.estimators.trials.shares_within import normal_share
from agree.estimators.trials.unweighted import SubjectErrors
from agree.quantities.delay import Delay, Owner, find_delay, taken_out
from agree.quantities.faults import TraceFault, find_trace_faults
from agree.quantities.overlay import LEAST_COMMON_S, Overlay
from agree.verdict import meanings
from agree.verdict.claim import Claim
from agree.verdict.columns import LEAST_WINDOWS, Windows, table
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import HOLDS, OPEN

ASKED = ("average", "readings", "next_session")
Asked = Literal["average", "readings", "next_session"]
OWNERS = ("device", "clock", "unknown")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class QuantityAnswer(Result):
    """The answers with the recordings laid over each other in one way.

    Attributes
    ----------
    verdict : str
        In the meaning that was asked.
    readings : tuple of Reading
        Mean error, share of window means, next session.
    bias : Estimate
        Mean error, in per cent or the quantity's unit as the claim is.
    limits : LimitsOfAgreement or None
        Of window means, in the quantity's unit.
    seconds : int
        Seconds used.
    """

    verdict: str
    readings: tuple[meanings.Reading, ...]
    bias: Estimate
    limits: LimitsOfAgreement | None
    seconds: int

    def of(self, meaning: str) -> meanings.Reading:
        """Return one of the meanings."""
        return next(item for item in self.readings if item.meaning == meaning)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class QuantityCheck(Result):
    """The answer to a claim about a quantity, as recorded and with the delay taken out.

    Attributes
    ----------
    verdict : str
        As recorded where the delay is the device's, with the delay taken out where it is the clocks'; where that is not
        known, "not settled" unless both agree.
    as_recorded, taken_out : QuantityAnswer
        Both answers; the second is None where no lag can be told.
    delays : tuple of Delay
        One for each session.
    faults : tuple of tuple of TraceFault
        Faults of the device in each session; they are in all figures.
    claim, meaning, quantity, window_s, level
        As asked.
    overlays : tuple of Overlay
        The recordings.
    inputs : tuple of dict
        Name, bytes and SHA-256 of each file.
    notes : tuple of Note
        What a reader must know.
    """

    claim: Claim
    meaning: Asked
    verdict: str
    quantity: Quantity
    as_recorded: QuantityAnswer
    taken_out: QuantityAnswer | None
    delays: tuple[Delay, ...]
    faults: tuple[tuple[TraceFault, ...], ...]
    window_s: int
    level: float
    overlays: tuple[Overlay, ...]
    inputs: tuple[dict[str, Any], ...] = ()
    notes: tuple[Note, ...] = ()

    @property
    def belongs_to(self) -> Owner:
        """Whose the delay is, over all sessions: unknown unless all agree."""
        owners = {delay.belongs_to for delay in self.delays}
        return owners.pop() if len(owners) == 1 else "unknown"

    @property
    def lag_s(self) -> float:
        """Mean lag of the sessions, s; NaN if none can be told."""
        lags = [delay.lag_s for delay in self.delays if not math.isnan(delay.lag_s)]
        return float(np.mean(lags)) if lags else math.nan

    @property
    def decides(self) -> QuantityAnswer:
        """The answer that the figures of a report are of."""
        return self.taken_out if self.belongs_to == "clock" and self.taken_out is not None else self.as_recorded

    def to_dict(self) -> dict[str, Any]:
        """Return JSON types, schema version 2."""
        from agree.quantities.schema_2 import as_schema_2

        result: dict[str, Any] = json_safe(as_schema_2(self))
        return result


def errors_are_small(windows: Windows, claim: Claim, sampling: Sampling, level: float) -> bool:
    """Whether all window means are within, and so far that a share below 95 % can be ruled out without counting.

    The share of normal errors must hold within the limit over 1.8, as for trials, from the number of windows that they
    are worth by the spread of their mean; that makes up for errors that are skewed or have long tails.
    """
    error = (windows.device - windows.reference) / np.maximum(claim.limit(windows.reference), 1e-9)
    if error.size < LEAST_WINDOWS or np.abs(error).max() > 1:
        return False
    se = spread(error - error.mean(), sampling, windows.session, cautious=True).standard_error
    variance = float(error.var(ddof=1))
    number = int(min(max(variance / se**2 if se > 0 else error.size, 2), error.size))
    shape = np.linspace(-1, 1, number)  # of the wanted mean and variance
    means = float(error.mean()) + shape * math.sqrt(variance) / float(shape.std(ddof=1))
    found = SubjectErrors(means=means, of_means=variance, trial_parts=(), n=number)
    return normal_share(found, 1 / TRIALS_HOLDS_MARGIN, level).low >= meanings.SHARE


def _answer(pairs: list[Pairs], claim: Claim, meaning: Asked, window_s: int, level: float,
            known: ReferenceUncertainty) -> QuantityAnswer:
    data = table(pairs if len(pairs) > 1 else pairs[0], window_s)
    mean = meanings.average(data, claim, known, level)
    windows = data.windows(window_s)
    single = meanings.readings(data, claim, known, level, window_s)
    if single.verdict == OPEN and errors_are_small(windows, claim, data.sampling, level):
        single = replace(single, verdict=HOLDS)
    found = (mean, single, meanings.next_session(data, claim, mean, level))
    limits: LimitsOfAgreement | None = None
    with suppress(InputError):  # too few windows: said as absent
        limits = limits_of_agreement(windows.reference, windows.device, level=level, sampling=data.sampling,
                                     session=windows.session)
    bias = meanings.mean_error(data, claim.unit, level)
    return QuantityAnswer(verdict=next(item.verdict for item in found if item.meaning == meaning), readings=found,
                          bias=bias, limits=limits, seconds=int(data.reference.size))


def _verdict(owner: Owner, first: QuantityAnswer, second: QuantityAnswer | None, *, absolute: bool) -> str:
    if owner == "clock" and second is not None:
        return second.verdict
    if owner == "device":
        return first.verdict
    if second is None:
        return first.verdict if absolute else OPEN
    return first.verdict if first.verdict == second.verdict else OPEN


def check_quantity(
    overlays: Overlay | Sequence[Overlay],
    claim: str | Claim,
    *,
    delay: Owner | None = None,
    meaning: Asked = "average",
    window_s: int = 30,
    level: float = 0.95,
    reference_uncertainty: str | float | None = None,
    inputs: Sequence[dict[str, Any]] = (),
) -> QuantityCheck:
    """Decide whether a claim about a quantity holds, as the device was worn and with its delay taken out.

    Use it for recordings of heart rate, speed, temperature and the like; for power use `check_claim`.

    Parameters
    ----------
    overlays : Overlay or sequence of Overlay
        One for each session; see `overlay_recordings`.
    claim : str or Claim
        "5 bpm", "2 %", "10 % or 5 bpm", "0.3 °C".
    delay : {"device", "clock", "unknown"}, optional
        Whose a delay is; found from the stamps if not given.
    meaning : {"average", "readings", "next_session"}
        The meaning the verdict is given in, chosen before the data are seen.
    window_s : int
        Averaging time of a reading, s, 1 to 600.
    level : float
        Confidence level, in (0, 1).
    reference_uncertainty : str or float, optional
        Per cent only: "±1 %", "1 % k=2".
    inputs : sequence of dict
        Name, bytes and SHA-256 of the files, for the JSON.

    Returns
    -------
    QuantityCheck
        ``.verdict``, ``.as_recorded``, ``.taken_out``, ``.delays``, ``.faults``.

    Raises
    ------
    InputError
        A claim that does not fit the quantity, or other options.

    See Also
    --------
    overlay_recordings, check_claim, check_trials

    Examples
    --------
    >>> import numpy as np
    >>> from agree import check_quantity
    >>> from agree.core.quantities.known import quantity
    >>> from agree.quantities.overlay import lay_over
    >>> t = np.arange(1800.0)
    >>> strap = 130 + 25 * np.sin(t / 40)
    >>> late = np.interp(t - 12, t, strap)
    >>> seen = lay_over((t, strap), (t, late), quantity("heart rate"), absolute=True)
    >>> check = check_quantity(seen, "5 bpm", meaning="readings")
    >>> check.verdict, check.taken_out.verdict, round(check.lag_s)
    ('does not hold', 'holds', 12)
    """
    items = (overlays,) if isinstance(overlays, Overlay) else tuple(overlays)
    if not items or not all(isinstance(item, Overlay) for item in items):
        raise InputError("`overlays` must be Overlay or a list of Overlay, one for each session")
    checks.choice(meaning, "meaning", ASKED)
    checks.fraction(level, "level")
    if delay is not None:
        checks.choice(delay, "delay", OWNERS)
    if isinstance(window_s, bool) or not isinstance(window_s, int) or not 1 <= window_s <= 600:
        raise InputError(f"`window_s` must be a whole number of seconds from 1 to 600; got {window_s!r}")
    measured = items[0].quantity
    own = (claim if isinstance(claim, Claim) else Claim.parse(claim)).for_quantity(measured)
    known = ReferenceUncertainty.parse(reference_uncertainty)
    faults = tuple(find_trace_faults(item) for item in items)
    delays = tuple(find_delay(_without(item, found), delay) for item, found in zip(items, faults, strict=True))
    asked = (own, meaning, window_s, level, known)
    first = _answer([_pairs(item, item.device) for item in items], *asked)
    second: QuantityAnswer | None = None
    if not any(math.isnan(one.lag_s) for one in delays):
        second = _answer([_pairs(item, taken_out(item, one.lag_s)) for item, one in zip(items, delays, strict=True)],
                         *asked)
    owners = {one.belongs_to for one in delays}
    owner: Owner = owners.pop() if len(owners) == 1 else "unknown"
    return QuantityCheck(
        claim=own, meaning=meaning, verdict=_verdict(owner, first, second, absolute=all(i.absolute for i in items)),
        quantity=measured, as_recorded=first, taken_out=second, delays=delays,
        faults=faults, window_s=window_s, level=float(level), overlays=items,
        inputs=tuple(inputs), notes=tuple(_notes(items, delays)))


def _without(overlay: Overlay, faults: tuple[TraceFault, ...]) -> Overlay:
    """Return the recordings without the device's faulty seconds, which tell nothing of its delay."""
    device = overlay.device.copy()
    for fault in faults:
        device[fault.start_s:fault.start_s + fault.seconds] = np.nan
    return replace(overlay, device=device) if np.isfinite(device).sum() >= LEAST_COMMON_S else overlay


def _pairs(overlay: Overlay, device: checks.FloatArray) -> Pairs:
    return Pairs(reference=overlay.reference, device=device, session=overlay.session,
                 reference_name=overlay.reference_name, device_name=overlay.device_name)


def _notes(overlays: tuple[Overlay, ...], delays: tuple[Delay, ...]) -> list[Note]:
    found = []
    if any(delay.averaged_s > 1 for delay in delays):
        found.append(Note(kind="quantity_averages", severity="trust", role="device",
                          values={"seconds": max(delay.averaged_s for delay in delays)}))
    if any(math.isnan(delay.lag_s) for delay in delays):
        found.append(Note(kind="quantity_no_lag", severity="trust"))
    rule = overlays[0].quantity.fault_rules
    if "cadence_lock" in rule and all(overlay.shadow is None for overlay in overlays):
        found.append(Note(kind="quantity_no_shadow", values={"channel": overlays[0].quantity.shadow}))
    return found
