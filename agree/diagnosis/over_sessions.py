"""Warm-ups of several sessions are one cause: its size over them, in one unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.words import numbered
from agree.diagnosis.finding import Finding


def merged(found: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return the findings with the warm-ups of several sessions as one, in the place of the first of them.

    Its size is the mean over these sessions, per cent of mean power; what it does adds up in the mean square.
    """
    warm = [item for item in found if item.cause == "warm_up" and item.size is not None]
    if len(warm) < 2:
        return tuple(found)
    one = _together(warm)
    return tuple(one if item is warm[0] else item for item in found if item is warm[0] or item not in warm)


def _together(warm: Sequence[Finding]) -> Finding:
    of_power = [item.size.scaled(1.0 if item.unit == "%" else 100 / float(item.values["mean_W"]))
                for item in warm if item.size is not None]
    sizes, errors = [item.value for item in of_power], [item.standard_error for item in of_power]
    count, mean = len(warm), float(np.mean(sizes))
    inside, between = float(np.linalg.norm(errors)) / count, float(np.std(sizes, ddof=1)) / math.sqrt(count)
    se, df = (inside, math.inf) if inside >= between else (between, count - 1.0)
    half = t_quantile(0.95, df) * se
    size = Estimate(value=mean, low=mean - half, high=mean + half, level=0.95, standard_error=se, df=df,
                    method="mean over the sessions that warm up")
    values: dict[str, float | int | str | bool] = {
        "in_sessions": count, "settled_s": max(float(item.values["settled_s"]) for item in warm),
        "sessions": numbered(sorted(int(item.values["session"]) for item in warm))}
    return replace(warm[0], size=size, unit="%", percent=float(np.linalg.norm([item.percent for item in warm])),
                   strength=max(item.strength for item in warm), values=values)
