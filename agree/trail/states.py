"""States of a device over its sessions, and the change from each to the next."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

from agree.core.checks import fraction
from agree.core.errors import InputError
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result

Answer = Literal["changed", "not changed", "not settled"]
FACTOR = re.compile(r"(?:factor|scale|slope)\s*(?:of\s*)?(\d+(?:[.,]\d+)?)", re.IGNORECASE)
METHOD = "t of the smaller number of sessions less one"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State(Result):
    """The sessions in one state.

    Attributes
    ----------
    state : str
        Its label, such as "new" or "factor 1.01 entered".
    sessions : int
    bias_percent : Estimate
        Mean error of its sessions, per cent; of one session that session's own.
    session_sd : float
        SD of its sessions' mean errors; NaN for one.
    """

    state: str
    sessions: int
    bias_percent: Estimate
    session_sd: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Change(Result):
    """The change from one state to the next.

    Attributes
    ----------
    before, after : str
        Labels of the two states.
    change_percent : Estimate
        Later minus earlier mean error, in points; without limits where a state has one session.
    answer : {"changed", "not changed", "not settled"}
        "changed" if the interval leaves out 0, "not changed" if it lies within the margin, else "not settled".
    margin_percent : float
        The largest change that counts as none.
    expected_percent : float
        What the label of the later state says the adjustment should have done, in points; NaN if it says nothing.
    as_expected : bool or None
        Whether the interval holds the expected change; None where nothing was expected or one session cannot tell.
    """

    before: str
    after: str
    change_percent: Estimate
    answer: Answer
    margin_percent: float
    expected_percent: float
    as_expected: bool | None

    def to_dict(self) -> dict[str, object]:
        """Return the change with the keys "from" and "to"."""
        stored = Result.to_dict(self)
        return {"from": stored.pop("before"), "to": stored.pop("after"), **stored}


def expected_change(before: str, after: str) -> float:
    """Change in points that a factor entered should bring: a device that is multiplied by 1.01 reads 1 % more.

    Examples
    --------
    >>> from agree.trail.states import expected_change
    >>> round(expected_change("new", "factor 1.01 entered"), 2), round(expected_change("factor 1.02", "factor 1.01"), 2)
    (1.0, -0.98)
    """
    found = [FACTOR.search(label) for label in (before, after)]
    if found[1] is None:
        return math.nan
    old, new = (1.0 if item is None else float(item[1].replace(",", ".")) for item in found)
    return 100 * (new / old - 1) if 0.5 < new < 2 and 0.5 < old < 2 else math.nan


def change_between(earlier: State, later: State, *, margin: float, level: float = 0.95) -> tuple[Estimate, Answer]:
    """Change of the mean error from one state to the next, with its interval and answer.

    Parameters
    ----------
    earlier, later : State
        Both with the mean over sessions and its standard error between sessions.
    margin : float, points
        The largest change that counts as none.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    Estimate, str
        Later minus earlier; "changed", "not changed" or "not settled".

    Raises
    ------
    InputError
        A margin of 0 or less.

    Notes
    -----
    The standard error is root(se1^2 + se2^2); t has min(S1, S2) - 1 degrees of freedom, which covers whatever the two
    spreads are, where a pooled spread does not (Hsu 1938; Scheffe 1970, JASA 65:1501; from memory). One session in a
    state says nothing about other days, so that no change is told from one.

    Examples
    --------
    >>> from agree import Estimate
    >>> from agree.trail.states import State, change_between
    >>> def state(value, se):
    ...     item = Estimate(value=value, low=-9, high=9, level=0.95, method="t", standard_error=se, df=2)
    ...     return State(state="", sessions=3, bias_percent=item, session_sd=se * 3**0.5)
    >>> item, answer = change_between(state(-2.0, 0.12), state(-0.1, 0.09), margin=0.75)
    >>> print(item, answer)
    1.90 [1.25, 2.55] changed
    """
    fraction(level, "level")
    if not margin > 0:
        raise InputError(f"`margin` must be above 0; got {margin:g}")
    first, second = earlier.bias_percent, later.bias_percent
    value = second.value - first.value
    smallest = min(earlier.sessions, later.sessions)
    if smallest < 2:
        return Estimate(value=value, low=-math.inf, high=math.inf, level=level,
                        method="one session in a state"), "not settled"
    se = math.hypot(first.standard_error, second.standard_error)
    half = t_quantile(level, smallest - 1) * se
    item = Estimate(value=value, low=value - half, high=value + half, level=level, method=METHOD, standard_error=se,
                    df=smallest - 1.0)
    answer: Answer = ("changed" if item.low > 0 or item.high < 0 else
                      "not changed" if -margin <= item.low and item.high <= margin else "not settled")
    return item, answer
