"""States of a device over its sessions, and the change from each to the next."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from agree.core.checks import fraction
from agree.core.errors import InputError
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
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
    session_bias : tuple of Estimate
        Mean error of each session by itself, per cent, in the order they were ridden.
    recordings : tuple of (str, str, str)
        Session, reference and device of each, by name.
    seconds : tuple of int
        Used seconds of each.
    slow : tuple of Note
        Sessions that drifted while warming up, or changed their zero or level: `session`, `fault`.
    """

    state: str
    sessions: int
    bias_percent: Estimate
    session_sd: float
    session_bias: tuple[Estimate, ...] = ()
    recordings: tuple[tuple[str, str, str], ...] = ()
    seconds: tuple[int, ...] = ()
    slow: tuple[Note, ...] = ()


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
        What the adjustment should have done, in points, as was foretold or as the label of the later state says; NaN if
        neither says anything.
    as_expected : bool or None
        True if the interval lies within the margin about the expected change, False if it leaves the expected change
        out; None where that is not settled or nothing was expected.
    if_declared : Estimate or None
        Of two parts of one recording whose place was not declared beforehand: what the change would be if it had been.
    answer_if_declared : {"changed", "not changed", "not settled", ""}
        The answer that goes with `if_declared`; "" without it.
    """

    before: str
    after: str
    change_percent: Estimate
    answer: Answer
    margin_percent: float
    expected_percent: float
    as_expected: bool | None
    if_declared: Estimate | None = None
    answer_if_declared: Answer | Literal[""] = ""

    def to_dict(self) -> dict[str, object]:
        """Return the change with the keys "from" and "to"."""
        stored = Result.to_dict(self)
        return {"from": stored.pop("before"), "to": stored.pop("after"), **stored}


def spelling(label: str) -> str:
    """Return a label without what two hands write in two ways: capitals, blanks, hyphens, a decimal comma."""
    return re.sub(r"[\s_-]+", "", label.casefold()).replace(",", ".")


def same_spelling(labels: Sequence[str]) -> None:
    """Refuse labels of states that differ only in how they are written: they would count as two states.

    Raises
    ------
    InputError
        Naming both.

    Examples
    --------
    >>> from agree.trail.states import same_spelling
    >>> same_spelling(["new", "zeroed anew", "new"])
    """
    known: dict[str, str] = {}
    for label in labels:
        first = known.setdefault(spelling(label), label)
        if first != label:
            raise InputError(f"`states` holds {first!r} and {label!r}, which differ only in how they are written: "
                             "write one state in one way", option="states")


def expected_change(before: str, after: str, error_percent: float = 0.0) -> float:
    """Change in points that a factor entered should bring: a device that is multiplied by 1.01 reads 1 % more.

    Parameters
    ----------
    before, after : str
        Labels of the two states; a factor is the whole one that the device works with in a state, 1 if none is named.
    error_percent : float
        Mean error in the earlier state: a device that reads 2 % low gains 0.98 points of the reference by 1.01.

    Returns
    -------
    float
        NaN if the later label names no factor between 0.5 and 2.

    Examples
    --------
    >>> from agree.trail.states import expected_change
    >>> round(expected_change("new", "factor 1.01 entered"), 2), round(expected_change("factor 1.02", "factor 1.01"), 2)
    (1.0, -0.98)
    >>> round(expected_change("new", "factor 1.01 entered", -2.0), 2)
    0.98
    """
    found = [FACTOR.search(label) for label in (before, after)]
    if found[1] is None:
        return math.nan
    old, new = (1.0 if item is None else float(item[1].replace(",", ".")) for item in found)
    ratio = new / old if 0.5 < new < 2 and 0.5 < old < 2 else math.nan
    return 100 * (ratio - 1) * (1 + error_percent / 100)


def answered(change: Estimate, margin: float) -> Answer:
    """Answer whether there was a change: "changed" leaves out 0, "not changed" lies within the margin."""
    if change.low > 0 or change.high < 0:
        return "changed"
    return "not changed" if -margin <= change.low and change.high <= margin else "not settled"


def foretold(change: Estimate, expected: float, margin: float) -> bool | None:
    """Answer whether a change was as expected: True within the margin about it, False if it is left out."""
    if not math.isfinite(expected) or not math.isfinite(change.low):
        return None
    if expected - margin <= change.low and change.high <= expected + margin:
        return True
    return None if change.low <= expected <= change.high else False


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
        raise InputError(f"`margin` must be above 0; got {margin:g}", option="margin")
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
    return item, answered(item, margin)
