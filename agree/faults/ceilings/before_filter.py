"""A ceiling of a sensor before a filter: the trace has no largest value, but smoothes what was cut."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    CEILING_FILTERED_ALIKE,
    CEILING_FILTERED_LEFT,
    CEILING_FILTERED_LOW,
    CEILING_FILTERED_SHARE,
    CEILING_FILTERED_SLOPE,
    CEILING_OVER,
    CEILING_SECONDS,
    CEILING_SIGNS,
)
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.nonlinear.any_filter import AnyFilter, through
from agree.faults.view import Mask, View

DELAY = 2                 # weights of a delay by a part of a second
LOWEST, TRIED = 0.25, 60  # of the largest power, to which the ceiling of a sensor is sought, and how many are tried


def ceiling_before_filter(smooth: View, sharp: View) -> Mask:
    """Seconds in which a smoother trace shows a ceiling that averaging or noise came after: it has no largest value.

    Parameters
    ----------
    smooth, sharp : View
        The smoother trace, and the other one, from which it is foretold.

    Notes
    -----
    The other one, cut at the ceiling and filtered, or filtered and then cut, foretells it far better than uncut. Of all
    powers that one is taken above which some slope, in place of that below it, leaves least: above a ceiling it is next
    to 0. A trace that bends at high power has a slope of its own there (`of_ceiling`).
    """
    found = np.zeros(smooth.y.size, bool)
    by = sharp.kernel or _other_way(smooth.kernel)
    if by is None:
        return found
    rest = np.where(smooth.known, np.nan_to_num(smooth.y) - smooth.usual, 0.0)
    highest = np.argsort(np.where(smooth.known, smooth.usual, 0.0))[-2 * CEILING_SECONDS:]
    if rest[highest].sum() > -CEILING_FILTERED_LOW * smooth.usual[highest].sum():
        return found
    power = np.where(np.isfinite(sharp.y), np.nan_to_num(sharp.y), np.nan_to_num(sharp.usual))
    tried: list[tuple[Above, Mask]] = []
    for top in np.geomspace(LOWEST, 1.0, TRIED, endpoint=False) * power.max():
        if (power > CEILING_OVER * top).sum() < CEILING_SECONDS:
            break
        for lost in (smooth.ratio * through(np.maximum(power - top, 0.0), by),
                     np.maximum(smooth.usual - smooth.ratio * top, 0.0)):  # cut before the filter, or after it
            shown = smooth.known & (lost > CEILING_FILTERED_SHARE * smooth.usual)
            high = tried[0][1] if tried else shown  # of the lowest: all is to be explained that a bend would do there
            above = above_top(rest[high], np.where(shown, lost, 0.0)[high])
            tried.append((above, shown))
    best = of_ceiling([one for one, _ in tried])
    if best is None or more_than_half(-rest[tried[best][1]]) < CEILING_SIGNS:
        return found
    return tried[best][1]


def more_than_half(lacks: FloatArray) -> float:
    """By how many standard deviations more seconds lack something than would by chance.

    A spike of the other trace beside a top lacks much, but in few.
    """
    return float((2 * (lacks > 0).sum() - lacks.size) / np.sqrt(max(lacks.size, 1)))


def _other_way(by: AnyFilter | None) -> Kernel | None:
    """A delay, as it makes the sharper trace of the smoother one; no filter has one."""
    if not isinstance(by, Kernel) or by.weights.size > DELAY:
        return None
    return Kernel(1 - by.start - by.weights.size, by.weights[::-1])


class Above(NamedTuple):
    """How a trace goes on above some power: its slope there, and the squares left with that slope and with none.

    Both are shares of what is left where it goes on as below.
    """

    slope: float
    bent: float
    cut: float

    @property
    def is_ceiling(self) -> bool:
        """Whether it has no slope there, and nothing much else is amiss."""
        return abs(self.slope) <= CEILING_FILTERED_SLOPE and self.cut <= CEILING_FILTERED_LEFT


def of_ceiling(tried: list[Above]) -> int | None:
    """Which of the powers tried is a ceiling; None if it is none, or if none was tried.

    It is the one above which some slope leaves least, if that slope is next to 0; or the one above which no slope at
    all does, if it leaves nearly as little: beside a filter that errs in every sprint hardly a slope stands out.
    """
    if not tried:
        return None
    bent, cut = (min(range(len(tried)), key=[getattr(one, name) for one in tried].__getitem__) for name in (
        "bent", "cut"))
    if tried[bent].is_ceiling:
        return bent
    return cut if tried[cut].cut <= min(CEILING_FILTERED_LEFT, CEILING_FILTERED_ALIKE * tried[bent].bent) else None


def above_top(rest: FloatArray, lost: FloatArray) -> Above:
    """How a trace goes on above some power.

    Parameters
    ----------
    rest : (n,) array, W
        Readings minus what the other trace foretells.
    lost : (n,) array, W
        What a ceiling would take of them.
    """
    before, square = float(rest @ rest), float(lost @ lost)
    if not min(before, square) > 0:
        return Above(1.0, 1.0, 1.0)
    left = rest + lost
    slope = float(left @ lost) / square
    bent = left - slope * lost
    return Above(slope, float(bent @ bent) / before, float(left @ left) / before)
