"""From the lines of a study to statistics over its units."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from agree.study.statistics.many_units import LEAST_UNITS, Assume, ManyUnits, many_units
from agree.study.tables import Line
from agree.study.told import Told, average_of


def fleet_of(
    pairs: Sequence[Line], records: Sequence[Mapping[str, Any]], options: Mapping[str, Any],
    assume: Assume = "nothing", athlete: str = "",
) -> ManyUnits | None:
    """Return statistics over units in the quantity and unit that most pairs have, or None where there are too few.

    The smallest limit and the largest uncertainty of the reference among the pairs count for all.

    A unit's variance is that of its sessions, pooled over the units with two sessions and more, over their number;
    where no unit has two, it is that within its recording, which knows nothing of other days. Sessions of one athlete
    count as one, by their mean: `athlete` names the column.
    """
    told = [average_of(record["result"]) if "result" in record else None for record in records]
    kinds = [(line.labels.get("quantity", ""), item.unit) for line, item in zip(pairs, told, strict=True) if item]
    quantity, unit = Counter(kinds).most_common(1)[0][0] if kinds else ("", "")
    by_unit: dict[str, dict[object, list[Told]]] = {}
    counted: set[tuple[str, ...]] = set()  # a pair that stands in the list twice, or under two claims, counts once
    for line, item in zip(pairs, told, strict=True):
        which = tuple(line.labels[name] for name in ("unit", "reference", "device"))
        if item is None or (line.labels.get("quantity", ""), item.unit) != (quantity, unit):
            continue
        if line.repeats is None and which not in counted:
            counted.add(which)
            who = line.factors.get(athlete, "") if athlete else len(counted)  # without a column each stands for itself
            by_unit.setdefault(line.labels["unit"], {}).setdefault(who, []).append(item)
    every = [item for own in by_unit.values() for items in own.values() for item in items]
    limit = min((item.limit for item in every), default=math.nan)
    if len(by_unit) < LEAST_UNITS or not limit > 0:
        return None
    means = [np.array([np.mean([item.own.value for item in items]) for items in own.values()])
             for own in by_unit.values()]
    df = sum(values.size - 1 for values in means)
    pooled = sum(float(values.var(ddof=1)) * (values.size - 1) for values in means if values.size > 1) / df if df else 0
    errors = [float(values.mean()) for values in means]
    alone = [float(np.mean([item.own.standard_error**2 for items in own.values() for item in items]))
             for own in by_unit.values()]
    variances = [pooled / values.size if df else square for values, square in zip(means, alone, strict=True)]
    return many_units(errors, np.sqrt(np.nan_to_num(variances)), limit=limit,
                      reference_u=max(item.known.u for item in every), level=options.get("level", 0.95), unit=unit,
                      names=tuple(by_unit), assume=assume)
