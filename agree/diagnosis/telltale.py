"""Sizes of a scale that tell where it comes from: crank lengths, units, one side not doubled or doubled twice."""

from __future__ import annotations

import math
from itertools import groupby
from typing import NamedTuple

import numpy as np

from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import POWER_RANGE, SCALES_SD_PERCENT, TELLTALE_LEFT, TELLTALE_ODDS
from agree.diagnosis.finding import Cause, Finding
from agree.diagnosis.set_aside_faults import KINDS
from agree.diagnosis.windows.causes import Fit
from agree.diagnosis.windows.frame import spread_ratio
from agree.diagnosis.windows.least_squares import level_off

# Lengths sold, mm: every 2.5 mm from 165 to 180, and the common short ones (from memory of makers' lists).
LENGTHS_MM = (150.0, 155.0, 160.0, 165.0, 167.5, 170.0, 172.5, 175.0, 177.5, 180.0)
MOST_LENGTH_STEPS = 8     # steps of 2.5 mm between length entered and length fitted: 160 for 180 mm
# Watts in one unit of power; metric horsepower 75 kgf m/s, g_n = 9.80665 m/s^2 (3rd CGPM, 1901); horsepower
# 550 ft lbf/s; calories of 4.184 J.
UNITS_W = {"PS": 735.49875, "hp": 745.699872, "kW": 1000.0, "kgf m/s": 9.80665, "ft lbf/s": 1.355818,
           "kcal/h": 4184 / 3600, "kJ/h": 1 / 3.6}
GRAVITY = 10 / 9.80665    # a load cell set with g = 10 m/s^2
# Shares of the left leg vary from rider to rider (48 to 52 % are common, 45 to 55 % are seen): SD of ln(2 share).
SIDE_SD = 0.04
NEAR_NONE, NEAR_WEIGHT = 0.05, 0.01
FAR_SHARE, FAR_RANGE = 0.1, 14.0  # of scales, those of any size at all, and the range of their logarithm
# What a crank length may stand beside: causes that do not move the mean error of the seconds used.
BESIDE_A_LENGTH: frozenset[Cause] = frozenset((
    "scale", "delay", "delay_that_varies", "smoothing", "noise_in_proportion", *KINDS))


class Telltale(NamedTuple):
    """A cause, the ratio of readings it makes, its spread (of the logarithm), its weight, and what it is."""

    cause: Cause
    ratio: float
    spread: float
    weight: float
    values: dict[str, float | int | str | bool]


def _lengths() -> list[Telltale]:
    """Length entered over length fitted; each difference counts alike, and in it each pair."""
    made = [(abs(round((put - real) / 2.5)) * (1 if put > real else -1), put, real)
            for put in LENGTHS_MM for real in LENGTHS_MM if put != real]
    made = sorted(item for item in made if abs(item[0]) <= MOST_LENGTH_STEPS)
    groups = [list(group) for _, group in groupby(made, key=lambda item: item[0])]
    return [Telltale("crank_length", put / real, 0.0, 1 / len(groups) / len(group),
                     {"entered_mm": put, "fitted_mm": real}) for group in groups for _, put, real in group]


def _units() -> list[Telltale]:
    found = [Telltale("unit", factor, 0.0, 0.0, {"written": name, "taken_for": "W"} if sign < 0 else
                      {"written": "W", "taken_for": name}) for name, watts in UNITS_W.items()
             for sign, factor in ((-1, 1 / watts), (1, watts))]
    found += [Telltale("unit", factor, 0.0, 0.0, {"gravity": gravity}) for factor, gravity in
              ((GRAVITY, "10 instead of 9.80665 m/s²"), (1 / GRAVITY, "9.80665 instead of 10 m/s²"))]
    found += [Telltale("unit", UNITS_W[one] / UNITS_W[two], 0.0, 0.0, {"written": one, "taken_for": two})
              for one, two in (("PS", "hp"), ("hp", "PS"))]
    # A scale of 1 or 2 % has many other origins, so that these units count little; those far off have no others.
    near = [abs(math.log(item.ratio)) < NEAR_NONE for item in found]
    return [item._replace(weight=NEAR_WEIGHT if close else (1 - NEAR_WEIGHT * sum(near)) / (len(found) - sum(near)))
            for item, close in zip(found, near, strict=True)]


TELLTALES: tuple[tuple[Telltale, ...], ...] = (
    tuple(_lengths()), tuple(_units()), (Telltale("one_side_not_doubled", 0.5, SIDE_SD, 1.0, {}),),
    (Telltale("one_side_doubled_twice", 2.0, SIDE_SD, 1.0, {}),))


def _density(x: float, centre: float, sd: float) -> float:
    return math.exp(-((x - centre) ** 2) / (2 * sd * sd)) / (sd * math.sqrt(2 * math.pi))


