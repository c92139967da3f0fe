"""A check of a quantity as JSON, schema version 2: no key carries a unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from agree.quantities.answer import QuantityAnswer
    from agree.quantities.check import QuantityCheck


def _part(answer: QuantityAnswer | None) -> dict[str, Any] | None:
    if answer is None:
        return None
    return {"verdict": answer.verdict, "bias": answer.bias, "readings": [_reading(item) for item in answer.readings],
            "limits": None if answer.limits is None else {"lower": answer.limits.lower, "upper": answer.limits.upper},
            "seconds": answer.seconds}


def _reading(item: Any) -> dict[str, Any]:
    return {"meaning": item.meaning, "verdict": item.verdict, "estimate": item.estimate, "limit": item.limit,
            "unit": item.unit}


def as_schema_2(check: QuantityCheck) -> dict[str, Any]:
    """Return the keys of schema 2 for recordings; values may still be results."""
    from agree import __version__

    own = check.decides
    told = _part(own) or {}
    kinds = sorted({fault.kind for session in check.faults for fault in session})
    return {
        "schema": 2, "kind": "recordings",
        "made_by": {"version": __version__, "options": {
            "meaning": check.meaning, "window_s": check.window_s, "level": check.level,
            "delay": check.belongs_to if any(delay.stated for delay in check.delays) else None}},
        "inputs": list(check.inputs), "quantity": check.quantity.name, "unit": check.quantity.computed_in,
        "claim": check.claim.plain_dict(), "meaning": check.meaning, "verdict": check.verdict,
        "assumes": ["neighbouring seconds are alike" if len(check.overlays) == 1 else "sessions are independent"],
        "readings": told["readings"], "bias": told["bias"], "limits": told["limits"],
        "set_aside": {"missing": sum(int(item.reference.size) for item in check.overlays) - own.seconds},
        "delay": {"lag_s": check.lag_s, "belongs_to": check.belongs_to,
                  "standard_errors_s": [delay.se_s for delay in check.delays],
                  "averaged_s": max(delay.averaged_s for delay in check.delays),
                  "as_recorded": _part(check.as_recorded), "taken_out": _part(check.taken_out)},
        "faults": [{"kind": kind, "events": sum(f.kind == kind for session in check.faults for f in session),
                    "seconds": sum(f.seconds for session in check.faults for f in session if f.kind == kind)}
                   for kind in kinds],
        "window_s": check.window_s, "level": check.level, "sessions": len(check.overlays), "notes": check.notes}
