"""A check of power as JSON, schema version 2: the keys of every quantity, none with a unit."""

from __future__ import annotations

from typing import Any

from agree.assessment.claim_check import ClaimCheck
from agree.core.results.result import json_safe


def as_schema_2(check: ClaimCheck) -> dict[str, Any]:
    """Return the check with the keys of schema 2; a lag of power is the clocks', and taken out.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, check_claim
    >>> from agree.assessment.schema_2 import as_schema_2
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> found = as_schema_2(check_claim(Pairs(reference=watts, device=0.97 * watts), "1.5 %"))
    >>> found["quantity"], found["verdict"], found["delay"]["belongs_to"]
    ('power', 'does not hold', 'clock')
    """
    from agree import __version__

    limits, first = check.limits, check.pairs[0].alignment
    average = next(item for item in check.readings if item.meaning == "average")
    readings = [{"meaning": item.meaning, "verdict": item.verdict, "estimate": item.estimate, "limit": item.limit,
                 "unit": item.unit} for item in check.readings]
    sources = [source for item in check.pairs for source in item.sources if source is not None]
    result: dict[str, Any] = json_safe({
        "schema": 2, "kind": "recordings",
        "made_by": {"version": __version__, "options": {
            "meaning": check.meaning, "window_s": check.window_s, "level": check.level, "rule": check.decision_rule}},
        "inputs": [{"name": source.name, "bytes": source.size_bytes, "sha256": source.sha256} for source in sources],
        "quantity": "power", "unit": "W", "error_unit": check.claim.unit, "claim": check.claim.plain_dict(),
        "meaning": check.meaning, "verdict": check.verdict,
        "assumes": ["neighbouring seconds are alike" if len(check.pairs) == 1 else "sessions are independent"],
        "readings": readings, "bias": average.estimate,
        "limits": None if limits is None else {"lower": limits.lower, "upper": limits.upper},
        "set_aside": check.seconds()["set_aside"], "notes": check.notes, "level": check.level,
        "delay": {"lag_s": None if first is None else first.lag_s, "belongs_to": "clock", "as_recorded": None,
                  "taken_out": {"verdict": check.verdict}},
        "window_s": check.window_s, "sessions": len(check.pairs)})
    return result
