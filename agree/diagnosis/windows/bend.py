"""An error that changes with power as no scale and no offset does: in per cent at low, middle and high power."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.thresholds import APART_STRENGTH
from agree.diagnosis.finding import Finding
from agree.diagnosis.windows.causes import Fit

TOLD_AT = {"low": 0.1, "middle": 0.5, "high": 0.9}  # shares of the windows with less power, at which the error is told
NEAR = 0.1                                          # share of the windows on either side that tell it


def bend(fit: Fit) -> list[Finding]:
    """One finding for an error that bends: its straight part is no scale and no offset of its own."""
    part = fit.part("bend")
    if part is None:
        return []
    mean = float(fit.frame.power.mean())
    told, high = _told(fit.by_power, fit.frame.power), _near(fit.frame.power, TOLD_AT["high"])
    # What the bend itself makes of high power: a slope above the knot would be no share of any power that was ridden.
    moved = float(fit.bend[high].mean()) / told["high_W"]
    return [Finding(
        cause="bend", size=part.coefficient.scaled(100 * moved), unit="%", strength=part.strength,
        percent=100 * math.sqrt(float(np.mean(fit.by_power**2))) / mean, compared=part.compared,
        rivals=tuple(item.cause for item in part.compared if item.apart < APART_STRENGTH),
        values={"knot_W": fit.knot, **told})]


def _told(error: FloatArray, power: FloatArray) -> dict[str, float]:
    """Error that goes with power, per cent of the reference, in windows of low, middle and high power."""
    told: dict[str, float] = {}
    for name, share in TOLD_AT.items():
        near = _near(power, share)
        reference = float((power - error / 2)[near].mean())
        told |= {f"{name}_W": reference, f"at_{name}_percent": 100 * float(error[near].mean()) / reference}
    return told


def _near(power: FloatArray, share: float) -> NDArray[np.intp]:
    """Windows around the one that this share of the others lies below."""
    return np.argsort(power)[int(max(share - NEAR, 0) * power.size):math.ceil((share + NEAR) * power.size)]
