"""What is likely wrong, each cause with the numbers that speak for it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from agree._check import FloatArray
from agree._result import Result
from agree.interval import estimate
from agree.pairs import Pairs
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
    if correction.kind != "none":
        first, _, rest = correction.because.split(";")[0].rpartition(": ")
        cause = "scale or offset" if correction.kind == "cannot tell" else correction.kind
        found.append(Finding(cause=first if "perhaps" in first else cause, evidence=rest))
    return (*found, *_faults(table), *_smoothing(table, correction.scale.value), *_drift(table))


def _faults(table: Table) -> list[Finding]:
    result = []
    for name, cause in (("dropout", "dropouts"), ("partial", "partial readings"), ("held", "held values"),
                        ("spike", "spikes")):
        for role in ("device", "reference"):
            seconds = sum(item.counts()[f"{role}_{name}"] for item in table.pairs)
            events = sum(event.reason == f"{role}_{name}" for item in table.pairs for event in item.events())
            if seconds:
                result.append(Finding(cause=f"{role} {cause}", evidence=(
                    f"{seconds} s in {events} {'event' if events == 1 else 'events'}")))
    return result


def _changes(pairs: Pairs) -> FloatArray:
    """Changes from second to second of reference and device, (2, n), both mixed from neighbours alike."""
    used = pairs.used
    reference, device = (np.where(used, column, np.nan) for column in (pairs.reference, pairs.device))
    share = 0.0 if pairs.alignment is None else pairs.alignment.mixed
    if share:
        reference, device = (1 - share) * reference[:-1] + share * reference[1:], device[:-1]
    changes = np.diff(np.stack((reference, device)))
    finite: FloatArray = changes[:, np.isfinite(changes).all(axis=0)]
    return finite


def _smoothing(table: Table, scale: float) -> list[Finding]:
    """Compare variances of changes from second to second, where both seconds are used."""
    changes = np.concatenate([_changes(item) for item in table.pairs], axis=1)
    if changes.shape[1] < 60 or not (changes.var(axis=1) > 0).all():
        return []
    reference, device = changes.var(axis=1)
    ratio = float(device * scale**2 / reference)
    smooth, rough = ("device", ratio) if ratio < 1 else ("reference", 1 / ratio)
    if rough > SMOOTH_RATIO:
        return []
    return [Finding(cause=f"the {smooth} smooths more", evidence=(
        f"its 1-s changes have {100 * rough:.0f} % of the other's variance: compare peaks with care"))]


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
