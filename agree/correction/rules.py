"""Which correction to choose: none, scale, offset or both, by the error on sessions or blocks left out."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.interval.over_sessions import session_shares
from agree.core.thresholds import BLOCK_LEVEL, HALF_WEIGHT_S, LEAST_SLOPE
from agree.verdict.columns import Table

ACTIONS = ("none", "scale", "offset", "scale and offset")  # the simpler first; of equal ones that which devices offer
BLOCKS = 8               # parts of a single recording that are left out in turn
LEAST_UNITS = 2
# Smallest change in power worth a correction, per cent: about 0.3 x the competition variation of elite solo athletes
# (Hopkins 2000, Sports Med 30:1), common practice.
WORTHWHILE_PERCENT = 0.3


class Rule(NamedTuple):
    """A correction to apply: corrected = (device - offset) * scale, where 0 stays 0 and no sign changes."""

    scale: float
    offset: float


class Units(NamedTuple):
    """Sums over each session, or block of a single one; power is in parts of the mean reference, `mean_w`.

    `seconds` is (k, 3): number, sum of reference, sum of device over used seconds; `windows` (k, 6): number, sums of
    x, y, xx, xy, yy over window means of pedalling; `unit` gives the session or block of every used second. `wide`: the
    power varies enough to tell scale from offset. `margin`: standard errors by which the best must be better.
    `sessions`: the units are sessions, which count as in the verdict's mean, n/(n + 300 s); blocks count by their time.
    """

    seconds: FloatArray
    windows: FloatArray
    unit: NDArray[np.intp]
    mean_w: float
    wide: bool
    margin: float
    sessions: bool = False

    def shares(self) -> FloatArray:
        """Share of each unit in the mean ratio: that of the verdict for sessions, of the energy for blocks."""
        n, reference, _ = self.seconds.T
        return session_shares(n, HALF_WEIGHT_S) if self.sessions else reference / reference.sum()

    def sums(self) -> tuple[FloatArray, FloatArray]:
        """Sums over all units, each session weighted as in the verdict's mean."""
        if not self.sessions:
            return self.seconds.sum(axis=0), self.windows.sum(axis=0)
        share = session_shares(self.seconds[:, 0], HALF_WEIGHT_S)
        number = np.maximum(self.windows[:, :1], 1)
        return (share[:, None] * self.seconds / self.seconds[:, :1]).sum(axis=0), (
            share[:, None] * self.windows / number).sum(axis=0)

    def mean_ratio(self) -> float:
        """Mean of device over reference; NaN where a unit has no power of the reference."""
        _, reference, device = self.seconds.T
        if not (reference > 0).all():
            return float(device.sum() / reference.sum())
        return float(self.shares() @ (device / reference))

    def without(self, k: int) -> Units:
        """Return all but one of them."""
        keep = np.arange(len(self.seconds)) != k
        return self._replace(seconds=self.seconds[keep], windows=self.windows[keep])


def apply(rule: Rule, device: FloatArray) -> FloatArray:
    """Correct readings; 0 stays 0, and a reading does not change its sign."""
    corrected = (device - rule.offset) * rule.scale
    result: FloatArray = np.where((corrected > 0) == (device > 0), corrected, 0.0)
    return np.where(device == 0, 0.0, result)


def blocks_of(time: FloatArray, window_s: int) -> NDArray[np.intp]:
    """Block of each used second of one recording: whole windows, about equal numbers of seconds."""
    index = np.floor(time / window_s)
    first = np.searchsorted(index, index)
    return first * BLOCKS // time.size


def units(table: Table, window_s: int, wide: bool) -> Units:
    """Sum up a table by session, or by block where there is but one session."""
    steady = table.line_windows(window_s)
    if table.sessions > 1:
        unit, of_window, count = table.session, steady.session, table.sessions
    else:
        unit, count = blocks_of(table.time, window_s), BLOCKS
        index = np.searchsorted(np.floor(table.time / window_s), steady.start / window_s)
        of_window = unit[np.minimum(index, unit.size - 1)]
    mean = float(table.reference.mean())
    r, d, x, y = (column / mean for column in (table.reference, table.device, steady.reference, steady.device))

    def sums(of: NDArray[np.intp], *columns: FloatArray) -> FloatArray:
        return np.stack([np.bincount(of, weights=column, minlength=count) for column in columns], axis=1)

    return Units(sums(unit, np.ones(r.size), r, d), sums(of_window, np.ones(x.size), x, y, x * x, x * y, y * y), unit,
                 mean, wide, 1.0 if table.sessions > 1 else t_quantile(BLOCK_LEVEL, count - 1), table.sessions > 1)


