"""Which of two traces is the smoother, and how: the six models compared, and what the choice rests on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import BETWEEN_FITS, PURE_LAG_S, PURE_LAG_SE, RESPONSE_MISFIT, STAGE_LEAST
from agree.estimators.response import transfer
from agree.estimators.response.linear.delay_alone import delayed, judged
from agree.estimators.response.linear.smeared import as_good, between_seconds, by_chance, second_with_smear, with_smear
from agree.estimators.response.linear.two_stages import sizes_of, turned, two_stages
from agree.estimators.response.transfer import Cross, Fitted, Seen

# A filter must leave so much less than none does (twice the log of a likelihood ratio), times the mean square of what
# is left where that is above 1. With LEAST, none of 336 simulated recordings without a filter came to more than 7.
EVIDENCE = 20.0
LEAST = {"running mean": 1.5, "first order": 0.3}   # s
OWN_ERROR = 0.003      # standard error of a size, as a fraction of it, that comes of bins and of the recording's ends
MARKS = {"running mean": 3.0, "first order": 1.0}   # s; whether these can be excluded is said when none is found
SIDES = ("device", "reference")
STEP_S = 1e-3          # s: least size of a stage
WORDS = {"first order": "first-order lag", "two lags": "two first-order lags in a row",
         "mean and lag": "running mean and first-order lag in a row"}


class Choice(NamedTuple):
    """Model chosen, the smoother side, size and delay (s, device behind reference), and the models as good.

    `ways` holds the filter and those that fit as well: with readings between whole seconds, or two in a row; none
    without a filter. `alike` is None where it was not asked. `misfit` is
    the mean square that the model leaves, over what chance leaves; NaN if it was not judged. `second` is the size of a
    second stage in a row, `part` that of a second by which readings lie between whole ones.
    `unsure` holds the seconds of which the filter knows nothing: after gaps in which it did not go on.
    """

    kind: str
    smoother: str
    size: Estimate | None
    delay: Estimate
    alike: tuple[str, ...] | None
    misfit: float
    ways: tuple[Fitted, ...] = ()
    second: Estimate | None = None
    part: float = 0.0
    unsure: NDArray[np.bool_] | None = None

    @property
    def fits(self) -> bool:
        """Whether the model leaves about what chance leaves."""
        return not self.misfit > RESPONSE_MISFIT


def choose(reference: FloatArray, device: FloatArray, level: float, *, alike: bool = True) -> Choice:
    """Fit a running mean, a lag and none, with either trace as the smoother, and take what leaves least.

    Beside the filter that does, two in a row are tried, and readings between whole seconds. With `alike` also say which
    others are as good; where none is chosen, which of `MARKS` cannot be excluded.
    """
    pairs = dict(zip(SIDES, (transfer.cross(reference, device), transfer.cross(device, reference)), strict=True))
    data = {side: transfer.seen(pair) for side, pair in pairs.items()}
    plain = {side: delayed(item, transfer.best(item, "none")) for side, item in data.items()}
    none = min(SIDES, key=lambda side: plain[side].misfit)
    fitted = {(kind, side): transfer.best(item, kind) for kind in LEAST for side, item in data.items()}
    fitted = {key: item for key, item in fitted.items() if item.size >= LEAST[key[0]]}
    found: dict[str, Found] = {}
    for side in sorted(SIDES, key=lambda one: min((
            item.misfit for key, item in fitted.items() if key[1] == one), default=math.inf)):
        singles = [item for key, item in fitted.items() if key[1] == side]
        if singles and not any(one.left <= RESPONSE_MISFIT for one in found.values()):
            found[side] = _on_side(data[side], singles)
    side = min(found, key=lambda one: found[one].left, default=none)
    item = found[side].ways[0] if found else plain[none]
    enough = EVIDENCE * max(1.0, item.misfit / (2 * data[side].frequency.size))
    if not found or plain[none].misfit - item.misfit <= enough or item.size < LEAST.get(item.kind, 0.0):
        return _without(pairs, data, plain, fitted, level, enough if alike else None)
    ways = as_good(data[side], [*found[side].ways, *found[side].stages])
    others = {named(*key) for key, other in fitted.items() if other.misfit - item.misfit <= enough}
    others |= {named(one.kind, side) for one in found[side].stages if one.misfit - item.misfit <= enough}
    size, second, delay = _sizes(pairs[side], data[side], ways, side, level)
    ways = tuple(one._replace(delay=one.delay + pairs[side].lag) for one in (*ways, *_ends(item, size, second)))
    return Choice(item.kind, side, size, delay, tuple(sorted(others - {named(item.kind, side)})) if alike else None,
                  judged(pairs[side], data[side], item), ways, second, item.part)


def _without(pairs: dict[str, Cross], data: dict[str, Seen], plain: dict[str, Fitted],
             fitted: dict[tuple[str, str], Fitted], level: float, enough: float | None) -> Choice:
    """No filter but a delay; a part of a second of it mixes the readings of one side."""
    side = min(SIDES, key=lambda one: plain[one].misfit)
    late, alike = plain[side], None
    delay = _delay(pairs[side], data[side], late, side, level)
    between = not whole(delay)
    if enough is not None:  # weights differ between the two ways round: each is compared with none on its own side
        unseen = {named(kind, one) for one in SIDES for kind, size in MARKS.items()
                  if transfer.best(data[one], kind, size).misfit - plain[one].misfit <= enough}
        most = late.misfit + BETWEEN_FITS * max(1.0, late.misfit / (2 * data[side].frequency.size))
        unseen |= {named(*key) for key, other in fitted.items() if between and key[1] == side and other.misfit <= most}
        alike = tuple(named(kind, one) for one in SIDES for kind in MARKS if named(kind, one) in unseen)
    return Choice("none", side if between else "", None, delay, alike, judged(pairs[side], data[side], late),
                  part=late.part if between else 0.0)


def whole(delay: Estimate) -> bool:
    """Whether a delay is within 0.1 s, or three standard errors, of whole seconds."""
    error = delay.standard_error if math.isfinite(delay.standard_error) else 0.0
    return abs(delay.value - round(delay.value)) <= max(PURE_LAG_S, PURE_LAG_SE * error)


class Found(NamedTuple):
    """Filters of one side: the best and the same between seconds; two stages that leave less than one; its misfit."""

    ways: list[Fitted]
    stages: tuple[Fitted, ...]
    left: float


def _on_side(data: Seen, singles: Sequence[Fitted]) -> Found:
    one = min(singles, key=lambda item: item.misfit)
    ways = between_seconds(data, one)
    stages = two_stages(data, one, min(item.misfit for item in ways))
    if stages.clear is not None:
        ways = between_seconds(data, stages.clear)
    others = tuple(one for one in stages.tried if one != stages.clear)
    return Found(ways, others, ways[0].misfit / (2 * data.frequency.size))


def opposite(delay: Estimate) -> Estimate:
    """Return the delay of the other trace behind this one."""
    return replace(delay, value=-delay.value, low=-delay.high, high=-delay.low)


def named(kind: str, side: str) -> str:
    """Words for a model."""
    return f"{WORDS.get(kind, kind)} of the {side}"


def _ends(found: Fitted, size: Estimate, second: Estimate | None) -> list[Fitted]:
    """The filter with its size at either limit of chance, as late as it is; of two stages the other one makes up."""
    mean = found.kind in ("running mean", "mean and lag")
    made = []
    for wide, after in zip(by_chance(size), (0.0, 0.0) if second is None else by_chance(second)[::-1], strict=True):
        one = found._replace(size=max(wide, 1.0 if mean else STEP_S), second=after if second is None else max(
            after, STEP_S))
        late = found.second - one.second + (0.0 if mean else found.size - one.size)  # a lag is late by itself
        made.append(one._replace(delay=found.delay + late))
    return made


def _delay(pair: Cross, data: Seen, found: Fitted, side: str, level: float) -> Estimate:
    """Delay of the device behind the reference, without a filter."""
    phi = transfer.influence(pair, data, found, ())
    delay = estimate(found.delay + found.part + pair.lag, phi[0], level=level, sampling="serial")
    return opposite(delay) if side == "reference" else delay


def _sizes(pair: Cross, data: Seen, ways: tuple[Fitted, ...], side: str, level: float) -> tuple[
        Estimate, Estimate | None, Estimate]:
    """Size, that of a second stage, and delay of the device behind the reference, of the first of all that fit."""
    found = ways[0]
    phi = transfer.influence(pair, data, found, turned(found))
    delay = estimate(found.delay + found.part + pair.lag, phi[-1], level=level, sampling="serial")
    least, second = 1.0 if found.kind in ("running mean", "mean and lag") else 0.0, None
    if found.kind in STAGE_LEAST:
        size, second = sizes_of(found, phi[:2], level, OWN_ERROR)
        second = second_with_smear(second, phi[-1], ways)
    else:
        size = estimate(found.size, phi[0], level=level, sampling="serial")
        error = math.hypot(size.standard_error, OWN_ERROR * found.size)
        half = t_quantile(level, size.df) * error
        size = replace(size, low=max(size.value - half, least), high=size.value + half, standard_error=error)
    size, delay = with_smear(size, delay, least, phi[-1], ways)
    return size, second, opposite(delay) if side == "reference" else delay


def line_errors(x: FloatArray, y: FloatArray) -> tuple[float, FloatArray]:
    """Slope, and errors about the straight line, for equal errors of both (Deming 1943); NaN where unknown."""
    good = np.isfinite(x) & np.isfinite(y)
    a, b = x - x[good].mean(), y - y[good].mean()
    xx, yy, xy = (float(np.mean((p * q)[good])) for p, q in ((a, a), (b, b), (a, b)))
    slope = (yy - xx + math.hypot(yy - xx, 2 * xy)) / (2 * xy) if xy > 0 else math.nan
    errors: FloatArray = b - slope * a
    return slope, errors


def explained(before: FloatArray, after: FloatArray, level: float) -> Estimate:
    """Share of the mean square of errors that is gone; the interval is made on the log of what is left."""
    good = np.isfinite(before) & np.isfinite(after)
    was, now = np.square(before[good]), np.square(after[good])
    if not (was.mean() > 0 and now.mean() > 0):
        value = 1.0 if was.mean() > 0 else 0.0
        return Estimate(value=value, low=value, high=value, level=level, method="nothing is left")
    log = estimate(math.log(now.mean() / was.mean()), now / now.mean() - was / was.mean(), level=level,
                   sampling="serial")
    return Estimate(value=-math.expm1(log.value), low=-math.expm1(log.high), high=-math.expm1(log.low), level=level,
                    method=log.method + ", log scale", df=log.df, drift=log.drift,
                    standard_error=log.standard_error * math.exp(log.value))
