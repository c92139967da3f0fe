"""`check_quantity`: a claim on recordings of any quantity, as recorded and with the delay taken out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from agree.core import checks
from agree.core.errors import InputError
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.core.results.result import Result, json_safe
from agree.core.shared_docs import made_by
from agree.quantities.answer import (
    ASKED,
    Asked,
    QuantityAnswer,
    Question,
    answer_of,
    same_at_any_delay,
    verdict_of,
)
from agree.quantities.delays.delay import Delay, Owner, find_delay
from agree.quantities.delays.lag_curve import SEARCHED_S
from agree.quantities.distinct import refuse_same_readings
from agree.quantities.doubts.what_next import how_much_used, what_next
from agree.quantities.faults import TraceFault, find_trace_faults
from agree.quantities.overlay import LEAST_COMMON_S, Overlay
from agree.quantities.uncertainty import known_of_quantity
from agree.verdict.claim import Claim
from agree.verdict.rule import OPEN

OWNERS = ("device", "clock", "unknown")


@made_by("check_quantity", also=("ClaimCheck", "TrialsCheck"))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class QuantityCheck(Result):
    """The answer to a claim about a quantity, as recorded and with the delay taken out.

    Attributes
    ----------
    verdict : str
        As recorded where the delay is the device's, with the delay taken out where it is the clocks'; where that is not
        known, "not settled" unless both agree.
    as_recorded, taken_out : QuantityAnswer
        Both answers; the second is None where no lag can be found.
    delays : tuple of Delay
        One for each session.
    faults : tuple of tuple of TraceFault
        Faults of the device in each session; where the device gave a reading they are in all figures, else in none.
    claim, meaning, quantity, window_s, level
        As passed in.
    overlays : tuple of Overlay
        The recordings.
    inputs : tuple of dict
        Name, bytes and SHA-256 of each file.
    notes : tuple of Note
        What a reader must know; those of severity "answer" say why no "holds" is given.
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


