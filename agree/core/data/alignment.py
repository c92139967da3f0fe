"""`Alignment`: how two clocks were matched, with their steps and what other channels say."""

from __future__ import annotations

import math
from dataclasses import dataclass

from agree.core.results.result import Result
from agree.core.shared_docs import made_by


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """What another channel than power says of the lag.

    Attributes
    ----------
    channel : {"cadence", "speed"}
        Recorded by both.
    lag_s, lag_se_s : float
        Its lag and standard error, s.
    correlation, strength : float
        Of its fast changes at that lag.
    agrees : bool
        The lag is within 3 s and 3 standard errors of that of the alignment.
    """

    channel: str
    lag_s: float
    lag_se_s: float
    correlation: float
    strength: float
    agrees: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockStep:
    """A step of one clock against the other.

    Attributes
    ----------
    time_s : float
        Where the new lag begins, on the pairs' time, s.
    step_s : float
        Change of the lag, s: negative if the device's clock lost time, positive if the reference's did.
    se_s : float
        Standard error of the step; NaN if it cannot be told.
    """

    time_s: float
    step_s: float
    se_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Delay:
    """Whose the lag is, where the stamps of both recordings have a date.

    Attributes
    ----------
    cause : {"none", "device", "clock", "undecided"}
        What is late: nothing to speak of; one device's power, while its cadence is in time; the clock; or nothing in
        the files decides it.
    rest_s : float
        The lag less what the difference in response explains, s: positive if the device is late.
    explained_s : float
        What the difference in response explains, s: the mean delay of the filter.
    se_s : float
        Standard error of `rest_s`, s.
    """

    cause: str
    rest_s: float
    explained_s: float
    se_s: float


@made_by("pair_recordings", also=("Pairs",),
         references='The pages "How recordings are paired" and "Which seconds are faulty" of the documentation.')
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Alignment(Result):
    """How two clocks were matched.

    Attributes
    ----------
    lag_s : float
        Device timestamp minus reference timestamp of one event, in seconds; before the first step, if there is one.
    lag_se_s : float
        Standard error of the lag, from its spread between windows; NaN if there was one window.
    drift_ppm : float
        Change of the lag in parts per million of the elapsed time; NaN if fewer than 3 windows show it.
    drift_se_ppm : float
        Standard error of the drift; a drift of less than 3 of them cannot be distinguished from none.
    correlation : float
        Correlation of the two traces, fast changes only, at that lag.
    runner_up : float
        The next best correlation at a distinctly different lag.
    note : {"", "zone", "lag_unusual"}
        What is unusual: a lag near a whole number of quarter hours, or a large one; there is a note of it too.
    channel : {"power", "cadence", "speed", "given", "assumed"}
        What the lag was found from; "assumed" if both are in one file and power does not show it.
    witnesses : tuple of Witness
        What other channels say of it.
    steps : tuple of ClockStep
        Steps of one clock against the other, in order; they were taken out.
    delay : Delay, optional
        Whose the lag is; None unless the stamps of both have a date and the lag was found by power.

    Examples
    --------
    >>> from agree import Alignment
    >>> nan = float("nan")
    >>> Alignment(lag_s=2.5, lag_se_s=0.1, drift_ppm=nan, drift_se_ppm=nan, correlation=0.98, runner_up=0.4, note="",
    ...           channel="power").lag_s
    2.5
    """

    lag_s: float
    lag_se_s: float
    drift_ppm: float
    drift_se_ppm: float = math.nan
    correlation: float
    runner_up: float
    note: str = ""
    channel: str = "power"
    witnesses: tuple[Witness, ...] = ()
    steps: tuple[ClockStep, ...] = ()
    delay: Delay | None = None
