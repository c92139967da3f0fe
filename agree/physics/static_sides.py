"""Each side of a static check by itself: sides that cancel are right together and wrong each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.thresholds import STATIC_SIDES_OF_CLAIM, STATIC_SIDES_USUAL
from agree.physics.static_fit import Hangs
from agree.physics.static_line import Line, Linear, LinearAt, inverse_of, torque_answer
from agree.verdict.claim import Claim
from agree.verdict.rule import FAILS, HOLDS, OPEN


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SideTorque(Result):
    """One side under its masses.

    Attributes
    ----------
    side : str
    hangs : int
    scale : Estimate
        Of this side's line.
    error_percent : Estimate
        Mean error over this side's hangs, per cent of its mean torque, at the level that holds for both sides at once.
    factor : Estimate
        1 / scale: what to multiply this side's readings by.
    verdict : str
        The claim's answer for this side; "" without a claim.
    """

    side: str
    hangs: int
    scale: Estimate
    error_percent: Estimate
    factor: Estimate
    verdict: str


def sides_of(data: Hangs, line: Line, linear_at: LinearAt, claim: Claim | None,
             level: float) -> tuple[SideTorque, ...]:
    """Judge each side that was named by its own hangs."""
    if data.side is None:
        return ()
    plain, joint = linear_at(level), linear_at(level ** (1 / line.sides))
    found = []
    for k, name in enumerate(data.side_names):
        mine = data.side == k
        mean = float(data.torque[mine].mean())
        of_offset, of_scale = line.fit.weights[k], line.fit.weights[line.sides + k]
        offset, slope = float(line.fit.values[k]), float(line.fit.values[line.sides + k])
        error = joint(100 * (of_offset / mean + of_scale), 100 * (offset / mean + slope - 1), 100.0)
        scale = plain(of_scale, slope, 1.0)
        found.append(SideTorque(side=name, hangs=int(mine.sum()), scale=scale, error_percent=error,
                                factor=inverse_of(scale), verdict=torque_answer(error, claim, data.torque[mine])))
    return tuple(found)


def side_difference(line: Line, linear: Linear) -> Estimate | None:
    """Return 100 (second side's scale / first side's - 1), free of what both share; None without two sides."""
    if line.sides != 2:
        return None
    (first, second), (of_first, of_second) = line.fit.values[2:4], line.fit.weights[2:4]
    ratio = float(second / first)
    return linear(100 / first * (of_second - ratio * of_first), 100 * (ratio - 1), 0.0)


def with_sides(answer: str, sides: Sequence[SideTorque]) -> str:
    """Return the answer of all hangs together with those of the sides: what one side fails does not hold.

    A mean over both sides is right for the one split of work between the legs that the masses made.
    """
    answers = [answer, *(item.verdict for item in sides)]
    return "" if not answer else FAILS if FAILS in answers else OPEN if OPEN in answers else HOLDS


def one_factor_mends(difference: Estimate | None, claim: Claim | None) -> bool:
    """Whether one factor can set both sides: it leaves each off by half of their difference."""
    if difference is None or difference.low <= 0 <= difference.high:
        return True
    percent = None if claim is None else claim.percent
    return abs(difference.value) / 2 <= (STATIC_SIDES_OF_CLAIM * percent if percent else STATIC_SIDES_USUAL)

