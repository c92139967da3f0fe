"""What is likely wrong, each cause with the numbers that speak for it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from agree._result import Result
from agree.interval import estimate
from agree.verdict.correction import Correction
from agree.verdict.table import Table

SMOOTH_RATIO = 0.6       # variance of 1-s changes, device over reference, below which a filter is named
DRIFT_PERCENT_PER_H = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finding(Result):
    """A likely cause and its evidence in words."""

    cause: str
    evidence: str


def findings(table: Table, correction: Correction) -> tuple[Finding, ...]:
    """Scale or offset, faults, smoothing, drift, delay: only those the data speak for."""
    found = []
    if correction.kind == "cannot tell":
        found.append(Finding(cause="scale or offset", evidence=correction.because.split(";")[0]))
    elif correction.kind != "none":
        found.append(Finding(cause=correction.kind, evidence=correction.because.split(";")[0]))
    return (*found, *_faults(table), *_smoothing(table, correction.scale.value), *_drift(table))


def _faults(table: Table) -> list[Finding]:
    working = sum(int((item.reference > 0).sum()) for item in table.pairs)
    result = []
    for name, cause in (("dropout", "dropouts"), ("partial", "partial readings"), ("held", "held values"),
                        ("spike", "spikes")):
        for role in ("device", "reference"):
            seconds = sum(item.counts()[f"{role}_{name}"] for item in table.pairs)
            events = sum(event.reason == f"{role}_{name}" for item in table.pairs for event in item.events())
            if seconds:
                result.append(Finding(cause=f"{role} {cause}", evidence=(
                    f"{seconds} s in {events} event(s), {100 * seconds / max(working, 1):.2g} % of working time")))
    return result


def _smoothing(table: Table, scale: float) -> list[Finding]:
    """Compare variances of changes from second to second, where both seconds are used."""
    next_to = (np.diff(table.time) == 1) & (np.diff(table.session) == 0)
    reference, device = np.diff(table.reference)[next_to], np.diff(table.device)[next_to] * scale
    if reference.size < 60 or not (reference.var() > 0 and device.var() > 0):
        return []
    ratio = float(device.var() / reference.var())
    smooth, rough = ("device", ratio) if ratio < 1 else ("reference", 1 / ratio)
    if rough > SMOOTH_RATIO:
        return []
    return [Finding(cause=f"{smooth} smooths more", evidence=(
        f"its changes from second to second have {100 * rough:.0f} % of the other's variance; "
        "compare peaks and short efforts with care"))]


def _drift(table: Table) -> list[Finding]:
    """Trend of the error in per cent of the mean power over time, within sessions."""
    slopes = []
    for k in range(table.sessions):
        chosen = table.session == k
        hours = table.time[chosen] / 3600
        centred = hours - hours.mean()
        relative = 100 * table.error[chosen] / table.reference[chosen].mean()
        square = float(centred @ centred)
        if not square > 0:
            return []
        slope = float(centred @ relative) / square
        phi = hours.size * centred * (relative - relative.mean() - slope * centred) / square
        slopes.append(estimate(slope, phi, level=0.95, sampling="serial"))
    worst = max(slopes, key=lambda item: abs(item.value))
    if not abs(worst.value) > DRIFT_PERCENT_PER_H or worst.low <= 0 <= worst.high or math.isnan(worst.value):
        return []
    return [Finding(cause="drift", evidence=(
        f"the error changes by {worst.value:+.1f} [{worst.low:+.1f}, {worst.high:+.1f}] % of mean power per hour"))]
