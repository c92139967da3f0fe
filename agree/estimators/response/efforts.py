"""Best efforts: the best mean power over given durations, of each device and in one window."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.engine import t_quantile, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.estimators.response.bests.effort import BestEfforts, Effort
from agree.estimators.response.bests.effort_windows import (
    Errors,
    Spreading,
    errors,
    longest_run,
    means,
    selection,
    spreading_by_power,
)
from agree.estimators.response.bests.known_to_both import (
    DELAY_ALONE,
    Lack,
    best_in_common,
    lack,
    why_not_split,
    why_unsplit,
)
from agree.estimators.response.unbroken import Traces, of_matched, of_pairs, own_traces

LEAST_SECONDS = 30
LONGEST_S = 86400
TIE = 1e-9  # of the largest reading: sums differ by rounding
METHOD = "t, windows of similar power (serial)"


def best_efforts(
    pairs: Pairs,
    *,
    durations_s: Sequence[int] = (1, 5, 15, 30, 60, 300, 600, 1200, 3600),
    level: float = 0.95,
) -> BestEfforts:
    r"""Best mean power over given durations, of each device from its own readings, and of both in one window.

    Use it to see how a rider's bests would change with the other device. Not to judge a device: bests are a few
    seconds out of many, chosen because they are high. Where one device averages longer than the other, short bests
    differ by that: ``averaging_percent`` holds it, ``scale_percent`` the rest.

    Parameters
    ----------
    pairs : Pairs
        One recording. A window of a trace is a run of consecutive seconds in which it has a reading as recorded that is
        not a fault of its own; coasting is 0 W, and readings at its ceiling count. What the other device does breaks no
        window of this one.
    durations_s : sequence of int, s
        Lengths of windows, 1 to 86400.
    level : float
        Confidence level of each interval, in (0, 1).

    Returns
    -------
    BestEfforts
        ``.efforts``: tuple of Effort(duration_s, reference_w, device_w, difference, same_window, ...).
        ``.unsplit``: why averaging and scale are not told apart, or "".

    Raises
    ------
    InputError
        Something other than `Pairs`, or bad options.
    SampleSizeError
        Fewer than 30 used seconds.

    Warns
    -----
    DriftWarning
        When the slowest component of the errors dominates.

    See Also
    --------
    response_difference : Whether one of the two averages over longer.
    bias_by_band : Where in the range the error lies.

    Notes
    -----
    An interval is for the difference that would be found without random errors; an error of calibration, common to the
    whole recording, is part of that difference. Errors are what a straight line of device on reference leaves at one
    response (``pairs.matched``), so that a device that averages has no errors of hundreds of watts in a sprint. The
    variance V of their mean over a window comes from all windows of that length, as A + B power^2 (weighted least
    squares, A and B at least 0), with 2 (V/se(V))^2 degrees of freedom (Satterthwaite 1946), se(V) by the serial
    engine; with fewer than 16 windows side by side, from the long-run variance by the engine, over the length.

    A faulty or missing second breaks the windows of its own trace alone, so that its best may be another effort. Bests
    are compared over the windows that both know whole (``reference_common_w``, ``device_common_w``), and so is the
    scale, at one response; ``lacks`` names the trace that does not know the other's best.

    The best of means with errors is too high, the more so the larger the errors: ``selection_w``, found by drawing
    errors anew in blocks of 300 s. The data do not show whose errors they are. So the interval of the difference of
    bests is widened by ``selection_w`` on both sides, and that in the reference's best window on its upper side, since
    the reference may be high there by an error of its own. This is approximate, and too wide rather than too narrow.

    References
    ----------
    Satterthwaite FE (1946) Biometrics Bull 2:110; Kuensch HR (1989) Ann Stat 17:1217 (blocks). Both from memory.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, best_efforts
    >>> watts = 200 + 80 * np.sin(np.arange(1200) / 60)
    >>> best = best_efforts(Pairs(reference=watts, device=0.97 * watts), durations_s=(5, 60, 3600))
    >>> [(item.duration_s, round(item.reference_w, 0), item.note) for item in best.efforts]
    [(5, 280.0, ''), (60, 277.0, ''), (3600, nan, 'no unbroken run of 3600 s; the longest is 1200 s')]
    >>> round(best.efforts[0].difference_percent.value, 2)
    -3.0
    """
    if not isinstance(pairs, Pairs):
        raise InputError(f"`pairs` must be `Pairs`; got {type(pairs).__name__}", option="pairs")
    checks.fraction(level, "level")
    durations = _durations(durations_s)
    used = int(pairs.used.sum())
    if used < LEAST_SECONDS:
        raise SampleSizeError(f"at least {LEAST_SECONDS} used seconds are needed; got {used}")
    traces = own_traces(pairs)
    unsplit = why_unsplit(pairs.matched)
    # A match that is a delay alone takes out of the errors how seconds happen to fall, which short bests have.
    matched = of_pairs(pairs) if unsplit == DELAY_ALONE else of_matched(pairs)
    known = np.isfinite(matched.reference) & np.isfinite(matched.device)
    both = np.isfinite(traces.recorded[0]) & np.isfinite(traces.recorded[1])
    longest = max(longest_run(np.isfinite(column)) for column in traces.recorded)
    unit = float(np.abs([matched.reference[known], matched.device[known]]).max())
    traces = traces.over(unit)
    found = errors(matched.reference / unit, matched.device / unit)
    ridden = longest_run(known)
    there = [one for one in durations if one <= longest]
    selected = [one for one in there if one <= ridden]
    raised = dict.fromkeys(there, 0.0) | dict(zip(
        selected, selection(found, matched.reference / unit, selected), strict=True))
    efforts = tuple(
        _effort(pairs, traces, matched.reference / unit, found, one, raised[one], level, unit) if one in raised else
        Effort(duration_s=one, note=f"no unbroken run of {one} s; the longest is {longest} s") for one in durations)
    if unsplit:
        efforts = tuple(replace(item, averaging_percent=math.nan, scale_percent=None) for item in efforts)
    warn_of_drift(*(item.difference for item in efforts if item.difference is not None))
    return BestEfforts(efforts=efforts, level=level, seconds=int(both.sum()), longest_run_s=longest_run(both),
                       unsplit=unsplit)


def _durations(durations: Sequence[int]) -> list[int]:
    try:
        items = list(durations)
    except TypeError:
        items = []
    whole = all(isinstance(one, int | np.integer) and not isinstance(one, bool) and 1 <= one <= LONGEST_S
                for one in items)
    if not items or not whole or len(set(items)) < len(items):
        raise InputError(f"`durations_s` must be different whole numbers of seconds from 1 to {LONGEST_S}, such as "
                         f"(5, 60, 300); got {durations!r}", option="durations_s")
    return sorted(int(one) for one in items)


def _best(every: FloatArray) -> tuple[float, int]:
    """Best of window means, and its first second."""
    if not np.isfinite(every).any():
        return math.nan, 0
    at = int(np.argmax(every >= np.nanmax(every) - TIE))
    return float(every[at]), at


def _lack(pairs: Pairs, traces: Traces, starts: tuple[int, int], best: tuple[float, float], duration: int) -> Lack:
    """What the device lacks in the reference's best window, or else the reference in the device's."""
    for role, column, start, there in zip(("device", "reference"), traces.recorded[::-1], starts, best, strict=True):
        found = Lack() if math.isnan(there) else lack(pairs, role, np.isfinite(column), traces.time, start, duration)
        if found.role:
            return found
    return Lack()


def _effort(pairs: Pairs, traces: Traces, matched: FloatArray, found: Errors, duration: int, raised: float,
            level: float, unit: float) -> Effort:
    """Bests of one duration; readings are in `unit` W."""
    recorded = [means(column, duration) for column in traces.recorded]
    (best, i), (other, j) = map(_best, recorded)
    lacking = _lack(pairs, traces, (i, j), (best, other), duration)
    starts = [math.nan if math.isnan(value) else float(traces.time[at]) for value, at in ((best, i), (other, j))]
    own: dict[str, Any] = {
        "duration_s": duration, "reference_w": unit * best, "device_w": unit * other, "reference_start_s": starts[0],
        "device_start_s": starts[1], **lacking.fields()}
    bests = best_in_common(*recorded)
    one, two = (best.value for best in bests)
    if math.isnan(one):
        roles = [role for role, value in (("reference", best), ("device", other)) if math.isnan(value)]
        where = f"in the {roles[0]}" if roles else "known to both"
        return Effort(**own, note=f"no unbroken run of {duration} s {where}")
    same = float(recorded[1][i])
    far = spreading_by_power(found, matched, duration)
    difference = _raised(_around(two - one, far(max(one, two)), level, drift=found.drift), raised)
    here = _around(same - best, far(best), level, drift=found.drift)
    here = replace(here, high=here.high + raised)
    averaging, scale = math.nan, None
    alike = [means(column, duration) for column in traces.alike]
    ways = best_in_common(*alike)
    first, second = (way.value for way in ways)
    why = why_not_split(bests, ways, np.isfinite(alike[0]) & np.isfinite(alike[1]), traces.capped, duration)
    if min(first, second) > 0 and not why:
        scale = _raised(_around(second - first, far(first), level, drift=found.drift), raised).scaled(100 / first)
        averaging = 100 * (two / one * first / second - 1) if one > 0 else math.nan
    return Effort(
        **own, device_same_w=unit * same, reference_common_w=unit * one, device_common_w=unit * two,
        difference=difference.scaled(unit), difference_percent=difference.scaled(100 / one) if one > 0 else None,
        same_window=here.scaled(unit) if math.isfinite(same) else None,
        same_window_percent=here.scaled(100 / best) if best > 0 and math.isfinite(same) else None,
        selection_w=unit * raised, averaging_percent=averaging, scale_percent=scale, windows_differ=i != j,
        overlap_s=max(duration - abs(i - j), 0), unsplit=why)


def _raised(item: Estimate, by: float) -> Estimate:
    return replace(item, low=item.low - by, high=item.high + by)


def _around(value: float, far: Spreading, level: float, *, drift: bool) -> Estimate:
    """Interval of a difference of window means, by how far errors move them."""
    variance, df = far
    error = math.sqrt(variance)
    half = t_quantile(level, df) * error
    return Estimate(value=value, low=value - half, high=value + half, level=level, method=METHOD, standard_error=error,
                    df=df, drift=drift)
