"""Seconds set aside as faulty: how many, what they would do to the mean, and what goes with their begin and end."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from agree.core.data.pairs import Pairs
from agree.core.data.runs import runs
from agree.diagnosis.finding import Cause, Finding
from agree.diagnosis.patterns import Conditions, conditions, patterns

KINDS: tuple[Cause, ...] = ("late_start", "early_end", "saturation", "held", "dropout", "spike", "partial")
ROLES: tuple[Literal["device", "reference", "either"], ...] = ("device", "reference", "either")


def set_aside_faults(pairs: Sequence[Pairs], share: float) -> list[Finding]:
    """Findings of faults, each kind and trace; `share` is the mean error as a fraction of the reference.

    The role "either" is of what one of the two had, where they do not tell which.
    """
    total = sum(float(np.nansum(item.reference)) for item in pairs)
    runs_of: dict[tuple[Cause, str], list[tuple[int, list[tuple[int, int]], float]]] = {}
    for number, item in enumerate(pairs):
        effects = item.device - (1 + share) * item.reference
        for reason in np.unique(item.reason[item.reason != ""]).tolist():
            role, _, kind = str(reason).partition("_")
            if kind in KINDS and role in ROLES:
                mask = item.reason == reason
                runs_of.setdefault((kind, role), []).append(
                    (number, runs(mask), float(np.nansum(effects[mask])) / total * 100))
    known: dict[int, Conditions] = {}
    found = []
    for kind in KINDS:
        for role in ROLES:
            parts = runs_of.get((kind, role), [])
            if not parts:
                continue
            for number, _, _ in parts:
                if number not in known:
                    known[number] = conditions(pairs[number])
            effect = sum(part[2] for part in parts)
            events = sum(len(part[1]) for part in parts)
            seconds = sum(stop - start for part in parts for start, stop in part[1])
            found.append(Finding(
                cause=kind, role=role, percent=abs(effect), patterns=patterns(
                    [(known[number], spans) for number, spans, _ in parts]),
                values={"seconds": seconds, "events": events, "effect_percent": effect} | (
                    _lower(pairs, parts) if role == "either" else {})))
    return found


def _lower(pairs: Sequence[Pairs], parts: Sequence[tuple[int, list[tuple[int, int]], float]]) -> dict[str, str | float]:
    """Which of the two reads lower in all runs, and its part of the other one's energy there, %; empty if both do."""
    sums = [(float(np.nansum(pairs[number].reference[start:stop])), float(np.nansum(pairs[number].device[start:stop])))
            for number, spans, _ in parts for start, stop in spans]
    for at, role in enumerate(("reference", "device")):
        if all(one[at] < one[1 - at] for one in sums):
            part = sum(one[at] for one in sums) / sum(one[1 - at] for one in sums)
            return {"lower": role, "part_percent": 100 * part}
    return {}

