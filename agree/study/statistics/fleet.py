"""From the lines of a study to statistics over its units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from agree.study.statistics.many_units import LEAST_UNITS, ManyUnits, many_units
from agree.study.tables import Line
from agree.verdict.claim import Claim
from agree.verdict.reference import ReferenceUncertainty


def fleet_of(pairs: Sequence[Line], units: Sequence[Line], records: Sequence[Mapping[str, Any]], claim: str,
             options: Mapping[str, Any]) -> ManyUnits | None:
    """Return statistics over units with a mean error in per cent, or None where there are too few.

    A unit's variance is that of its sessions, pooled over the units with two sessions and more, over their number;
    where no unit has two, it is that within its recording, which knows nothing of other days.
    """
    limit = Claim.parse(claim).percent
    usable = list({line.labels["unit"]: line for line in units
                   if line.bias is not None and line.bias_unit == "%"}.values())
    if limit is None or len(usable) < LEAST_UNITS:
        return None
    by_unit: dict[str, list[float]] = {}
    own: dict[str, float] = {}
    counted: set[tuple[str, ...]] = set()  # a pair that stands in the list twice, or under two claims, counts once
    for line, record in zip(pairs, records, strict=True):
        which = tuple(line.labels[name] for name in ("unit", "reference", "device"))
        if line.bias is not None and line.bias_unit == "%" and line.repeats is None and which not in counted:
            counted.add(which)
            by_unit.setdefault(line.labels["unit"], []).append(line.bias)
            own[line.labels["unit"]] = float(record["result"]["bias_percent"].get("standard_error") or 0.0)
    several = [np.array(values) for values in by_unit.values() if len(values) > 1]
    df = sum(values.size - 1 for values in several)
    pooled = sum(float(values.var(ddof=1)) * (values.size - 1) for values in several) / df if df else 0.0
    names = [line.labels["unit"] for line in usable]
    errors = [float(np.mean(by_unit[name])) for name in names]
    variances = [pooled / len(by_unit[name]) if df else own[name] ** 2 for name in names]
    stated = ReferenceUncertainty.parse(options.get("reference_uncertainty"))
    return many_units(errors, np.sqrt(variances), limit=limit, reference_u=stated.percent,
                      level=options.get("level", 0.95))
