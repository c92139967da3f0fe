"""Looks at the data that were declared beforehand: how much of the allowed error each may spend."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from agree.core.errors import InputError

MOST_LOOKS = 20
# Share of tests, per cent, in which one side errs at the limit if a tester looks after each session from the second
# on and stops at the first settled answer, by the last session (Armitage, McPherson & Rowe 1969; simulated for t).
UNDECLARED_PERCENT = {2: 2.5, 3: 4.4, 4: 5.7, 5: 6.8, 6: 7.6, 7: 8.4, 8: 9.0}


def checked_looks(looks: Sequence[int]) -> tuple[int, ...]:
    """Return the numbers of sessions after which the data are looked at.

    Raises
    ------
    InputError
        Not increasing whole numbers of 2 or more.
    """
    found = tuple(looks)
    whole = all(isinstance(count, int | np.integer) and not isinstance(count, bool) and count >= 2 for count in found)
    if not 1 <= len(found) <= MOST_LOOKS or not whole or any(later <= one for one, later in pairwise(found)):
        raise InputError("`looks` must be increasing numbers of sessions, 2 or more each, such as (3, 5, 8); got "
                         f"{looks!r}", option="looks")
    return tuple(int(count) for count in found)


def level_at(looks: Sequence[int], sessions: int, level: float) -> float | None:
    """Confidence level at a declared look; None between looks, when no answer is given.

    Of the one-sided error alpha = (1 - level)/2 the look after S_j of S_K sessions spends
    alpha [(S_j/S_K)^2 - (S_(j-1)/S_K)^2], so that all looks together err in at most alpha (Bonferroni). The power
    family of Kim & DeMets (1987, Biometrika 74:149, from memory).

    Examples
    --------
    >>> from agree.verdict.looks import level_at
    >>> [round(50 * (1 - level_at((3, 5, 8), count, 0.95)), 2) for count in (3, 5, 8)]
    [0.35, 0.62, 1.52]
    >>> level_at((3, 5, 8), 4, 0.95) is None
    True
    """
    if sessions not in looks:
        return None
    place = list(looks).index(sessions)
    before = looks[place - 1] if place else 0
    return 1 - (1 - level) * (sessions**2 - before**2) / looks[-1] ** 2


def undeclared_percent(sessions: int) -> float:
    """Wrong answers on one side, per cent, of a tester who looked after each session up to this one."""
    return UNDECLARED_PERCENT[min(max(sessions, 2), max(UNDECLARED_PERCENT))]
