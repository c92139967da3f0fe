"""Delay and smoothing, as the fit of the response found them in each session."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.matched import Matched
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.interval.engine import COSINES, METHODS, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import DELAY_S, LEAST_LAG_S, LEAST_MEAN_S, NAMED_STRENGTH, SCREEN_DELAY_S, SCREEN_RATIO
from agree.diagnosis.by_second import Delay, moving
from agree.diagnosis.finding import Finding
from agree.diagnosis.windows.frame import WINDOW_S
from agree.diagnosis.windows.least_squares import level_off
from agree.estimators.response.difference import response_difference

MEANS = ("running mean", "mean and lag")


class Answer(NamedTuple):
    """Response of one session: filter, smoother trace, its size, s, what else would fit, and the delay beside it, s.

    `second` is the size of a second stage in a row, s.
    """

    kind: str
    smoother: str
    size: Estimate | None
    alike: tuple[str, ...]
    delay: Estimate | None
    second: float = math.nan


def answers(pairs: Sequence[Pairs], late: Delay | None, ratio: Estimate | None) -> list[Answer]:
    """Difference in response of each session: as the pairing found it; of pairs that no pairing made it is fitted here.

    The pairing takes a constant lag out, so that no delay is left to be named. Other pairs are fitted only if a rough
    delay, or the changes from second to second, give any sign of a difference.
    """
    delayed = late is not None and abs(late.mean.value) >= SCREEN_DELAY_S
    smoothed = ratio is not None and abs(ratio.value) >= -math.log(SCREEN_RATIO)
    found = []
    for item in pairs:
        if item.matched is not None:
            if item.matched.fits:
                found.append(_of_matched(item.matched))
        elif item.alignment is None and (delayed or smoothed):
            try:
                made = response_difference(item)
            except InputError:  # too short, too steady, or no common changes: nothing is known of the response
                continue
            if not made.fits:  # its delay is that of the rest all the same
                found.append(Answer("none", "", None, (), made.delay_s))
                continue
            second = made.time_constant_s if made.width_s else made.second_constant_s
            found.append(Answer(made.kind, made.smoother, made.width_s or made.time_constant_s, made.alike,
                                made.delay_s, math.nan if second is None else second.value))
    return found


def _of_matched(made: Matched) -> Answer:
    size = None
    if made.kind != "none" and math.isfinite(made.size_se_s):
        half = t_quantile(0.95, COSINES) * made.size_se_s
        low, high = np.nan_to_num([made.size_low_s, made.size_high_s], nan=made.size_s)
        size = Estimate(value=made.size_s, low=min(float(low), made.size_s - half),
                        high=max(float(high), made.size_s + half), level=0.95, method=METHODS["serial"],
                        standard_error=made.size_se_s, df=float(COSINES))
    return Answer(made.kind, made.smoother, size, (), None, made.second_s)


def response_findings(found: Sequence[Answer], late: Delay | None, mean_w: float, first: FloatArray) -> list[Finding]:
    """Delay beside the response, and the smoother trace; of several sessions their mean.

    `late` is None where the delay varies: that smears a trace as a filter does. `first` is the reference of the first
    session, W, on a grid of seconds.
    """
    made: list[Finding] = []
    if late is None or not found:
        return made
    delay = _mean([item.delay for item in found])
    if delay is not None and abs(delay.value) >= DELAY_S and level_off(delay) >= NAMED_STRENGTH:
        made.append(Finding(cause="delay", role="device", size=delay, unit="s", strength=level_off(delay),
                            percent=100 * abs(delay.value) * late.per_second / mean_w, values={"sessions": len(found)}))
    named = [item for item in found if item.kind not in ("none", "uneven")]
    if 2 * len(named) <= len(found):
        return made
    kinds = sorted({(item.kind, item.smoother) for item in named})
    kind, smoother = max(kinds, key=lambda one: sum((item.kind, item.smoother) == one for item in named))
    same = [item for item in named if (item.kind, item.smoother) == (kind, smoother)]
    size = _mean([item.size for item in same])
    if (size is None or size.value < (LEAST_MEAN_S if kind in MEANS else LEAST_LAG_S)
            or level_off(size) < NAMED_STRENGTH):
        return made
    second = float(np.mean([item.second for item in same]))
    values: dict[str, float | int | str | bool] = {
        "response": kind, "alike": ", ".join(same[0].alike), "sessions": len(same)}
    made.append(Finding(
        cause="smoothing", role="device" if smoother == "device" else "reference", size=size, unit="s",
        strength=level_off(size), percent=100 * _in_windows(first, size.value, kind, second) / mean_w,
        values=values | ({"second_s": second} if math.isfinite(second) else {})))
    return made


def _in_windows(reference: FloatArray, size: float, kind: str, second: float) -> float:
    """RMS of what a filter of some seconds does to window means, W: what it carries over their edges."""
    wide = math.hypot(size if kind in MEANS else 2 * size, 2 * second if math.isfinite(second) else 0.0)
    width = 2 * round(wide / 2) + 1
    part = moving(reference, width) - reference
    windows = part[:part.size - part.size % WINDOW_S].reshape(-1, WINDOW_S)
    whole = np.isfinite(windows).all(axis=1)
    return math.sqrt(float(np.mean(windows[whole].mean(axis=1) ** 2))) if whole.any() else 0.0


def _mean(items: Sequence[Estimate | None]) -> Estimate | None:
    """Mean of estimates of equal weight, each with an error of its own; what limits allow beside chance is common."""
    known = [item for item in items if item is not None and math.isfinite(item.standard_error)]
    if not known:
        return None
    value = float(np.mean([item.value for item in known]))
    error = math.sqrt(sum(item.standard_error**2 for item in known)) / len(known)
    df = known[0].df if math.isfinite(known[0].df) else math.inf
    half = t_quantile(0.95, df) * error
    chance = np.array([t_quantile(0.95, df) * item.standard_error for item in known])
    below = max(float(np.mean([item.value - item.low for item in known] - chance)), 0.0)
    above = max(float(np.mean([item.high - item.value for item in known] - chance)), 0.0)
    return Estimate(value=value, low=value - half - below, high=value + half + above, level=0.95,
                    method=known[0].method, standard_error=error, df=df)
