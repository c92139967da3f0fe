"""Best efforts: the best mean power over given durations, of each device and in one window."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.engine import t_quantile, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by
from agree.estimators.response.effort_windows import (
    Errors,
    Spreading,
    errors,
    longest_run,
    means,
    selection,
    spreading_by_power,
)
from agree.estimators.response.unbroken import Traces, of_matched, own_traces

LEAST_SECONDS = 30
LONGEST_S = 86400
TIE = 1e-9  # of the largest reading: sums differ by rounding
METHOD = "t, windows of similar power (serial)"


@made_by("best_efforts", also=("BestEfforts",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Effort(Result):
    """Best mean power over one duration.

    Attributes
    ----------
    duration_s : int
        Length of the window, s.
    reference_w, device_w : float
        Best mean power of each, W; NaN if there is no such window.
    reference_start_s, device_start_s : float
        Time of the first second of each best window; the first of equals.
    device_same_w : float
        Mean power of the device in the reference's best window, W.
    difference, difference_percent : Estimate or None
        Device's best minus reference's best, W, and in per cent of the reference's.
    same_window, same_window_percent : Estimate or None
        Device minus reference in the reference's best window, W and per cent.
    selection_w : float
        By how much errors as large as those seen raise the best of means on average, W.
    averaging_percent : float
        What the difference in response does to the best: the sharper trace smoothed as the other one is, against
        itself, in per cent; negative if the device is the smoother one.
    scale_percent : Estimate or None
        Device's best against the reference's at a matched response, per cent: what is left when averaging is taken out.
    windows_differ : bool
        The two best windows are not the same seconds.
    overlap_s : int
        Seconds the two best windows have in common; `duration_s` if they are one.
    note : str
        Why there is no such window, or "".

    Examples
    --------
    >>> from agree import Pairs, best_efforts
    >>> watts = [200.0] * 20 + [300.0] * 10 + [200.0] * 20
    >>> effort = best_efforts(Pairs(reference=watts, device=watts), durations_s=[10]).efforts[0]
    >>> effort.reference_w, effort.reference_start_s, effort.overlap_s
    (300.0, 20.0, 10)
    """

    duration_s: int
    reference_w: float = math.nan
    reference_start_s: float = math.nan
    device_w: float = math.nan
    device_start_s: float = math.nan
    device_same_w: float = math.nan
    difference: Estimate | None = None
    difference_percent: Estimate | None = None
    same_window: Estimate | None = None
    same_window_percent: Estimate | None = None
    selection_w: float = math.nan
    averaging_percent: float = math.nan
    scale_percent: Estimate | None = None
    windows_differ: bool = False
    overlap_s: int = 0
    note: str = ""


@made_by("best_efforts", also=("Effort",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BestEfforts(Result):
    """Best efforts over several durations.

    Attributes
    ----------
    efforts : tuple of Effort
        One for each duration, in increasing order.
    level : float
        Confidence level of each interval by itself, not of all together.
    seconds : int
        Seconds known in both, coasting included.
    longest_run_s : int
        Longest run without a break in which each trace is known, the shorter of the two.

    Examples
    --------
    >>> from agree import Pairs, best_efforts
    >>> watts = [200.0] * 20 + [300.0] * 10 + [200.0] * 20
    >>> best_efforts(Pairs(reference=watts, device=watts), durations_s=[10]).longest_run_s
    50
    """

    efforts: tuple[Effort, ...]
    level: float
    seconds: int
    longest_run_s: int


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
    matched = of_matched(pairs)
    known = np.isfinite(matched.reference) & np.isfinite(matched.device)
    own = [longest_run(np.isfinite(column)) for column in traces.recorded]
    longest = max(own)
    unit = float(np.abs([matched.reference[known], matched.device[known]]).max())
    traces = traces.over(unit)
    found = errors(matched.reference / unit, matched.device / unit)
    ridden = longest_run(known)
    there = [one for one in durations if one <= longest]
    selected = [one for one in there if one <= ridden]
    raised = dict.fromkeys(there, 0.0) | dict(zip(
        selected, selection(found, matched.reference / unit, selected), strict=True))
    efforts = tuple(
        _effort(traces, matched.reference / unit, found, one, raised[one], level, unit) if one in raised else
        Effort(duration_s=one, note=f"no unbroken run of {one} s; the longest is {longest} s") for one in durations)
    warn_of_drift(*(item.difference for item in efforts if item.difference is not None))
    return BestEfforts(efforts=efforts, level=level, seconds=int(known.sum()), longest_run_s=min(own))


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


def _best(values: FloatArray, duration: int) -> tuple[float, int, FloatArray]:
    """Best mean, its first second, and all means."""
    every = means(values, duration)
    if not np.isfinite(every).any():
        return math.nan, 0, every
    at = int(np.argmax(every >= np.nanmax(every) - TIE))
    return float(every[at]), at, every


def _effort(traces: Traces, matched: FloatArray, found: Errors, duration: int, raised: float, level: float,
            unit: float) -> Effort:
    """Bests of one duration; readings are in `unit` W."""
    (best, i, _), (other, j, device) = (_best(column, duration) for column in traces.recorded)
    (even_best, _, _), (even_other, _, _) = (_best(column, duration) for column in traces.alike)
    if math.isnan(best) or math.isnan(other):
        role = "reference" if math.isnan(best) else "device"
        starts = [math.nan if math.isnan(value) else float(traces.time[at]) for value, at in ((best, i), (other, j))]
        return Effort(
            duration_s=duration, reference_w=unit * best, device_w=unit * other, reference_start_s=starts[0],
            device_start_s=starts[1], note=f"no unbroken run of {duration} s in the {role}")
    same = float(device[i])
    far = spreading_by_power(found, matched, duration)
    own = _around(other - best, far(max(best, other)), level, drift=found.drift)
    here = _around(same - best, far(best), level, drift=found.drift)
    own = replace(own, low=own.low - raised, high=own.high + raised)
    here = replace(here, high=here.high + raised)
    part = 100 / best if best > 0 else math.nan
    scale = None
    averaging = math.nan
    if even_best > 0 and math.isfinite(even_other):
        scale = _around(even_other - even_best, far(even_best), level, drift=found.drift)
        scale = replace(scale, low=scale.low - raised, high=scale.high + raised).scaled(100 / even_best)
        averaging = 100 * (other / best * even_best / even_other - 1) if best > 0 and even_other > 0 else math.nan
    return Effort(
        duration_s=duration, reference_w=unit * best, reference_start_s=float(traces.time[i]), device_w=unit * other,
        device_start_s=float(traces.time[j]), device_same_w=unit * same, difference=own.scaled(unit),
        difference_percent=own.scaled(part) if best > 0 else None,
        same_window=here.scaled(unit) if math.isfinite(same) else None,
        same_window_percent=here.scaled(part) if best > 0 and math.isfinite(same) else None,
        selection_w=unit * raised, averaging_percent=averaging, scale_percent=scale, windows_differ=i != j,
        overlap_s=max(duration - abs(i - j), 0))


def _around(value: float, far: Spreading, level: float, *, drift: bool) -> Estimate:
    """Interval of a difference of window means, by how far errors move them."""
    variance, df = far
    error = math.sqrt(variance)
    half = t_quantile(level, df) * error
    return Estimate(value=value, low=value - half, high=value + half, level=level, method=METHOD, standard_error=error,
                    df=df, drift=drift)