def check_quantity(
    overlays: Overlay | Sequence[Overlay],
    claim: str | Claim,
    *,
    delay: Owner | None = None,
    lag_s: float | None = None,
    meaning: Asked = "average",
    window_s: int = 30,
    level: float = 0.95,
    reference_uncertainty: str | float | None = None,
    inputs: Sequence[dict[str, Any]] = (),
) -> QuantityCheck:
    """Decide whether a claim about a quantity holds, as the device was worn and with its delay taken out.

    Use it for recordings of heart rate, speed, temperature and similar quantities; for power use `check_claim`.

    Parameters
    ----------
    overlays : Overlay or sequence of Overlay
        One for each session; see `overlay_recordings`.
    claim : str or Claim
        "5 bpm", "2 %", "10 % or 5 bpm", "0.3 °C".
    delay : {"device", "clock", "unknown"}, optional
        What a delay belongs to; found from the stamps if not given.
    lag_s : float, optional
        The lag, if it is known: device timestamp minus reference timestamp of one event, s. It is taken for the clocks'
        unless `delay` says otherwise.
    meaning : {"average", "readings", "next_session", "mean_absolute"}
        The meaning the verdict is given in, chosen before the data are seen.
    window_s : int
        Averaging time of a reading, s, 1 to 600.
    level : float
        Confidence level, in (0, 1).
    reference_uncertainty : str or float, optional
        In the quantity's unit or per cent: "±1 bpm", "1 % k=2"; a number alone is per cent.
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
    overlay_recordings : Lay two recordings over one another for it.
    check_claim : The same for power.
    check_trials : The same for a table of trials.

    References
    ----------
    JCGM 106:2012 for the rule; Clopper CJ, Pearson ES (1934) Biometrika 26:404 for shares (from memory).

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
        raise InputError("`overlays` must be Overlay or a list of Overlay, one for each session", option="overlays")
    checks.choice(meaning, "meaning", ASKED)
    checks.fraction(level, "level")
    if delay is not None:
        checks.choice(delay, "delay", OWNERS)
    checks.window_seconds(window_s)
    measured = items[0].quantity
    own = (claim if isinstance(claim, Claim) else Claim.parse(claim)).for_quantity(measured)
    if lag_s is not None and not (isinstance(lag_s, int | float) and math.isfinite(lag_s)):
        raise InputError(f"`lag_s` must be a number of seconds; got {lag_s!r}", option="lag_s")
    refuse_same_readings(items)
    faults = tuple(find_trace_faults(item) for item in items)
    delays = tuple(find_delay(_without(item, found), delay, lag_s) for item, found in zip(items, faults, strict=True))
    asked = Question(own, meaning, window_s, level, known_of_quantity(reference_uncertainty, measured))
    first = answer_of(items, [0.0] * len(items), asked)
    second: QuantityAnswer | None = None
    if not any(math.isnan(one.lag_s) for one in delays):
        second = answer_of(items, [one.lag_s for one in delays], asked)
    owners = {one.belongs_to for one in delays}
    owner: Owner = owners.pop() if len(owners) == 1 else "unknown"
    absolute = all(item.absolute for item in items)
    any_delay = (second is None and owner == "unknown" and not absolute and first.verdict != OPEN
                 and same_at_any_delay(items, first, asked))
    withheld = _withheld(owner, first, second)
    rests_on = second if owner == "clock" and second is not None else first
    return QuantityCheck(
        claim=own, meaning=meaning, verdict=verdict_of(owner, first, second, absolute=absolute, any_delay=any_delay),
        quantity=measured, as_recorded=first, taken_out=second, delays=delays,
        faults=faults, window_s=window_s, level=float(level), overlays=items, inputs=tuple(inputs),
        notes=withheld + what_next(withheld) + tuple(how_much_used(items, rests_on.seconds)) + tuple(_notes(
            items, delays, any_delay=any_delay, meaning=meaning, drifts=first.limits is not None and (
                first.limits.lower.drift or first.limits.upper.drift))))


def _withheld(owner: Owner, first: QuantityAnswer, second: QuantityAnswer | None) -> tuple[Note, ...]:
    """Return why no "holds" is given, of the answers that the verdict rests on; each kind once, but for both ends."""
    if second is None or owner == "device":
        return first.withheld
    if owner == "clock":
        return second.withheld
    told = {note.kind for note in first.withheld}
    return first.withheld + tuple(note for note in second.withheld if note.kind not in told)


def _without(overlay: Overlay, faults: tuple[TraceFault, ...]) -> Overlay:
    """Return the recordings without the device's faulty seconds, which tell nothing of its delay."""
    device = overlay.device.copy()
    for fault in faults:
        device[fault.start_s:fault.start_s + fault.seconds] = np.nan
    return replace(overlay, device=device) if np.isfinite(device).sum() >= LEAST_COMMON_S else overlay


def _notes(overlays: tuple[Overlay, ...], delays: tuple[Delay, ...], *, any_delay: bool, meaning: Asked,
           drifts: bool) -> list[Note]:
    found = [note for item in overlays for note in item.notes]
    if any(delay.averaged_s > 1 for delay in delays):
        found.append(Note(kind="quantity_averages", severity="trust", role="device",
                          values={"seconds": max(delay.averaged_s for delay in delays)}))
    if any(math.isnan(delay.lag_s) for delay in delays):
        found.append(Note(kind="quantity_any_delay", severity="trust", values={"seconds": SEARCHED_S}) if any_delay
                     else Note(kind="quantity_no_lag", severity="trust"))
    if meaning == "mean_absolute":
        found.append(Note(kind="trials_mean_absolute", severity="trust"))
    if drifts:
        found.append(Note(kind="quantity_drifts", severity="trust"))
    rule = overlays[0].quantity.fault_rules
    if "cadence_lock" in rule and all(overlay.shadow is None for overlay in overlays):
        found.append(Note(kind="quantity_no_shadow", values={"channel": overlays[0].quantity.shadow}))
    return found
