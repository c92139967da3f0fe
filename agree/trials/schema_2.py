"""A check of trials as JSON, schema version 2: no key carries a unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from agree.estimators.trials.shares_within import effective_trials

if TYPE_CHECKING:
    from agree.trials.check import TrialsCheck

SCHEMA = 2


def _version() -> str:
    from agree import __version__

    return __version__


def as_schema_2(check: TrialsCheck) -> dict[str, Any]:
    """Return the keys of schema 2 for trials; values may still be results."""
    trials, errors, beside, line = check.trials, check.scaled.errors, check.side_by_side, check.line
    sizes = trials.sizes
    readings = check.of("readings")
    icc = beside.icc
    return {
        "schema": SCHEMA, "kind": "trials",
        "made_by": {"version": _version(), "options": {
            "meaning": check.meaning, "mean_of": check.mean_of, "assume": check.assume, "level": check.level,
            "by": list(trials.by), "paired": trials.paired}},
        "inputs": list(trials.inputs), "quantity": trials.quantity.name, "unit": trials.quantity.computed_in,
        "error_unit": check.unit, "claim": check.claim.plain_dict(), "meaning": check.meaning,
        "verdict": check.verdict, "assumes": list(check.answer.assumes),
        "readings": [{"meaning": item.meaning, "verdict": item.verdict, "estimate": item.estimate, "limit": item.limit,
                      "unit": item.unit, "assumes": list(item.assumes), "ground": item.ground}
                     for item in check.meanings],
        "bias": check.bias, "sd": check.sd, "limits": {"lower": check.lower, "upper": check.upper},
        "set_aside": trials.set_aside, "notes": check.notes, "level": check.level,
        "reference_uncertainty": check.reference_u, "subjects": len(trials.subjects),
        "trials": {"n": trials.count, "least": int(sizes.min()), "most": int(sizes.max()),
                   "harmonic": float(sizes.size / (1 / sizes).sum())},
        "components": {"between": errors.between**0.5, "within": errors.within**0.5 if errors.trial_parts else None},
        "level_line": None if line is None else {
            "slope": line.slope, "instrument": line.instrument, "trend": line.trend,
            "ends": [{"level": at, "error": end} for at, end in zip(line.end_levels, line.ends, strict=True)]},
        "shares": {"counted": readings.estimate if check.assume == "nothing" and trials.paired else None,
                   "normal": readings.normal, "effective": effective_trials(errors)},
        "typical_errors": {"reference": beside.reference_error, "device": beside.device_error, "ratio": beside.ratio},
        "line": None if beside.line is None else {
            "slope": beside.line.slope, "intercept": beside.line.intercept, "variance_ratio": beside.variance_ratio},
        "icc": None if icc is None else {"agreement": icc.agreement, "subjects_sd": beside.subjects_sd,
                                         "caution": icc.caution}}
