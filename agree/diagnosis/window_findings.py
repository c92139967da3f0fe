"""Findings of the set of causes that fits the window means, and of slow faults."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    APART_STRENGTH,
    CADENCE_RANGE,
    HINT_STRENGTH,
    NAMED_STRENGTH,
    POWER_RANGE,
    WARM_MEAN_PERCENT,
    WORTHWHILE_PERCENT,
    ZERO_APART_STRENGTH,
)
from agree.correction.find import Correction
from agree.diagnosis.finding import Cause, Finding, Pattern, Unit
from agree.diagnosis.windows.causes import Fit, Part
from agree.diagnosis.windows.columns import by_cadence
from agree.diagnosis.windows.compared import BY_POWER
from agree.diagnosis.windows.frame import TURN, spread_ratio
from agree.diagnosis.windows.in_time.time_courses import Form
from agree.diagnosis.windows.least_squares import level_off

PER: dict[str, dict[str, Unit]] = {
    "drift": {"%": "% per hour", "W": "W per hour"},
    "temperature_drift": {"%": "% per degree C", "W": "W per degree C"}, "cadence_gain": {"%": "% per rev/min"}}
UNITS: dict[str, Unit] = {"%": "%", "W": "W", "N m": "N m"}
PACES: dict[Form, str] = {"straight": "straight", "root": "slowing", "slowing": "slowing", "slowing soon": "slowing",
                          "quickening": "quickening"}
ZEROS = {"offset", "torque_offset"}
BESIDE: dict[str, Cause] = {"scale": "offset", "offset": "scale", "torque_offset": "scale"}


def parts(fit: Fit, correction: Correction) -> list[Finding]:
    """Findings of the fitting set; of one that bends with power, scale and offset are parts of the bend."""
    found = []
    bends = fit.part("bend") is not None
    for part in fit.parts:
        if bends and part.cause in BY_POWER:
            continue
        same = _rivals(part, fit)
        values: dict[str, float | int | str | bool] = {
            "power_ratio": spread_ratio(fit.frame.power), "cadence_ratio": spread_ratio(fit.frame.turning),
            "cadence_known": fit.frame.turning is not None, **_ends(part, fit)}
        if part.course is not None:
            values |= _course(part, fit)
        if len(fit.parts) == 1:
            values["explained"] = fit.explained
        if part.cause == "scale":
            values["sessions"] = len(fit.gains.bounds)
            values["session_sd_percent"] = correction.session_sd_percent
        share = part.shape == "%"
        found.append(Finding(
            cause=part.cause, size=part.coefficient.scaled(100 if share else 1),
            unit=PER.get(part.cause, UNITS)[part.shape], strength=part.strength, percent=part.percent, rivals=same,
            perhaps=_perhaps(part, fit, same), compared=part.compared, values=values))
    return found


def _course(part: Part, fit: Fit) -> dict[str, float | int | str | bool]:
    """When a warm-up has settled; what a drift changes by in all, with which course, and its pace."""
    course, size = part.course, part.coefficient
    if course is None:
        return {}
    mean, share = float(fit.frame.power.mean()), part.shape == "%"
    if course.cause == "warm_up":
        of_power = size.scaled(100 if share else 100 / mean)
        return {"size_percent": of_power.value, "se_percent": of_power.standard_error, "begins_s": 0.0,
                "settled_s": 3600 * course.reach_h, "of_power": share,
                "straight": course.form == "straight to its end", "mean_W": mean}
    hours = float(fit.frame.hours.max())
    whole = size.scaled(hours * (100 if share else 1))
    paces = {PACES[form] for form in part.forms}
    return {"form": course.form, "hours": hours, "pace": PACES[course.form] if len(paces) == 1 else "not told",
            "whole": whole.value, "whole_low": whole.low, "whole_high": whole.high}


def _rivals(part: Part, fit: Fit) -> tuple[Cause, ...]:
    """Causes that the data cannot tell from this one."""
    same: list[Cause] = [item.cause for item in part.compared if item.apart < (
        ZERO_APART_STRENGTH if {part.cause, item.cause} == ZEROS else APART_STRENGTH)]
    if part.cause == "scale" and spread_ratio(fit.frame.power) < POWER_RANGE:
        same.append("offset")
    # W and N m are one where the cadence is not known or does not vary.
    if part.cause == "offset" and spread_ratio(fit.frame.turning) < CADENCE_RANGE:
        same.append("torque_offset")
    return (*same, *_unanswered(fit)) if part.cause in BESIDE else tuple(same)


def _unanswered(fit: Fit | None) -> tuple[Cause, ...]:
    """What takes energy or adds it, as a scale and a zero do, where no filter says how the two respond."""
    return () if fit is None or fit.frame.answered else ("uneven_response",)


def _perhaps(part: Part, fit: Fit, same: tuple[Cause, ...]) -> Cause | Literal[""]:
    """Scale beside an offset, or an offset beside a scale, that is likely but not certain."""
    if part.perhaps:
        return next((one for one in part.perhaps if one in ("scale", "offset")), "")
    other = BESIDE.get(part.cause)
    if other is None or other in same or (part.cause == "scale" and "torque_offset" in fit.causes()):
        return ""
    return next((other for item in part.compared if item.cause == other and item.too >= HINT_STRENGTH), "")


def _ends(part: Part, fit: Fit) -> dict[str, float]:
    """What a scale or an offset has to explain at low and at high power (or cadence), the other causes taken out."""
    data = fit.frame
    rows = {"scale": data.power, "offset": np.ones(data.power.size), "torque_offset": data.turning}
    row = rows.get(part.cause)
    if part.cause == "cadence_gain" and data.turning is not None:
        return _by_cadence(part, fit, data.turning)
    if row is None:
        return {}
    own = fit.residual + part.coefficient.value * row
    torque = part.cause == "torque_offset"
    by, share = (row, own) if torque else (data.power, 100 * own / data.power)
    low, high = (float(share[mask].mean()) for mask in (by <= np.percentile(by, 30), by >= np.percentile(by, 70)))
    return {"at_low_W": low, "at_high_W": high} if torque else {"at_low_percent": low, "at_high_percent": high}


def _by_cadence(part: Part, fit: Fit, turning: FloatArray) -> dict[str, float]:
    """Per cent that a gain by cadence makes in the slowest and the fastest third of the windows, and their rev/min."""
    own = fit.residual + part.coefficient.value * by_cadence(fit.frame)
    slow, fast = turning <= np.percentile(turning, 30), turning >= np.percentile(turning, 70)
    return {f"{name}_{unit}": float(values[mask].mean()) for name, mask in (("slow", slow), ("fast", fast))
            for unit, values in (("percent", 100 * own / fit.frame.power), ("rpm", turning / TURN))}


def slow(fit: Fit) -> list[Finding]:
    """Steps and warm-ups, with the size that their detector gave them; no warm-up that hardly moves the mean error."""
    data, found = fit.frame, []
    mean, several = float(data.power.mean()), len(fit.gains.bounds) > 1
    warm = sum(fault.size.value * float(course.sum()) for faults, courses in zip(data.slow, data.courses, strict=True)
               for fault, course in zip(faults, courses, strict=True) if fault.cause == "warm_up")
    no_warmth = 100 * abs(warm) / data.error.size < WARM_MEAN_PERCENT * mean
    for number, (faults, courses) in enumerate(zip(data.slow, data.courses, strict=True)):
        for fault, course in zip(faults, courses, strict=True):
            percent = 100 * math.sqrt(float(np.sum((fault.size.value * course) ** 2)) / data.error.size) / mean
            if percent < WORTHWHILE_PERCENT or (fault.cause == "warm_up" and no_warmth):
                continue
            values: dict[str, float | int | str | bool] = {**fault.detail, "mean_W": mean}
            if several:
                values["session"] = number + 1
            rest = (Pattern(moment="after a rest", count=1, of=1, expected=math.nan, p=1.0),) if fault.rested else ()
            found.append(Finding(cause=fault.cause, size=fault.size, unit=UNITS[fault.unit], percent=percent,
                                 strength=level_off(replace(fault.size, df=math.inf)), patterns=rest, values=values))
    return found


def unclear(correction: Correction, fit: Fit | None) -> list[Finding]:
    """The mean is off for certain, but no cause is: a scale that cannot be told from an offset."""
    scale = correction.scale
    off = replace(scale, value=scale.value - 1)
    if correction.kind == "none" or level_off(off) < NAMED_STRENGTH:
        return []
    return [Finding(
        cause="scale", rivals=("offset", *_unanswered(fit)), strength=level_off(off),
        percent=abs(100 / scale.value - 100),
        values={"factor": scale.value, "factor_low": scale.low, "factor_high": scale.high,
                "windows_enough": fit is not None, "line": correction.kind,
                "power_ratio": spread_ratio(fit.frame.power) if fit is not None else math.nan})]
