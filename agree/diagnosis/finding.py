"""`Finding`: a likely cause of the error, in fields; its sentences are made in report/."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result

WindowCause = Literal["scale", "offset", "torque_offset", "drift", "warm_up", "temperature_drift", "bend",
                      "cadence_gain"]
Cause = Literal[
    # in window means
    "scale", "offset", "torque_offset", "drift", "temperature_drift", "sessions_differ", "bend", "cadence_gain",
    # slow faults
    "step", "warm_up",
    # from second to second
    "delay", "delay_that_varies", "smoothing", "uneven_response", "held_readings", "noise_in_proportion",
    # over minutes, with no course
    "wandering",
    # where a scale or an offset may come from
    "crank_length", "unit", "one_side_doubled", "one_side_not_doubled", "one_side_doubled_twice", "loss",
    # seconds set aside
    "late_start", "early_end", "saturation", "held", "dropout", "spike", "partial",
]
Unit = Literal["%", "W", "N m", "s", "% per hour", "W per hour", "% per degree C", "W per degree C",
               "% per rev/min", ""]
Moment = Literal["beside a stop", "after a rest", "cadence changes fast", "speed changes fast", "power changes fast",
                 "warm", "cold"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Compared(Result):
    """Another cause tried in place of one, or beside it.

    Attributes
    ----------
    cause : str
        The other cause.
    left : float
        Mean square error that it leaves in the other's place, over that of the causes named.
    apart : float
        Level at which the cause is still needed with this one beside it.
    too : float
        Level of this one beside the cause.
    """

    cause: Cause
    left: float
    apart: float
    too: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pattern(Result):
    """When faults begin or end, or where a step stands.

    Attributes
    ----------
    moment : str
        What goes with them: "beside a stop", "after a rest", "cadence changes fast", "speed changes fast", "power
        changes fast", "warm" or "cold" (the warmest or coldest third of the ride).
    count, of : int
        Events that are at such a moment, and all events.
    expected : float
        Share of events at such moments if they came at any time alike, 0 to 1.
    p : float
        Chance of as many or more if they came at any time alike (binomial); 1 where it is not judged.
    """

    moment: Moment
    count: int
    of: int
    expected: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finding(Result):
    """A likely cause.

    Attributes
    ----------
    cause : str
        Identifier of the cause, one of `Cause`.
    role : {"", "device", "reference", "either"}
        Whose it is, where that is known or supposed; "" where it is of the two together, "either" of one of the two,
        which the data do not tell.
    size : Estimate or None
        Its size, with interval and standard error, in `unit`; None for faults that are counted.
    unit : str
        "%", "W", "N m", "s", "% per hour", "W per hour", "% per degree C", "W per degree C" or "% per rev/min"; ""
        without a size.
    strength : float
        0 to 1: confidence level of the interval that just reaches "no such cause", lowered where other causes share the
        signature. It is not the probability that the cause is true.
    percent : float
        What it does: root mean square of its part in 30-s means, in per cent of mean power; for faults, what they would
        do to the mean error.
    rivals : tuple of str
        Causes that these data cannot tell from it.
    perhaps : str
        A cause that is likely beside it but not certain; "" without one.
    compared : tuple of Compared
        Other causes tried in its place.
    patterns : tuple of Pattern
        When its events begin and end.
    values : mapping
        Further numbers and names, by name; which ones depends on the cause.

    Examples
    --------
    >>> from agree.diagnosis.finding import Finding
    >>> item = Finding(cause="dropout", role="device", percent=0.4, values={"seconds": 12, "events": 4})
    >>> item.cause, item.values["events"], item.rivals
    ('dropout', 4, ())
    """

    cause: Cause
    role: Literal["", "device", "reference", "either"] = ""
    size: Estimate | None = None
    unit: Unit = ""
    strength: float = 1.0
    percent: float = 0.0
    rivals: tuple[Cause, ...] = ()
    perhaps: Cause | Literal[""] = ""
    compared: tuple[Compared, ...] = ()
    patterns: tuple[Pattern, ...] = ()
    values: Mapping[str, float | int | str | bool] = field(default_factory=dict)