def fit(action: str, data: Units) -> Rule | None:
    """Find the correction of one kind, in parts of the mean power; None where the data do not give it.

    Scale: one over the mean of device over reference, as the verdict's mean error has it. Offset: mean error. Both: the
    scale is one over the slope of Deming's line through window means (variance ratio 1), and the offset brings the mean
    to that of the reference.
    """
    (n, reference, device), (w, sx, sy, xx, xy, yy) = data.sums()
    if action == "none":
        return Rule(1.0, 0.0)
    if action == "scale":
        return Rule(1 / data.mean_ratio(), 0.0) if device > 0 else None
    if action == "offset":
        return Rule(1.0, float(device - reference) / n)
    if not data.wide or data.windows[:, 0].sum() < 3:
        return None
    gap, twice = yy - sy * sy / w - xx + sx * sx / w, 2 * (xy - sx * sy / w)
    root = math.hypot(gap, twice)
    slope = 0.0 if not twice > 0 else (gap + root) / twice if gap > 0 else twice / (root - gap)
    return Rule(float(1 / slope), float(device - reference * slope) / n) if slope > LEAST_SLOPE else None


def losses(rule: Rule, data: Units) -> FloatArray:
    """Mean squared error of the window means of each unit, in squared parts of mean power; NaN without windows."""
    w, sx, sy, xx, xy, yy = data.windows.T
    k, a = rule
    with np.errstate(invalid="ignore"):
        result: FloatArray = (k * k * (yy - 2 * a * sy + a * a * w) - 2 * k * (xy - a * sx) + xx) / w
    return result


def left_out_rules(action: str, data: Units) -> list[Rule] | None:
    """Return the correction found without each unit in turn."""
    rules = [fit(action, data.without(k)) for k in range(len(data.seconds))]
    return None if None in rules else [rule for rule in rules if rule is not None]


def choose(data: Units) -> str | None:
    """Choose the simplest action whose error on units left out is not clearly larger than that of the best.

    The difference to the best is clear if its mean over units exceeds one standard error of that mean (as Breiman,
    Friedman, Olshen & Stone 1984, section 3.4, but of the paired difference; on blocks the t quantile of them) and
    the square of the smallest change worth a correction. None: fewer than 2 units, so nothing can be left out.
    """
    filled = data.windows[:, 0] > 0
    data = data._replace(seconds=data.seconds[filled], windows=data.windows[filled])
    count = int(filled.sum())
    if count < LEAST_UNITS:
        return None
    table = {}
    for action in ACTIONS:
        rules = left_out_rules(action, data)
        if rules is not None:
            table[action] = np.array([losses(rule, data)[k] for k, rule in enumerate(rules)])
    best = min(table, key=lambda action: float(table[action].mean()))
    for action in ACTIONS:
        if action in table:
            worse = table[action] - table[best]
            error = worse.std(ddof=1) / math.sqrt(count)
            # Of sessions `helps_in_the_mean` judges none: their own spread alone lets luck decide.
            margin = 0.0 if data.sessions and action == "none" else data.margin
            if worse.mean() <= max(margin * error, (WORTHWHILE_PERCENT / 100) ** 2):
                return action
    return best


def rounded(action: str, data: Units, step_percent: float) -> Rule | None:
    """Find the correction with its scale in whole steps; an offset with it is found for the rounded scale."""
    rule = fit(action, data)
    if rule is None or action in ("none", "offset"):
        return rule
    steps = round(100 / step_percent * rule.scale)
    scale = round(steps * step_percent / 100, 12)
    n, reference, device = data.sums()[0]
    return Rule(scale, rule.offset if action == "scale" else float(device - reference / scale) / n) if steps else None
