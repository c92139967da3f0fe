"""A check of power as JSON, schema version 1."""

from __future__ import annotations

from itertools import zip_longest
from typing import TYPE_CHECKING, Any

from agree.core.results.result import json_safe

if TYPE_CHECKING:
    from agree.assessment.claim_check import ClaimCheck

SCHEMA = 1


def as_schema_1(check: ClaimCheck) -> dict[str, Any]:
    """Return the check with the keys of schema 1."""
    first = check.pairs[0].alignment
    lines = {name: None if line is None else {"slope": line.slope, "intercept": line.intercept, "n": line.n}
             for name, line in (("deming", check.deming), ("passing_bablok", check.passing_bablok))}
    limits = check.limits
    result: dict[str, Any] = json_safe({
        "schema": SCHEMA, "claim": check.claim.to_dict(), "meaning": check.meaning, "verdict": check.verdict,
        "bias_percent": check.bias, "bias_percent_with_faults": check.bias_with_faults,
        "readings": check.readings,
        "bands": [{"low": band.low, "high": band.high, "seconds": band.seconds, "bias_percent": band.bias,
                   "plain_percent": band.plain, "joint_percent": band.joint,
                   "deciding_percent": band.deciding, "limit_percent": band.limit_percent, "verdict": band.verdict}
                  for band in check.bands],
        "limits_of_agreement_percent": None if limits is None else {
            "bias": limits.bias, "lower": limits.lower, "upper": limits.upper, "sd": limits.sd, "n": limits.n},
        "window_s": check.window_s, "lines": lines,
        "alignment": {"lag_s": None, "drift_ppm": None} if first is None else first,
        "seconds": check.seconds(),
        "correction": check.correction, "findings": check.findings, "next_step": check.next_step,
        "reference_uncertainty": check.reference_uncertainty, "level": check.level, "notes": check.notes,
        "decision_rule": check.decision_rule, "looks": check.looks,
        "declared": check.declared, "budget": check.budget, "session_effects": check.effects,
        "sessions": [item.to_dict() | {"bias": bias, "response": response, "best_efforts": efforts}
                     for item, bias, response, efforts in zip_longest(
                         check.pairs, check.session_bias, check.response, check.efforts)],
    })
    return result
