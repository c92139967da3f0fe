"""Responses that no filter has: slower one way than the other, or readings that are held after pedalling ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from agree.core.data.answered_pairs import energy_error_percent
from agree.core.data.matched import Matched
from agree.core.data.pairs import Pairs
from agree.core.interval.engine import COSINES, METHODS, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import NAMED_STRENGTH, RESPONSE_EXPLAINS, WORTHWHILE_PERCENT
from agree.diagnosis.finding import Cause, Finding
from agree.diagnosis.windows.compared import BY_POWER
from agree.diagnosis.windows.least_squares import level_off

RESPONSE: Cause = "uneven_response"


def bent_response(pairs: Sequence[Pairs], error_percent: float) -> list[Finding]:
    """One finding where most sessions show such a response: its size, and what it makes of the mean error.

    Parameters
    ----------
    pairs : sequence of Pairs
        The sessions.
    error_percent : float
        Mean error, per cent of the reference.

    Notes
    -----
    Its part of the mean error is what it adds to the energy or takes from it. With the value `explains` it makes most
    of the mean error, so that no scale and no zero is wrong. `pedalling_percent` of held readings is the error without
    that part: what the device reads while pedalling goes on.
    """
    found = [item.matched for item in pairs if item.matched is not None and (
        item.matched.kind == "uneven" or item.matched.held_s)]
    if 2 * len(found) <= len(pairs):
        return []
    part = energy_error_percent(pairs)
    kind, role = max(((_kind(one), one.smoother) for one in found), key=lambda what: sum(
        (_kind(one), one.smoother) == what for one in found))
    same = [one for one in found if (_kind(one), one.smoother) == (kind, role)]
    values: dict[str, float | int | str | bool] = {
        "energy_percent": part, "sessions": len(same), "explains": abs(part) >= WORTHWHILE_PERCENT and (
            abs(error_percent - part) <= RESPONSE_EXPLAINS * abs(error_percent))}
    whose: Literal["device", "reference"] = "reference" if role == "reference" else "device"
    if kind == "held":
        seconds = round(float(np.median([one.held_s for one in same])))
        return [Finding(cause="held_readings", role=whose, percent=abs(part), values={
            **values, "seconds": seconds, "pedalling_percent": error_percent - part})]
    up, down = (_mean(rows) for rows in zip(*((
        _estimate(one.size_s, one.size_se_s, one.size_low_s, one.size_high_s),
        _estimate(one.down_s, one.down_se_s, one.down_low_s, one.down_high_s)) for one in same), strict=True))
    error = float(np.hypot(up.standard_error, down.standard_error))
    half = t_quantile(0.95, COSINES) * error
    apart = Estimate(value=up.value - down.value, low=up.value - down.value - half, high=up.value - down.value + half,
                     level=0.95, method=METHODS["serial"], standard_error=error, df=float(COSINES))
    if level_off(apart) < NAMED_STRENGTH:
        return []
    return [Finding(cause="uneven_response", role=whose, size=up, unit="s", percent=abs(part),
                    strength=level_off(apart), values={**values, "down_s": down.value, "down_low_s": down.low,
                                                       "down_high_s": down.high})]


def beside_response(found: Sequence[Finding], bent: Sequence[Finding]) -> tuple[list[Finding], list[Finding]]:
    """Causes, and uneven responses, of which each may be what the other is told wrongly by.

    Parameters
    ----------
    found : sequence of Finding
        Causes in window means.
    bent : sequence of Finding
        Responses, as `bent_response` finds them.

    Notes
    -----
    A response that is uneven in another way, such as a time constant that goes with power, is told as one that goes
    with the direction, and then gains two or three times less energy than that would. What is too much comes back as a
    scale, a zero or a bend that takes it away: 1.3 to 12 % beside 2 to 20 % in 8 of 8 such recordings, each smaller
    than the energy. So neither is certain then.
    """
    gained = sum(float(item.values["energy_percent"]) for item in bent if item.cause == RESPONSE)
    small = [item.cause in BY_POWER and item.percent < abs(gained) for item in found]
    # Of a bend the data tell no one sign.
    if not any(less and (item.cause == "bend" or item.size is None or item.size.value * gained < 0)
               for item, less in zip(found, small, strict=True)):
        return list(found), list(bent)
    told = [replace(item, rivals=(*(one for one in item.rivals if one != RESPONSE), RESPONSE)) if less else item
            for item, less in zip(found, small, strict=True)]
    return told, [replace(item, values={**item.values, "gain_doubtful": True}) for item in bent]


def _kind(one: Matched) -> str:
    return "uneven" if one.kind == "uneven" else "held"


def _estimate(value: float, error: float, low: float, high: float) -> Estimate:
    return Estimate(value=value, low=low, high=high, level=0.95, method=METHODS["serial"], standard_error=error,
                    df=float(COSINES))


def _mean(items: Sequence[Estimate]) -> Estimate:
    """Mean over sessions; its limits are as far off as those of one, since what noise makes of them is common."""
    value, low, high = (float(np.mean([getattr(one, name) for one in items])) for name in ("value", "low", "high"))
    return _estimate(value, float(np.sqrt(np.sum([one.standard_error**2 for one in items]))) / len(items), low, high)
