"""When two recordings are not paired, and why: each refusal says what was found, what is needed, and what to do."""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import MatchError
from agree.core.thresholds import (
    DAY_APART_S,
    EXCHANGED_S,
    LARGEST_RAPID_RATIO,
    LEAST_EVEN_LIKENESS,
    LEAST_EVEN_SHARE,
    LEAST_LIKENESS,
    LEAST_RAPID_LIKENESS,
    LEAST_STEPPED_LIKENESS,
    LEAST_SURE_EVEN,
    LIKENESS_WINDOWS,
    MAX_ALIKE,
    MAX_RIVAL,
    MIN_CORRELATION,
    MIN_OVERLAP_S,
    MIN_OVERLAP_SHARE,
    MIN_STRENGTH,
    MOST_CLOCK_STEPS,
    MOST_DRIFT_PPM,
    MOST_DRIFT_S,
    MOST_LEFT_COLOUR,
    MOST_PLAIN_SE_PPM,
    MOST_RAPID_RATIO,
    MOST_RETURNS,
    RETURN_S,
    SURE_RAPID_LIKENESS,
    USUAL_DRIFT_PPM,
)
from agree.pairing.clocks import clock
from agree.pairing.clocks.fine import Fine
from agree.pairing.same_ride.joined import Other
from agree.pairing.same_ride.minutes import Likeness

FORCE = "if you know the lag, give it: lag_s=... (--lag ...)"
CADENCE = "cadence in both files tells"
PAUSES = ("or one of the recorders paused at stops too many, or too close together, for each to be placed: export both "
          "without automatic pauses, with a timestamp in each row; ")
SPRINTS = "next time add a few 5-s sprints at start and end (common practice)"


class OtherRide(MatchError):
    """A refusal that no other channel can mend: the recordings are of other rides, or their clocks of another kind."""


class JoinedRides(OtherRide):
    """A refusal of recordings that are of one ride for a part."""


class Doubt(Enum):
    """What is wrong with the best lag, if anything."""

    NONE = "none"
    MISSING = "no lag leaves enough in common"
    WEAK = "weak"
    RIVAL = "rival"


def doubt(found: list[clock.Candidate]) -> Doubt:
    """Judge the best of several lags by its strength, its correlation and the next best."""
    if not found:
        return Doubt.MISSING
    best = found[0]
    if best.strength < MIN_STRENGTH or best.correlation < MIN_CORRELATION:
        return Doubt.WEAK
    if len(found) > 1 and (found[1].strength > MAX_RIVAL * best.strength
                           or max(c.correlation for c in found[1:]) > MAX_ALIKE * best.correlation):
        return Doubt.RIVAL
    return Doubt.NONE


def listed(found: list[clock.Candidate], shift: float) -> str:
    """Say which lags were found, the best first."""
    return "; ".join(f"{c.lag + shift:+.1f} s (correlation {c.correlation:.2f}, strength {c.strength:.1f})"
                     for c in found)


Slower = Callable[[], tuple[str, float] | None]


def nothing() -> None:
    """Say of no trace that it is the smoother one."""


def either_averages(slower: Slower, other: str) -> tuple[str, str]:
    """What explains a refusal beside another ride, and what to do then; two blanks if neither trace is much smoother.

    An average hides the rider's own changes, by which one ride is known: two days and one slow device look alike.
    """
    found = slower()
    if found is None:
        return "", ""
    role, ratio = found
    return f"either {other}, or the {role} averages over 20 s or more", (
        f"the {role}'s changes within 10 s, beside its slower ones, are {ratio:.1f} times smaller than the other's: if "
        "it averages, record with its averaging set to none, or to the shortest there is, or else with cadence in "
        "both files; ")


