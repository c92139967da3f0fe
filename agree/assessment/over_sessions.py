"""The sessions of a check by themselves and against each other, in the range that the claim is made for."""

from __future__ import annotations

from dataclasses import replace

from agree.core.estimate import Estimate
from agree.verdict.claim import Claim
from agree.verdict.columns import Table
from agree.verdict.meanings import session_biases
from agree.verdict.sessions import SessionEffects, session_effects


def own_errors(data: Table, claim: Claim, level: float) -> list[Estimate]:
    """Mean error of each session by itself; over its whole range where the claim's range was hardly ridden."""
    inside = session_biases(data, claim, level)
    if None not in inside:
        return [item for item in inside if item is not None]
    whole = session_biases(data, replace(claim, above=None), level)
    return [item for item in (own or every for own, every in zip(inside, whole, strict=True)) if item is not None]


def effects_of(data: Table, claim: Claim, level: float) -> SessionEffects | None:
    """Hold the sessions that rode the claim's range against each other; None with fewer than two."""
    found = [(item, float((data.session == k).sum())) for k, item in enumerate(session_biases(data, claim, level))
             if item is not None]
    if data.sessions < 2 or len(found) < 2:
        return None
    return session_effects([item for item, _ in found], seconds=[seconds for _, seconds in found], unit=claim.unit,
                           level=level)
