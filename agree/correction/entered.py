"""A correction in the steps a device offers, held against what each session or block asks for."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from agree.core.results.result import Result
from agree.correction.foretold import harm
from agree.correction.rules import Rule, Units, apply, fit, rounded
from agree.verdict.columns import Table
from agree.verdict.meanings import mean_error


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Entered(Result):
    """What to enter: corrected = (device - offset_w) * scale; 0 stays 0 and no reading changes its sign.

    `scale` is in whole steps of `step_percent`; `left_percent` is the mean error that rounding leaves on these data.
    """

    scale: float
    offset_w: float
    step_percent: float
    left_percent: float


class Judged(NamedTuple):
    """A correction as it would be entered, and how far it is from what each session or block asks for."""

    action: str
    entered: Entered | None
    left_out: list[Rule]        # found without each in turn, in W; empty where one cannot be found
    size_percent: float
    sd_percent: float
    harm: float
    helps: bool


def judge(table: Table, data: Units, action: str, step: float) -> Judged:
    """Round a correction as the device takes it, and hold it against each session or block."""
    rule = rounded(action, data, step)
    folds = [rounded(action, data.without(k), step) for k in range(len(data.seconds))]
    in_watts = [Rule(item.scale, item.offset * data.mean_w) for item in folds if item is not None]
    exact = fit(action, data)
    if rule is None or exact is None or len(in_watts) < len(folds):
        return Judged(action, None, [], math.nan, math.nan, math.nan, False)
    watts = round(rule.offset * data.mean_w, 1)
    made = apply(Rule(rule.scale, watts), table.device)
    entered = Entered(scale=rule.scale, offset_w=watts, step_percent=step,
                      left_percent=mean_error(replace(table, device=made), "%", 0.95).value)
    n, reference, device = data.seconds.T
    with np.errstate(divide="ignore", invalid="ignore"):
        asked = reference / (device - n * exact.offset)
        own = device / reference
        left = np.array([(d - m * r.offset) * r.scale / x for r, m, x, d in
                         zip([item for item in folds if item], n, reference, device, strict=True)])
    sd = float(asked.std(ddof=1)) if (device > n * exact.offset).all() and (reference > 0).all() else math.nan
    changes = (exact.scale - 1) * table.device / data.mean_w - exact.scale * exact.offset
    size = abs(exact.scale - 1) if action == "scale" else float(np.sqrt(np.mean(changes**2)))
    helps = action == "scale and offset" or bool(np.abs(left - 1).mean() < np.abs(own - 1).mean())
    return Judged(action, entered, in_watts, 100 * size, 100 * sd, harm(size, sd, table.sessions), helps)