def accept(found: list[clock.Candidate], shift: float, why: Callable[[], str] = str, slower: Slower = nothing) -> None:
    """Refuse a match that is weak, or that has a rival.

    Parameters
    ----------
    found : list of Candidate
        From `candidates`.
    shift : float
        What to add to a lag between places to have one between timestamps, s.
    why : callable
        Says which of the two is steady, if any, which explains a weak match.
    slower : callable
        Says which of the two is much smoother, if any, from `smoothness.smoother`.

    Raises
    ------
    MatchError
        A strength below 15, a correlation below 0.3, or a rival with more than 75 % of the strength.
    """
    unsure = doubt(found)
    weak = unsure in (Doubt.MISSING, Doubt.WEAK)
    shown = (f"the best lags are {listed(found, shift)}; a strength of at least {MIN_STRENGTH:g} and a "
             f"correlation of {MIN_CORRELATION:g} are needed") if found else ""
    if weak and (reason := why()):
        raise MatchError(
            f"a steady ride cannot be aligned: {reason}, and slow changes are alike in any two rides; "
            f"{shown + '; ' if shown else ''}{either_averages(slower, '')[1]}{CADENCE}; {FORCE}; {SPRINTS}")
    if not found:
        raise MatchError(
            f"the recordings do not overlap: no lag leaves {MIN_OVERLAP_S} s, and {100 * MIN_OVERLAP_SHARE:g} % of "
            "the shorter one, in common; check that both are of the same ride, or widen max_lag_s (--max-lag) if you "
            "gave it")
    if weak:
        either, then = either_averages(slower, "they are not of the same ride")
        raise MatchError(
            f"the recordings do not match, and {either or 'are probably not of the same ride'}: {shown}; {then}check "
            f"that both are of the same ride, and that max_lag_s (--max-lag), if given, is wide enough; {FORCE}")
    if unsure is Doubt.RIVAL:
        raise MatchError(f"the recordings match at several lags almost equally well: {listed(found, shift)}; the next "
                         f"best may have {100 * MAX_RIVAL:.0f} % of the strength of the best, and "
                         f"{100 * MAX_ALIKE:.0f} % of its correlation: equal intervals do, and what the rider does "
                         f"between their steps does not tell which is right; "
                         f"{either_averages(slower, '')[1]}{CADENCE}, and so do stamps with dates in both; "
                         f"{FORCE}; {SPRINTS}")


def refuse_zero(power: FloatArray, role: str) -> None:
    """Refuse a trace that is 0 throughout."""
    readings = power[np.isfinite(power)]
    if not readings.any():
        raise MatchError(f"the {role} reads 0 W throughout ({readings.size} s): it was not measuring, and cannot be "
                         "matched; check its connection")


def refuse_inverted(upside_down: list[clock.Candidate], shift: float) -> None:
    """Refuse traces of which one rises where the other falls: candidates of the reference and the negative device."""
    if doubt(upside_down) is Doubt.NONE:
        best = upside_down[0]
        raise OtherRide(
            f"where one recording rises the other one falls (correlation {-best.correlation:.2f} at a lag of "
            f"{best.lag + shift:+.1f} s): one of them seems to be upside down, or a remainder such as target minus "
            "power; check the columns chosen, and the sign of the device")


def refuse_steps(count: int) -> None:
    """Refuse clocks with more steps than anyone can vouch for."""
    if count > MOST_CLOCK_STEPS:
        raise OtherRide(f"the clocks differ by {count} steps, and at most {MOST_CLOCK_STEPS} are taken out: one of "
                        "them seems to count rows, or moving time; export it with a timestamp in each row")


def refuse_returns(sizes: list[int]) -> None:
    """Refuse clocks of which each loses a minute and more against the other, twice: another ride is followed so."""
    long = [size for size in sizes if abs(size) >= RETURN_S]
    returns = min(sum(size > 0 for size in long), sum(size < 0 for size in long))
    if returns > MOST_RETURNS:
        raise OtherRide(
            f"the lag jumps to and fro by {RETURN_S:.0f} s and more ({', '.join(f'{size:+d} s' for size in long)}), "
            "which two clocks do not: either one of them left out stops of which these lags are not the true ones, or "
            "after the first jump the recordings are of different rides; export both with a timestamp (date and time) "
            f"in each row and without automatic pauses, or cut both to a part without stops; {FORCE}")


def refuse_likeness(likeness: Likeness, steps: int, slower: Slower = nothing) -> None:
    """Refuse recordings that are not alike minute by minute, more than at any other shift."""
    least = LEAST_STEPPED_LIKENESS if steps else LEAST_LIKENESS
    if likeness.matched.size < LIKENESS_WINDOWS or likeness.low >= least:
        return
    after = f" and {steps} step{'s' if steps > 1 else ''} of a clock" if steps else ""
    either, then = either_averages(slower, "the recordings are not of the same ride")
    raise OtherRide(
        f"{either or 'the recordings are probably not of the same ride'}: after the best lag{after} "
        f"{int(likeness.matched.sum())} of {likeness.matched.size} minutes are more alike than the same minutes at "
        f"other shifts: by chance this share may be {100 * likeness.low:.0f} % only (lower 95 % limit); "
        f"{100 * least:.0f} % or more are needed of it, which two efforts on one course, or one plan of intervals, do "
        f"not reach; {then}{PAUSES if steps else ''}check that both are of the same ride; {FORCE}")


