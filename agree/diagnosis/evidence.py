"""`Finding`, and what the fitting set of causes says in words: the numbers for each cause and against it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from agree.core.checks import FloatArray
from agree.core.engine import estimate
from agree.core.estimate import Estimate
from agree.core.result import Result
from agree.correction.find import Correction
from agree.diagnosis.causes import (
    APART_STRENGTH,
    FLOOR,
    HINT_STRENGTH,
    NAMED_STRENGTH,
    POWER_RANGE,
    WORTHWHILE_PERCENT,
    Fit,
    Part,
    level_off,
    regress,
)
from agree.diagnosis.frame import spread_ratio

LENGTHS_MM = tuple(155 + 2.5 * k for k in range(13))
CRANK_HALF_PERCENT = 0.5     # widest half-interval of a scale that can tell of a crank length
# Lines through measured losses of clean chain drives: output = (1 - a) power - b, a as a fraction and b in W.
LOSS_LINES = ((0.010, 2.6), (0.013, 2.4), (0.013, 3.5))
LOSS_STRENGTH = 0.5          # at most: a loss looks like an offset with a scale
WORDS = {"scale": "scale", "offset": "offset", "torque": "offset in N m", "drift": "drift", "step": "step",
         "temperature": "drift with temperature"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finding(Result):
    """A likely cause.

    Attributes
    ----------
    cause : str
        Its name; "A or B" where the data cannot tell the two apart.
    evidence, against : str
        What speaks for it and what against it, with numbers; "" if nothing does.
    strength : float
        0 to 1: confidence level of the interval that just reaches "no such cause" (engine, serial), lowered where
        other causes share the signature. It is not the probability that the cause is true.
    percent : float
        Size: root mean square of what the cause does to 30-s means, in per cent of mean power; for faults, what
        they do to the mean.
    key : str
        The number to quote.
    rivals : tuple of str
        Causes that the data cannot tell from this one.
    """

    cause: str
    evidence: str
    against: str = ""
    strength: float = 1.0
    percent: float = 0.0
    key: str = ""
    rivals: tuple[str, ...] = ()


def interval(item: Estimate, digits: int, factor: float = 1.0) -> str:
    """Value and limits with a sign."""
    value, low, high = (f"{factor * x:+.{digits}f}" for x in (item.value, item.low, item.high))
    return f"{value} [{low}, {high}]"


def _key(part: Part, fit: Fit) -> str:
    share = part.shape == "%"
    unit = {"scale": "%", "offset": "W", "torque": "N m"}.get(part.name, "%" if share else "W")
    per = {"drift": " per hour", "temperature": " per degree C"}.get(part.name, "")
    text = f"{interval(part.coefficient, 2, 100 if share else 1)} {unit}{per}"
    if part.name == "step":
        text += f" at {60 * fit.frame.hours[fit.step]:.0f} min"
    return text


def _for(part: Part, fit: Fit) -> list[str]:
    data, notes = fit.frame, None
    rows = {"scale": data.power, "offset": np.ones(data.power.size), "torque": data.turning}
    row = rows.get(part.name)
    if row is not None:
        # What this cause has to explain: the error without the parts of the others.
        own = fit.residual + part.coefficient.value * row
        by, place = (data.power, "power") if part.name != "torque" else (row, "cadence")
        share, unit = (own, "W") if part.name == "torque" else (100 * own / data.power, "%")
        low, high = (float(share[mask].mean()) for mask in (by <= np.percentile(by, 30), by >= np.percentile(by, 70)))
        rest = ", the other causes taken out" if len(fit.parts) > 1 else ""
        notes = f"{low:+.1f} {unit} at the lowest third of {place}, {high:+.1f} {unit} at the highest{rest}"
    if part.name == "step":
        notes = ("just after a pause in pedalling, as when a device sets itself to zero" if data.rested[fit.step]
                 else "no pause in pedalling just before it")
    texts = [f"{part.percent:.1f} % of mean power in 30-s means"]
    if len(fit.parts) == 1:
        texts.append(f"explains {100 * fit.explained:.0f} % of their mean square error")
    return [*texts, *([notes] if notes else [])]


def rivals(part: Part, fit: Fit) -> list[str]:
    """Causes that the data cannot tell from this one, by their words."""
    same = [name for name, rival in part.rivals.items() if rival.apart < APART_STRENGTH]
    if part.name == "scale" and spread_ratio(fit.frame.power) < POWER_RANGE:
        same.append("offset")
    return [WORDS[name] for name in same]


def _too(part: Part, fit: Fit, same: list[str]) -> str:
    """Scale beside an offset, or an offset beside a scale, that is likely but not certain."""
    other = {"scale": "offset", "offset": "scale", "torque": "scale"}.get(part.name, "")
    torque = part.name == "scale" and any(item.name == "torque" for item in fit.parts)
    rival = part.rivals.get(other)
    return WORDS[other] if rival and not torque and WORDS[other] not in same and rival.too >= HINT_STRENGTH else ""


def _against(part: Part, fit: Fit, same: list[str]) -> list[str]:
    data, texts = fit.frame, []
    wide = spread_ratio(data.power)
    if part.name == "scale" and wide < POWER_RANGE:
        texts.append(f"cannot tell scale from offset: the power varies by a factor of {wide:.2f} only")
    for name, (ratio, level, _) in part.rivals.items():
        word = WORDS[name]
        if word in same:
            texts.append(f"cannot tell from {word}, which would leave {ratio:.2f} times the mean square error")
        else:
            texts.append(f"not {word} instead: {ratio:.2f} times the mean square error (level {level:.3f})")
    if part.name == "offset" and "torque" not in part.rivals and not any(p.name == "torque" for p in fit.parts):
        known = f"varies by a factor of {spread_ratio(data.turning):.2f} only"
        texts.append(f"cannot tell W from N m: the cadence {'is not recorded' if data.turning is None else known}")
    return texts


def parts(fit: Fit, correction: Correction) -> list[Finding]:
    """Findings of the fitting set, a loss between the two, and crank lengths that a scale would fit."""
    found = []
    for part in fit.parts:
        same = rivals(part, fit)
        against, also = _against(part, fit, same), _too(part, fit, same)
        if part.name == "scale":
            sd = correction.session_sd_percent
            against.append(f"between sessions the factor varies by SD {sd:.2g} %" if math.isfinite(sd) else
                           "one recording cannot tell whether it is the same on other days")
        found.append(Finding(
            cause=" or ".join([WORDS[part.name], *same]) + (f", perhaps {also} too" if also else ""),
            evidence="; ".join([_key(part, fit), *_for(part, fit)]),
            against="; ".join(against), strength=part.strength, percent=part.percent, key=_key(part, fit),
            rivals=(*same, *([WORDS["torque"]] if any("W from N m" in text for text in against) else []))))
    return found


def crank_lengths(fit: Fit) -> list[Finding]:
    """Crank-length settings, in steps of 2.5 mm, whose ratio to a real length lies in the interval of the scale."""
    names = {item.name for item in fit.parts}
    if "scale" not in names or names & {"offset", "torque"}:
        return []
    part = next(item for item in fit.parts if item.name == "scale")
    if rivals(part, fit):
        return []
    half = 50 * (part.coefficient.high - part.coefficient.low)
    ratios = {(put, real): put / real - 1 for put in LENGTHS_MM for real in LENGTHS_MM if put != real}
    fits = [pair for pair, ratio in ratios.items() if part.coefficient.low <= ratio <= part.coefficient.high]
    if half > CRANK_HALF_PERCENT or not fits:
        return []
    values = np.array(list(ratios.values()))
    steps = np.linspace(values.min(), values.max(), 4001)
    near: FloatArray = np.abs(steps[:, None] - values).min(axis=1)
    chance = float(np.mean(near <= half / 100))
    fits.sort(key=lambda pair: (abs(ratios[pair] - part.coefficient.value), abs(pair[1] - 172.5)))
    named = ", ".join(f"{put:g} for {real:g}" for put, real in fits[:4]) + (
        f" and {len(fits) - 4} more" if len(fits) > 4 else "")
    return [Finding(
        cause="crank length set wrong", strength=part.strength * (1 - chance), percent=part.percent, rivals=("scale",),
        key=f"{fits[0][0]:g} for {fits[0][1]:g} mm?",
        evidence=f"the scale holds {len(fits)} ratios of lengths in 2.5-mm steps (set for real, mm: {named}); check it",
        against=f"a scale of any origin would hold one with a chance of {100 * chance:.0f} %; only where the device "
        "computes with a crank length")]


def loss(fit: Fit) -> list[Finding]:
    """A loss between two measuring points, if the intervals of scale and offset reach those of clean chains.

    Lines of loss: output = 0.990 P - 2.6 W, 0.987 P - 2.4 W and 0.987 P - 3.5 W for three gears of a clean chain,
    fitted to measured losses (common practice).
    """
    data = fit.frame
    if not {item.name for item in fit.parts} & {"scale", "offset", "torque"} or spread_ratio(data.power) < POWER_RANGE:
        return []
    slope, intercept = regress(np.stack((data.power, np.ones(data.power.size))), data.error,
                               FLOOR * float(data.power.mean()))
    sign = math.copysign(1, float(data.error.mean()))
    ranges = [sorted(sign * line[k] for line in LOSS_LINES) for k in (0, 1)]
    inside = all(item.low <= ends[-1] and ends[0] <= item.high
                 for item, ends in zip((slope, intercept), ranges, strict=True))
    if not inside or slope.value * sign < 0 or intercept.value * sign < 0:
        return []
    certain = min(level_off(slope), level_off(intercept))
    where = "device" if sign < 0 else "reference"
    size = 100 * math.sqrt(float(np.mean((slope.value * data.power + intercept.value) ** 2))) / float(data.power.mean())
    return [Finding(
        cause="loss between the two", strength=LOSS_STRENGTH * certain, percent=size,
        key=f"{interval(slope, 1, 100)} % and {interval(intercept, 1)} W", rivals=("scale", "offset"),
        evidence=f"scale {interval(slope, 2, 100)} % with offset {interval(intercept, 1)} W: a clean chain loses 1.0 "
        "to 1.3 % and 2.4 to 3.5 W, more in per cent at low power",
        against=f"cannot tell from a scale with an offset: it needs the {where} to measure further down the drive (hub "
        "or trainer against crank or pedals); say where each measures")]


def unclear(correction: Correction, fit: Fit | None) -> list[Finding]:
    """The mean is off for certain, but no cause is."""
    scale = correction.scale
    off = replace(scale, value=scale.value - 1)
    if correction.kind == "none" or level_off(off) < NAMED_STRENGTH:
        return []
    text = f"the mean asks for a factor of {scale.value:.4f} [{scale.low:.4f}, {scale.high:.4f}]"
    why = "there are too few windows of pedalling" if fit is None else (
        f"the power varies by a factor of {spread_ratio(fit.frame.power):.2f}, the line says {correction.kind}")
    return [Finding(cause="scale or offset", evidence=text, against=f"cannot tell: {why}", strength=level_off(off),
                    percent=abs(100 / scale.value - 100), key=f"factor {scale.value:.4f}", rivals=("scale", "offset"))]


def sessions_differ(fit: Fit) -> list[Finding]:
    """Difference of the mean error in per cent between the two sessions furthest apart."""
    data = fit.frame
    means = []
    for number in range(int(data.session.max()) + 1):
        chosen = data.session == number
        power = float(data.power[chosen].mean())
        share = 100 * data.error[chosen] / power
        if share.size > 8:
            means.append(estimate(float(share.mean()), share, level=0.95, sampling="serial"))
    if len(means) < 2:
        return []
    low, high = min(means, key=lambda item: item.value), max(means, key=lambda item: item.value)
    gap = high.value - low.value
    pairs = len(means) * (len(means) - 1) / 2
    item = replace(low, value=gap, standard_error=math.hypot(low.standard_error, high.standard_error))
    strength = max(0.0, 1 - pairs * (1 - level_off(item)))
    size = float(np.std([item.value for item in means]))
    if strength < NAMED_STRENGTH or size < WORTHWHILE_PERCENT:
        return []
    return [Finding(
        cause="differs between sessions", strength=strength, percent=size,
        key=f"{low.value:+.1f} to {high.value:+.1f} %",
        evidence=f"mean errors from {interval(low, 2)} to {interval(high, 2)} %, SD {size:.2f} %: a zero or a "
        "temperature of each day", against=f"the furthest of {pairs:.0f} pairs of sessions; what changed from day to "
        "day is not recorded")]


def likely(findings: tuple[Finding, ...], most: int = 3) -> str:
    """First causes with their key numbers, and how many more the JSON holds."""
    named = [f"{item.cause} ({item.key})" if item.key else item.cause for item in findings[:most]]
    more = len(findings) - most
    return "; ".join([*named, f"{more} more in the JSON"] if more > 0 else named) or "nothing stands out."