def odds(scale: Estimate, group: tuple[Telltale, ...]) -> float:
    """How much better a group of tell-tale sizes foretells a scale than scales of any origin do.

    Likelihood of the scale's logarithm under the group, over that under scales of any origin: normal about none with
    an SD of 3 %, one in ten of any size at all. An interval so wide that it would hold a ratio of the group in any case
    makes odds near 1; a narrow one with a ratio in it, odds well above; one without, near 0.
    """
    at, se = math.log1p(scale.value), scale.standard_error / (1 + scale.value)
    own = sum(item.weight * _density(at, math.log(item.ratio), math.hypot(se, item.spread, 1e-5)) for item in group)
    any_origin = ((1 - FAR_SHARE) * _density(at, 0.0, math.hypot(SCALES_SD_PERCENT / 100, se)) + FAR_SHARE / FAR_RANGE)
    return own / any_origin


def telltales(fit: Fit) -> list[Finding]:
    """Origins of a scale whose sizes it has: named where the scale's interval holds one and few others fit.

    Beside an offset the scale is judged both by itself and as if it were all of the error: an offset may be the
    reference's, or stand in for what a line cannot follow. An error that bends with power has no such origin, nor have
    a scale and an offset that take most of each other away.

    A wrong length is the same percentage at every power, and lengths lie so close that some fit any scale: it is named
    beside no other cause, and where pairs of one difference alone fit.
    """
    part = fit.part("scale")
    if part is None or fit.part("bend") is not None or _turns(fit):
        return []
    if spread_ratio(fit.frame.power) < POWER_RANGE and abs(part.coefficient.value) < 0.3:
        return []
    tried, alone = [(part.coefficient, part.strength, False)], fit.causes() == {"scale"}
    if fit.causes() & {"offset", "torque_offset"}:
        whole = _whole(fit)
        tried.append((whole, level_off(whole), True))
    found: dict[Cause, Finding] = {}
    for scale, strength, whole_error in tried:
        held = [item for group in TELLTALES for item in group if _holds(scale, item)]
        for group in TELLTALES:
            own = [item for item in group if item in held]
            ratio = odds(scale, group)
            if group[0].cause == "crank_length" and (not alone or len(_differences(own)) > 1):
                continue
            if own and ratio >= TELLTALE_ODDS and group[0].cause not in found:
                percent = 100 * abs(scale.value) if whole_error else part.percent
                found[group[0].cause] = _finding(scale, own, held, strength * ratio / (1 + ratio), percent,
                                                 {"odds": ratio, "as_whole_error": whole_error})
    return list(found.values())


def _differences(own: list[Telltale]) -> list[float]:
    """Differences of the lengths that fit, mm."""
    return sorted({float(item.values["entered_mm"]) - float(item.values["fitted_mm"]) for item in own})


def without_lengths(hints: list[Finding], found: list[Finding]) -> list[Finding]:
    """Origins of a scale without a crank length, where the scale is not all that moves the mean error."""
    alone = all(item.cause in BESIDE_A_LENGTH for item in found) and not any(
        item.cause == "scale" and (item.rivals or item.perhaps) for item in found)
    return [item for item in hints if alone or item.cause != "crank_length"]


def _turns(fit: Fit) -> bool:
    """Whether scale and offset have opposite signs, so that together they make less than half of the scale's part."""
    part = fit.part("scale")
    if part is None or not fit.causes() & {"offset", "torque_offset"}:
        return False
    alone = part.coefficient.value * float(fit.frame.power.mean())
    return float(fit.by_power.mean()) / alone < TELLTALE_LEFT


def _holds(scale: Estimate, item: Telltale) -> bool:
    room = math.expm1(2 * item.spread)
    return (1 + scale.low) * (1 - room) <= item.ratio <= (1 + scale.high) * (1 + room)


def _finding(scale: Estimate, own: list[Telltale], held: list[Telltale], strength: float, percent: float,
             values: dict[str, float | int | str | bool]) -> Finding:
    own = sorted(own, key=lambda item: (round(abs(math.log(item.ratio) - math.log1p(scale.value)), 4),
                                        abs(float(item.values.get("fitted_mm", 172.5)) - 172.5)))
    best = own[0]
    others = tuple(dict.fromkeys(item.cause for item in held if item.cause != best.cause))
    also = {"ratio": best.ratio, "fitting": len(own), "rivals": len(held) - 1, **best.values}
    if best.cause == "crank_length":
        steps = _differences(own)
        also |= {"differences": len(steps), "least_difference_mm": steps[0], "largest_difference_mm": steps[-1]}
    return Finding(cause=best.cause, role="device", size=scale.scaled(100), unit="%", strength=strength,
                   percent=percent, rivals=("scale", *others), values=also | values)


def _whole(fit: Fit) -> Estimate:
    """Scale as if it were all of the error, of the reference: ratio of sums over windows."""
    data = fit.frame
    reference = data.power - data.error / 2
    value = float(data.error.sum() / reference.sum())
    phi = (data.error - value * reference) / float(reference.mean())
    several = len(fit.gains.bounds) > 1
    return estimate(value, phi, level=0.95, sampling="sessions" if several else "serial",
                    session=np.asarray(data.session) if several else None)