def refuse_other_rider(rapid: Likeness, ratio: float, leftover: Callable[[], tuple[Likeness, float]],
                       slower: Slower = nothing) -> None:
    """Refuse recordings whose slower changes alone are alike, though both have rapid ones of like size.

    Where few of these are alike, or few minutes tell, or one of the two has up to 4.5 times less, one may be a noisy
    device or one that averages: then, made equally smooth, they are alike (`leftover`, from `same_ride.leftover`), or
    what is left is noise.
    """
    if not rapid.matched.size or not 1 / LARGEST_RAPID_RATIO <= ratio <= LARGEST_RAPID_RATIO:
        return
    few = rapid.matched.size < LIKENESS_WINDOWS
    like_size = 1 / MOST_RAPID_RATIO <= ratio <= MOST_RAPID_RATIO
    if not few and rapid.low >= (SURE_RAPID_LIKENESS if like_size else LEAST_RAPID_LIKENESS):
        return
    told = rapid
    if few or not like_size or rapid.low >= LEAST_RAPID_LIKENESS:
        told, colour = leftover()
        least = LEAST_SURE_EVEN if like_size else LEAST_EVEN_LIKENESS
        alike = not told.share < LEAST_EVEN_SHARE if few else told.low >= least
        if alike or colour < MOST_LEFT_COLOUR:
            return
    either, then = either_averages(slower, "the recordings are of one course, or one plan, on two days")
    raise OtherRide(
        (either or "the recordings are probably of one course, or one plan, on two days")
        + ": their slower changes are alike, but those within 15 s, which are the rider's own, only in "
        f"{int(told.matched.sum())} of {told.matched.size} minutes; {then}check that both are of the same ride; "
        f"{FORCE}")


def refuse_joined(other: Other | None) -> None:
    """Refuse recordings of which a part is of another ride."""
    if other is not None:
        raise JoinedRides(
            f"from {other.start_s / 60:.0f} to {other.stop_s / 60:.0f} min of the reference the recordings are of "
            "different rides, or a clock lost seconds that were not found: their changes have a correlation of "
            f"{other.correlation:.2f} there, and of {other.rest:.2f} in the rest; one of the files seems to be joined "
            "of two rides, or to go on into another one, or to leave out stops; cut both to the part that is of one "
            f"ride, or export both without automatic pauses; {FORCE}")


def told_drift(fine: Fine) -> tuple[float, float]:
    """Return the drift and its standard error, ppm: by the data alone where steps are close together, if they tell."""
    plain, plain_se = (1e6 * value for value in fine.plain)
    return (plain, plain_se) if plain_se <= MOST_PLAIN_SE_PPM else (1e6 * fine.drift, 1e6 * fine.drift_se)


def unusual_drift(fine: Fine) -> bool:
    """Whether a drift is more than two clocks usually have, by two standard errors."""
    ppm, se = told_drift(fine)
    return (fine.drifting or 1e6 * fine.plain[1] <= MOST_PLAIN_SE_PPM) and abs(ppm) - 2 * se > USUAL_DRIFT_PPM


def refuse_drift(fine: Fine, absolute: bool, *, sure: bool = False) -> None:
    """Refuse a drift that no two clocks have, unless the stamps of both are those of clocks.

    It is estimated beyond the limit, and beyond what is usual by two standard errors; or it comes to more than 4 s over
    the recording, however uncertain: lags that scatter so much are those of pauses that were not told apart.

    `sure`: only a drift is refused that is beyond the limit by two standard errors as well; before it is known for how
    long readings are held at stops, stops in one part of a ride are like a drift.
    """
    ppm, se = told_drift(fine)
    wild = abs(1e6 * fine.drift) > MOST_DRIFT_PPM and abs(fine.drift) * 2 * fine.middle > MOST_DRIFT_S
    if not absolute and (wild or (abs(ppm) - 2 * se * sure > MOST_DRIFT_PPM and unusual_drift(fine))):
        raise OtherRide(
            f"the lag changes by {ppm:+.0f} ppm (standard error {se:.0f}), {36e-4 * ppm:+.1f} s an hour, and clocks "
            f"differ by at most {MOST_DRIFT_PPM:g} ppm: one of the recordings seems to lose seconds, as when it counts "
            "rows or leaves out pauses; export it with a timestamp (date and time) in each row")


def refuse_other_day(lag: float, absolute: bool) -> None:
    """Refuse recordings whose stamps, both with a date, are further apart than any time zone explains."""
    if absolute and abs(lag) > DAY_APART_S:
        swapped = ("if a date such as 03/05/2024 was read with day and month exchanged, say which is first: "
                   "day_first=... (dates=day-first, dates=month-first); " if abs(lag) > EXCHANGED_S else "")
        raise OtherRide(
            f"the recordings match at a lag of {lag:+.0f} s ({lag / 86400:+.1f} days), which no time zone explains: "
            "the same workout, or the same course, on another day is alike too; check that both are of the same ride; "
            f"if a clock was not set, allow for it: max_lag_s={abs(lag):.0f} (--max-lag); {swapped}{FORCE}")
