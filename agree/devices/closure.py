"""Closure around triangles: three pairings of three devices must agree with one another."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from agree.core.results.result import Result
from agree.core.thresholds import CLOSURE_LAG_S, CLOSURE_PERCENT
from agree.devices.line_up import LinedUp
from agree.estimators.ratios import ratio_of_sums


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Closure(Result):
    """Three devices, each two paired for themselves.

    Attributes
    ----------
    devices : tuple of str
    percent : float
        From the first to the second, on to the third and back: 100 (r12 r23 r31 - 1).
    lag_s : float
        The same of the clocks, s.
    closes : bool
        Within 0.3 % and 1 s. If it does not, one of the pairings is wrong, or they rest on different stretches of the
        effort in which a device behaves differently.
    """

    devices: tuple[str, str, str]
    percent: float
    lag_s: float
    closes: bool


def closures(lined: LinedUp) -> tuple[Closure, ...]:
    """Go around every triangle."""
    ratios = {}
    for pair, pairs in lined.pairings.items():
        used = pairs.used
        ratios[pair] = 1 + ratio_of_sums((pairs.matched_device - pairs.matched_reference)[used],
                                         pairs.matched_reference[used])[0]
    found = []
    for a, b, c in combinations(range(len(lined.names)), 3):
        percent = 100 * (ratios[a, b] * ratios[b, c] / ratios[a, c] - 1)
        lag = lined.lag_s(a, b) + lined.lag_s(b, c) - lined.lag_s(a, c)
        found.append(Closure(devices=(lined.names[a], lined.names[b], lined.names[c]), percent=percent, lag_s=lag,
                             closes=abs(percent) <= CLOSURE_PERCENT and abs(lag) <= CLOSURE_LAG_S))
    return tuple(found)
