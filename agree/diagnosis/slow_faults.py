"""Steps and warm-ups of a pair as `agree.faults.slow.search` found them: their courses in time, and their findings."""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.answered_pairs import answered_columns
from agree.core.data.fault import SLOW
from agree.core.data.pairs import Pairs
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.faults.slow.coefficient import BAND
from agree.faults.slow.search import find_slow
from agree.faults.slow.warm_up import course as warm_course


class SlowFault(NamedTuple):
    """A slow fault that is not set aside: its size in the unit of its course, and the figures of the detector."""

    cause: Literal["step", "warm_up"]
    size: Estimate
    unit: Literal["W", "N m", "%"]
    detail: dict[str, float]
    rested: bool


def slow_faults(pairs: Pairs) -> tuple[SlowFault, ...]:
    """Slow faults that the pairing found and left in; of pairs that no pairing made they are looked for here."""
    if pairs.alignment is None and not any(fault.kind in SLOW for fault in pairs.faults):
        found = [(item.kind, item.detail) for item in
                 find_slow(*answered_columns(pairs), pairs.time, pairs.used, pairs.cadence, SLOW)]
    else:
        found = [(fault.kind, dict(fault.detail)) for fault in pairs.faults
                 if fault.kind in SLOW and fault.handling == "report" and fault.detail]
    return tuple(_slow(kind, detail) for kind, detail in found)


def _slow(kind: str, detail: dict[str, float]) -> SlowFault:
    if kind == "warm_up_drift":
        unit: Literal["W", "N m", "%"] = "%" if detail["of_power"] else "W"
        name = "size_percent" if detail["of_power"] else "size_W"
        error = "se_percent" if detail["of_power"] else "se_W"
    else:
        unit = "N m" if "step_Nm" in detail else "%" if "step_percent" in detail else "W"
        name, error = {"N m": ("step_Nm", "se_Nm"), "%": ("step_percent", "se_percent"), "W": ("step_W", "se_W")}[unit]
    value, se = detail[name], detail[error]
    # Both courses change slowly: their noise is that of the slowest cosines, of which so many are looked at.
    df = float(BAND + 1)
    half = t_quantile(0.95, df) * se
    size = Estimate(value=value, low=value - half, high=value + half, level=0.95, standard_error=se, df=df,
                    method="t, noise of neighbouring frequencies")
    return SlowFault("warm_up" if kind == "warm_up_drift" else "step", size, unit, detail, kind == "auto_zero_step")


def courses(fault: SlowFault, time: FloatArray, power: FloatArray, turning: FloatArray) -> tuple[
        FloatArray, FloatArray]:
    """Error, W, that a slow fault of size 1 (W, N m or 1 % of power) makes at each second, and how it may be misfit.

    The misfits (k, n) are the change of a warm-up's course with its end, and the other course; of a step, the same in W
    or in per cent: what the wrong unit leaves of it goes with power after it, as a scale, a drift or a bend does.
    """
    share = power / 100
    if fault.cause == "step":
        after = np.where(time >= fault.detail["at_s"], 1.0, 0.0)
        if fault.unit == "N m":
            turns = np.where(np.isfinite(turning), turning, np.nanmean(turning))
            return after * turns, np.stack([after, after * share])
        return (after * share, after[None]) if fault.unit == "%" else (after, (after * share)[None])
    begins = fault.detail["begins_s"]
    end = fault.detail["settled_s"] - begins
    since, straight = np.maximum(time - begins, 0.0), bool(fault.detail["straight"])
    shape, slope = warm_course(since, end, straight=straight)
    misfits = np.stack([slope * end, warm_course(since, end, straight=not straight)[0]])
    return (shape * share, misfits * share) if fault.unit == "%" else (shape, misfits)
