"""What cadence and speed say of the lag, and whether power is too steady to tell it."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.pairs import Witness
from agree.core.errors import MatchError
from agree.core.results.note import Note
from agree.core.thresholds import (
    AGREES_S,
    AGREES_SE,
    CADENCE_STRENGTH,
    CONTRADICTS_S,
    SPEED_STRENGTH,
    STEADY_NOISE,
    STEADY_NOISY_SHARE,
    STEADY_SHARE,
)
from agree.pairing.clocks import clock
from agree.pairing.clocks.fine import Fine, peak
from agree.pairing.grid import Grid
from agree.pairing.refusal import FORCE, Doubt, doubt, listed
from agree.pairing.slow_power import response_explains

STEADY_S = 5
WITNESSES = ("cadence", "speed")  # in order of trust: speed is alike in simulated rides
WITNESS_STRENGTH = {"cadence": CADENCE_STRENGTH, "speed": SPEED_STRENGTH}


def steady(trace: FloatArray) -> bool:
    """Tell whether a trace has no fast changes of effort to speak of: only small ones, or those of white noise."""
    fast = clock.fast_changes(trace)
    working = trace[np.isfinite(trace) & (trace > 0)]
    means = fast[:fast.size // STEADY_S * STEADY_S].reshape(-1, STEADY_S).mean(axis=1)
    steps = np.diff(fast)
    means, steps = means[np.isfinite(means)], steps[np.isfinite(steps)]
    if not (working.size and means.size and steps.size):
        return True
    noise = math.sqrt(float(steps @ steps) / steps.size / 2 / STEADY_S)
    level, sd = float(np.median(working)), float(means.std())
    return still(level, sd, noise)


def still(level: float, sd: float, noise: float) -> bool:
    """Tell whether changes are small beside the level, or about those of white noise; all in W."""
    return sd < STEADY_SHARE * level or sd < min(STEADY_NOISY_SHARE * level, STEADY_NOISE * noise)


def calm(x: Grid, y: Grid) -> str:
    """Say which of the two is steady; "" if neither is."""
    said = []
    for role, grid in (("reference", x), ("device", y)):
        readings = grid.power[np.isfinite(grid.power)]
        if np.ptp(readings) <= clock.STILL_W:
            said.append(f"the {role} reads {readings[0]:g} W throughout")
        elif steady(grid.power):
            said.append(f"the {role} has no fast changes of power to speak of above its noise")
    return " and ".join(said)


class Told(NamedTuple):
    """Lag that a channel tells, its standard error (NaN: cannot be told), and the candidates it was chosen from."""

    lag: float
    se: float
    found: list[clock.Candidate]


def ask(x: Grid, y: Grid, channel: str, lowest: float, highest: float) -> Told | None:
    """Lag of another channel, if both recordings have it and it decides clearly; else None."""
    one, two = getattr(x, channel), getattr(y, channel)
    if one is None or two is None:
        return None
    found = clock.candidates(one, two, lowest, highest)
    if doubt(found) is not Doubt.NONE or found[0].strength < WITNESS_STRENGTH[channel]:
        return None
    return Told(*peak(one, two, found[0].lag), found)


def call(x: Grid, y: Grid, fine: Fine, channel: str, lowest: float, highest: float) -> list[Witness]:
    """Witnesses to a lag that `channel` told: those of the other channels that decide clearly.

    One that is before power by what the average of a device makes agrees.
    """
    shift, called = y.first - x.first, []
    for name in WITNESSES:
        told = ask(x, y, name, lowest, highest) if name != channel else None
        if told is not None:
            se = math.hypot(*(0.0 if math.isnan(v) else v for v in (told.se, fine.lag_se)))
            called.append(Witness(
                channel=name, lag_s=round(told.lag + shift, 6), lag_se_s=told.se,
                correlation=told.found[0].correlation, strength=told.found[0].strength,
                agrees=abs(told.lag - fine.lag) <= AGREES_S + AGREES_SE * se or (
                    channel == "power" and response_explains(x, y, fine.lag, told.lag))))
    return called


def hear(witnesses: list[Witness], lag: float, channel: str, found: list[clock.Candidate], shift: float) -> list[Note]:
    """Notes on witnesses that disagree with the lag told by `channel`; a gross contradiction is refused.

    Raises
    ------
    MatchError
        A witness more than 10 s away that does not agree.
    """
    notes = []
    for witness in witnesses:
        apart = witness.lag_s - lag
        if abs(apart) > CONTRADICTS_S and not witness.agrees:
            raise MatchError(
                f"{channel} and {witness.channel} match at different lags: {channel} at {listed(found[:1], shift)}, "
                f"{witness.channel} at {witness.lag_s:+.1f} s (correlation {witness.correlation:.2f}, strength "
                f"{witness.strength:.1f}); one of the recordings may be of another ride, or have joined sensors of "
                f"two clocks; {FORCE}")
        if not witness.agrees:
            notes.append(Note(kind="pair_witness_differs", severity="trust", values={
                "channel": witness.channel, "lag_s": witness.lag_s, "of": channel, "of_s": lag}))
    return notes
