"""Two recordings of one effort laid over one another on a 1-s grid."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.pairs import Alignment, Pairs
from agree.core.errors import InputError, MatchError
from agree.core.results.note import Note
from agree.core.thresholds import MIN_OVERLAP_S
from agree.faults.set_aside import Setting, all_faults, handling_of, set_aside
from agree.files.source import Source
from agree.pairing import facts
from agree.pairing.clocks import retime
from agree.pairing.clocks.delay import attributed, delay_fact, with_response
from agree.pairing.clocks.held_stops import without_holding
from agree.pairing.corrected_copy import corrected_copies
from agree.pairing.grid import Grid, Overlap, as_read, lay_over, to_grid
from agree.pairing.match import ROLES, match
from agree.pairing.match_types import Match
from agree.pairing.refusal import refuse_drift
from agree.pairing.same_ride.unlike_part import timed
from agree.pairing.sources import read_both
from agree.pairing.untold_stops import Cadences, untold_stops
from agree.recordings.recording import Recording

ABSOLUTE = ("utc", "local")
HELD_ROUNDS = 2  # a drift of the clocks hides for how long readings are held at stops
UNTOLD_ROUNDS = 2  # what is left beside a stop that is taken out may be one of its seconds


def _same_clock(reference: Recording, device: Recording, x: Grid, y: Grid) -> tuple[Grid, Grid, bool]:
    """Give both grids one clock if they are of one kind; else count both from their first stamps."""
    kinds = [reference.clock in ABSOLUTE, device.clock in ABSOLUTE]
    if kinds[0] == kinds[1]:
        return x, y, True
    return (x._replace(first=x.first - float(reference.time[0])), y._replace(first=y.first - float(device.time[0])),
            False)


class _Laid(NamedTuple):
    """A match, the device laid over the reference by it, power of the reference there, its faults, and doubts."""

    made: Match
    over: Overlap
    power: FloatArray
    setting: Setting
    doubts: tuple[Note, ...]


def _laid(made: Match, shift: float, handling: dict[str, str]) -> _Laid:
    """Lay the device over the reference and find their faults, of which stops that the clock left out are none."""
    x, y, fine = made.x, made.y, made.fine
    one_read, two_read = as_read(x), as_read(y)
    over = lay_over(one_read, two_read, fine)
    if over.place.size < MIN_OVERLAP_S:
        raise MatchError(f"the recordings have {over.place.size} s in common at a lag of {fine.lag + shift:.1f} s; at "
                         f"least {MIN_OVERLAP_S} are needed; check the lag, and that both are of the same ride")
    power = one_read[over.place]
    setting = set_aside(power, over.device, handling)
    for _ in range(HELD_ROUNDS if made.channel == "power" and not made.changes else 0):
        if not setting.matched.held_s or (fine := without_holding(x, y, fine, setting.matched)) == made.fine:
            break
        made = made._replace(fine=fine)
        over = lay_over(one_read, two_read, fine)
        power = one_read[over.place]
        setting = set_aside(power, over.device, handling)
    doubts: list[Note] = []
    cadences = Cadences(None if x.cadence is None else x.cadence[over.place],
                        None if y.cadence is None else y.cadence[over.nearest])
    for _ in range(UNTOLD_ROUNDS if made.changes else 0):
        untold = untold_stops(setting.faults, made.changes, int(over.place[0]), over.place.size, cadences)
        if not untold.seconds.size:
            break
        doubts += untold.notes
        power[untold.seconds] = over.device[untold.seconds] = np.nan
        setting = set_aside(power, over.device, handling)
    return _Laid(made, over, power, setting, tuple(doubts))


def pair_recordings(
    reference: Source,
    device: Source | None,
    *,
    max_lag_s: float | None = None,
    lag_s: float | None = None,
    power_columns: tuple[str | None, str | None] = (None, None),
    reference_read: Mapping[str, Any] | None = None,
    device_read: Mapping[str, Any] | None = None,
    session: str = "1",
    faults: str | Mapping[str, str] = "set aside",
) -> Pairs:
    """Lay two recordings of one effort over one another, and set aside the seconds that are faulty.

    The clocks are matched by the fast changes of power: the lag with the strongest correlation among all, then to
    a fraction of a second; a drift of the clocks is taken out if it is certain and more than 0.5 s, and so are steps
    of a clock, as when one recorder paused on its own. A match that is weak, or that has a rival, is refused, unless
    cadence or speed, recorded by both, decides it; a lag that they contradict is refused too.

    Parameters
    ----------
    reference, device : path, bytes, binary file object, Recording, data frame or arrays
        The trusted recording, and the one to be judged. Readings may be uneven in time, but not more than 2 s apart by
        the median. `device` may be None, or the same as `reference`, for two columns of one file: they have one clock,
        and the lag is looked for within 10 s.
    max_lag_s : float, optional
        Largest lag to consider, s; if not given, every lag with enough overlap.
    lag_s : float, optional
        The lag, if it is known: device timestamp minus reference timestamp of one event, s. It is then used as it
        is, even for constant power, and no steps are looked for.
    power_columns : tuple of str, optional
        Names of the power columns in the two files.
    reference_read, device_read : mapping, optional
        Further keyword arguments of `read_recording` for each of the two.
    session : str
        Label of the session.
    faults : str or mapping, optional
        What to do with the seconds of faults: "set aside" (not used), "report" (used, and listed) or "keep" (used, and
        not looked for); or a mapping of kinds to one of these. Kinds: "late_start", "early_end", "saturation", "held",
        "dropout", "spike", "partial", "auto_zero_step", "step", "warm_up_drift". The last three affect much of a ride,
        and are reported unless a mapping names them; then a step takes the shorter side with it. Kinds that are not
        named are handled as by default.

    Returns
    -------
    Pairs
        One pair for each second from the first to the last in which both recordings run.

    Raises
    ------
    MatchError
        No overlap, a weak or ambiguous match, or constant power.
    SampleSizeError
        Fewer than 60 readings or seconds in common.
    InputError
        Readings too far apart, stamps over more than 7 days, a wrong lag, an unknown kind of fault, or no second left
        to compare.

    See Also
    --------
    read_recording : Read one recording.
    look : See what a file holds.
    check_claim : Judge a claim on the pairs.

    References
    ----------
    "How recordings are paired" in the documentation.
    "Which seconds are faulty" in the documentation.

    Examples
    --------
    >>> import numpy as np
    >>> import pandas as pd
    >>> from agree import pair_recordings
    >>> power = 200 + np.cumsum(np.random.default_rng(1).integers(-9, 10, 900))
    >>> ride = pd.DataFrame({"time_s": np.arange(900), "power_W": power})
    >>> other = pd.DataFrame({"time_s": np.arange(900) + 12, "power_W": np.round(0.97 * power)})
    >>> pairs = pair_recordings(ride, other)
    >>> pairs.alignment.lag_s, int(pairs.used.sum())
    (12.0, 900)
    """
    if max_lag_s is not None and not (isinstance(max_lag_s, int | float) and max_lag_s >= 0):
        raise InputError(f"`max_lag_s` must be a number of seconds, 0 or more; got {max_lag_s!r}", option="max_lag_s")
    if lag_s is not None and not (isinstance(lag_s, int | float) and math.isfinite(lag_s)):
        raise InputError(f"`lag_s` must be a number of seconds; got {lag_s!r}", option="lag_s")
    handling = handling_of(faults)
    one, two, one_clock = read_both(reference, device, power_columns, (reference_read, device_read))
    own_clock = to_grid(one, "reference")
    x, y, same_clock = _same_clock(one, two, own_clock, to_grid(two, "device"))
    shift = y.first - x.first
    absolute = one.clock in ABSOLUTE and two.clock in ABSOLUTE
    made = match(x, y, max_lag_s, lag_s, one_clock, absolute)
    laid = _laid(made, shift, handling)
    made, over, setting, power = laid.made, laid.over, laid.setting, laid.power
    x, y, fine = made.x, made.y, made.fine
    if made.channel == "power" and lag_s is None:
        refuse_drift(fine, absolute)
    if made.channel == "power":
        told, said = with_response(made.witnesses, made.notes, fine.lag + shift, fine.lag_se, setting.matched)
        made = made._replace(witnesses=told, notes=said)
    unusual = None if lag_s is not None else facts.unusual_lag(fine.lag + shift, same_clock, absolute)
    alignment = _alignment(made, over, shift, unusual)
    if absolute and made.channel == "power":
        whole = float(np.median(over.nearest - over.place)) + shift
        alignment = replace(alignment, delay=attributed(whole, fine.lag_se, setting.matched, made.witnesses))
    identical = bool(np.array_equal(power, over.device, equal_nan=True))
    notes: list[Note | str] = [] if same_clock else [facts.other_clocks(one, two)]
    notes += [*facts.match_facts(alignment, fine, identical, absolute), *([unusual] if unusual else []),
              *delay_fact(alignment.delay), *setting.notes, *laid.doubts]
    time, cadence = (over.place - over.place[0]).astype(float), _either(x.cadence, over.place, y.cadence, over.nearest)
    reason, found, words = all_faults(setting, power, over.device, time, cadence, handling)
    pairs = Pairs(
        reference=power, device=over.device, time=time, reason=reason, faults=found, cadence=cadence,
        matched=setting.matched,
        temperature=_either(y.temperature, over.nearest, x.temperature, over.place),
        speed=_either(x.speed, over.place, y.speed, over.nearest), session=session,
        alignment=alignment, reference_name=one.name, device_name=two.name,
        reference_column=one.columns.get("power", ""), device_column=two.columns.get("power", ""),
        sources=(one.identity, two.identity), start=_start(one, own_clock, int(over.place[0])),
        ridden_s=float((own_clock.power > 0).sum()),
        stamps=None if one.clock in ABSOLUTE else (float(one.time[0]), float(one.time[-1])),
        notes=(*corrected_copies((reference, device), (one, two)),
               *(timed(note, int(over.place[0])) for note in made.notes), *notes, *words, *(
            replace(note, role=role) if isinstance(note, Note) else f"{role}: {note}"
            for role, recording, grid in zip(ROLES, (one, two), (x, y), strict=True)
            for note in (grid.note, *recording.notes) if note)))
    if not pairs.used.any():
        counts = ", ".join(f"{name} {count}" for name, count in pairs.counts().items() if count)
        raise InputError(f"no second is left to compare: of {over.place.size} s in common all were set aside "
                         f"({counts}); check that both devices were measuring")
    return pairs


def _alignment(made: Match, over: Overlap, shift: float, unusual: Note | None) -> Alignment:
    fine, found = made.fine, made.found
    told, before = retime.steps(made.changes, fine, int(over.place[0]), over.place.size)
    return Alignment(
        lag_s=round(fine.lag + before + shift, 6), lag_se_s=fine.lag_se, drift_ppm=1e6 * fine.drift,
        drift_se_ppm=1e6 * fine.drift_se,
        correlation=found[0].correlation if found else math.nan,
        runner_up=found[1].correlation if len(found) > 1 else math.nan,
        note="" if unusual is None else unusual.kind.removeprefix("pair_"), channel=made.channel,
        witnesses=made.witnesses, steps=told)


def _either(first: FloatArray | None, at: NDArray[np.int64], second: FloatArray | None,
            or_at: NDArray[np.int64]) -> FloatArray | None:
    """Readings of the one channel, or else of the other."""
    if first is not None:
        return first[at]
    return None if second is None else second[or_at]


def _start(recording: Recording, grid: Grid, place: int) -> str:
    """Return the clock time of a second of the reference, if its clock is absolute."""
    if recording.clock not in ABSOLUTE or not recording.start:
        return ""
    seconds = place + (grid.first - float(recording.time[0]))
    begin = datetime.fromisoformat(recording.start) + timedelta(seconds=round(seconds, 3))
    return begin.isoformat().replace("+00:00", "Z")
