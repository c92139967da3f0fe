"""Which lag to believe: when a match is refused, and what cadence and speed say of it."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import MatchError
from agree.core.pairs import Witness
from agree.pairing import clock
from agree.pairing.grid import Grid

# Steady power, in a match that is weak: 5-s means of the fast changes have a standard deviation of less than 5 % of the
# median working power (0.12 or more in any 10 min of 5 real rides); or of 10 % and 1.5 times that of white noise.
STEADY_S, STEADY_SHARE, STEADY_NOISY_SHARE, STEADY_NOISE = 5, 0.05, 0.1, 1.5
FORCE = "if you know the lag, give it: lag_s=... (--lag ...)"
WITNESSES = ("cadence", "speed")  # in order of trust: speed is alike in simulated rides
# Cadence stands still and speed is slow, so chance makes them more alike than power. Of 632 wrong pairings of pieces
# of 5 real rides (10 to 60 min) cadence reached a strength of 19.8, and speed, calculated from power, 23.8.
CADENCE_STRENGTH, SPEED_STRENGTH = 25.0, 35.0
WITNESS_STRENGTH = {"cadence": CADENCE_STRENGTH, "speed": SPEED_STRENGTH}
AGREES_S, AGREES_SE = 3.0, 3.0  # a witness may differ by so much: a mean over some seconds delays power, not cadence
CONTRADICTS_S = 10.0


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


def listed(found: list[clock.Candidate], shift: float) -> str:
    """Say which lags were found, the best first."""
    return "; ".join(f"{c.lag + shift:+.1f} s (correlation {c.correlation:.2f}, strength {c.strength:.1f})"
                     for c in found)


def accept(found: list[clock.Candidate], shift: float, why: Callable[[], str] = str) -> None:
    """Refuse a match that is weak, or that has a rival.

    Parameters
    ----------
    found : list of Candidate
        From `candidates`.
    shift : float
        What to add to a lag between places to have one between timestamps, s.
    why : callable
        Says which of the two is steady, if any, which explains a weak match.

    Raises
    ------
    MatchError
        A strength below 15, a correlation below 0.3, or a rival with more than 75 % of the strength.
    """
    weak = not found or found[0].strength < clock.MIN_STRENGTH or found[0].correlation < clock.MIN_CORRELATION
    shown = (f"the best lags are {listed(found, shift)}; a strength of at least {clock.MIN_STRENGTH:g} and a "
             f"correlation of {clock.MIN_CORRELATION:g} are needed") if found else ""
    if weak and (reason := why()):
        raise MatchError(
            f"a steady ride cannot be aligned: {reason}, and slow changes are alike in any two rides; "
            f"{shown + '; ' if shown else ''}{FORCE}; next time add a few 5-s sprints at start and end (common "
            "practice)")
    if not found:
        raise MatchError(
            f"the recordings do not overlap: no lag leaves {clock.MIN_OVERLAP_S} s, and {100 * clock.MIN_SHARE:g} % of "
            "the shorter one, in common; check that both are of the same ride, or widen max_lag_s (--max-lag) if you "
            "gave it")
    if weak:
        raise MatchError(
            f"the recordings do not match, and are probably not of the same ride: {shown}; check that both are of the "
            f"same ride, and that max_lag_s (--max-lag), if given, is wide enough; {FORCE}")
    if len(found) > 1 and (found[1].strength > clock.MAX_RIVAL * found[0].strength
                           or max(c.correlation for c in found[1:]) > clock.MAX_ALIKE * found[0].correlation):
        raise MatchError(f"the recordings match at several lags almost equally well: {listed(found, shift)}; the next "
                         f"best may have {100 * clock.MAX_RIVAL:.0f} % of the strength of the best, and "
                         f"{100 * clock.MAX_ALIKE:.0f} % of its correlation; {FORCE}")


def ask(x: Grid, y: Grid, channel: str, lowest: float, highest: float) -> tuple[
        clock.Fine, list[clock.Candidate]] | None:
    """Lag of another channel, if both recordings have it and it decides clearly; else None."""
    one, two = getattr(x, channel), getattr(y, channel)
    if one is None or two is None:
        return None
    found = clock.candidates(one, two, lowest, highest)
    try:
        accept(found, 0.0)
    except MatchError:
        return None
    if found[0].strength < WITNESS_STRENGTH[channel]:
        return None
    return clock.refine(one, two, found[0].lag), found


def call(x: Grid, y: Grid, fine: clock.Fine, channel: str, lowest: float, highest: float) -> list[Witness]:
    """Witnesses to a lag that `channel` told: those of the other channels that decide clearly."""
    shift, called = y.first - x.first, []
    for name in WITNESSES:
        told = ask(x, y, name, lowest, highest) if name != channel else None
        if told is not None:
            (own, found) = told
            se = math.hypot(*(0.0 if math.isnan(v) else v for v in (own.lag_se, fine.lag_se)))
            called.append(Witness(
                channel=name, lag_s=round(own.lag + shift, 6), lag_se_s=own.lag_se, correlation=found[0].correlation,
                strength=found[0].strength, agrees=abs(own.lag - fine.lag) <= AGREES_S + AGREES_SE * se))
    return called


def hear(witnesses: list[Witness], lag: float, channel: str, found: list[clock.Candidate], shift: float) -> list[str]:
    """Notes on witnesses that disagree with the lag told by `channel`; a gross contradiction is refused.

    Raises
    ------
    MatchError
        A witness more than 10 s away.
    """
    notes = []
    for witness in witnesses:
        apart = witness.lag_s - lag
        told = f"{witness.channel} says {witness.lag_s:+.1f} s"
        if abs(apart) > CONTRADICTS_S:
            raise MatchError(
                f"{channel} and {witness.channel} match at different lags: {channel} at {listed(found[:1], shift)}, "
                f"{witness.channel} at {witness.lag_s:+.1f} s (correlation {witness.correlation:.2f}, strength "
                f"{witness.strength:.1f}); one of the recordings may be of another ride, or have joined sensors of "
                f"two clocks; {FORCE}")
        if not witness.agrees:
            notes.append(f"{told}, {abs(apart):.1f} s {'before' if apart < 0 else 'after'} the lag of {channel}, "
                         f"{lag:+.1f} s: more than a mean over some seconds explains; check which is right")
    return notes
