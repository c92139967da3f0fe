"""One programme on two days: refused where power or cadence tells, and said where nothing in the files does."""

from __future__ import annotations

from agree.core.results.note import Note
from agree.core.thresholds import (
    COLOUR_SE,
    LEAST_OWN_CADENCE,
    LEAST_OWN_SIZE,
    LEAST_PROGRAMME_S,
    LEAST_SHARED,
    LEAST_TRACE,
    LEAST_WHOLE_SHARE,
    MOST_MEAN_S,
    MOST_STRANGE_SHARE,
    SURE_SE,
)
from agree.pairing import witnesses
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.smoothness import smoother
from agree.pairing.grid import Grid
from agree.pairing.refusal import FORCE, OtherRide, either_averages
from agree.pairing.same_ride.between_steps import SLOW, alike
from agree.pairing.same_ride.rider import CADENCE_AHEAD_S, NOTHING, Own, own_changes, worked
from agree.pairing.slow_power import response_explains


def strange(own: Own, least: float = LEAST_OWN_SIZE) -> bool:
    """Whether both have changes of their own between steps, and those of the one are not in the other."""
    return (own.seconds > 0 and own.size >= least and own.colour > COLOUR_SE * own.colour_se
            and own.share + SURE_SE * own.share_se < MOST_STRANGE_SHARE)


def shared(own: Own) -> bool:
    """Whether the changes between steps are alike beyond doubt, and all that there is: steps leave less of them."""
    return own.correlation - SURE_SE * own.correlation_se > LEAST_SHARED and own.share > LEAST_WHOLE_SHARE


def surely_shared(own: Own) -> bool:
    """Whether they are so much alike, and so much of what there is, that unlike minutes are those of noise."""
    return (own.correlation - COLOUR_SE * own.correlation_se > LEAST_SHARED
            and own.share - SURE_SE * own.share_se > MOST_STRANGE_SHARE)


def of_power(x: Grid, y: Grid, fine: Fine) -> Own:
    """Compare the rider's own changes of power; of readings every 2 s, those alone."""
    return own_changes(x.power, y.power, fine, read=(x.read, y.read))


def of_cadence(x: Grid, y: Grid, fine: Fine) -> Own:
    """Compare the rider's own changes of cadence, where both have it."""
    if x.cadence is None or y.cadence is None:
        return NOTHING
    late = behind_cadence(x, y, fine)
    return own_changes(x.cadence, y.cadence, fine, ahead_s=CADENCE_AHEAD_S) if late is None else own_changes(
        x.cadence, y.cadence, fine._replace(lag=fine.lag - late))


def behind_cadence(x: Grid, y: Grid, fine: Fine) -> float | None:
    """How much later power is than a cadence that is clear, by more than is looked at anyway; None if it is not.

    A device that averages power over half a minute is so late, and its cadence is not.
    """
    most = MOST_MEAN_S / 2
    told = witnesses.ask(x, y, "cadence", fine.lag - most, fine.lag + most)
    late = 0.0 if told is None else fine.lag - told.lag
    explained = told is not None and abs(late) > CADENCE_AHEAD_S and response_explains(x, y, fine.lag, told.lag)
    return late if explained else None


def one_ride(x: Grid, y: Grid, fine: Fine) -> bool:
    """Whether the rider's own changes, of power or of cadence at the same lag, are beyond doubt those of one ride."""
    power = of_power(x, y, fine)
    return not strange(power) and (surely_shared(power) or alike(x, y, fine).told
                                   or surely_shared(of_cadence(x, y, fine)))


def one_programme(x: Grid, y: Grid, fine: Fine, absolute: bool) -> tuple[Note, ...]:
    """Refuse two rides of one programme; a note if they cannot be told from one ride.

    Dates that agree do not tell two riders who ride one programme side by side. They do where power is held so still
    that no rider leaves a trace in it: then nothing else can.

    Parameters
    ----------
    x, y : Grid
        Reference and device.
    fine : Fine
        Lags found by power.
    absolute : bool
        The stamps of both have a date.

    Raises
    ------
    OtherRide
        Both have changes between steps, of power or else of cadence, and those of the one are not in the other.
    """
    power = of_power(x, y, fine)
    if strange(power):
        raise OtherRide(_words("power", power, absolute, x, y))
    rapid = alike(x, y, fine)
    if rapid.told:
        return ()
    cadence = of_cadence(x, y, fine)
    if strange(cadence, LEAST_OWN_CADENCE):
        raise OtherRide(_words("cadence", cadence, absolute, x, y))
    if shared(cadence) or (absolute and rapid.size < LEAST_TRACE) or alike(x, y, fine, SLOW).told:
        return ()
    if not power.seconds and worked(x.power, y.power, fine) < LEAST_PROGRAMME_S:
        return ()
    return (Note(kind="pair_programme_untold", severity="trust", values={
        "seconds": power.seconds, "dated": absolute,
        **({"correlation": power.correlation} if power.seconds else {})}),)


def _words(channel: str, own: Own, dated: bool, x: Grid, y: Grid) -> str:
    whose = "by two riders" if dated else "on two days"
    one = f"of one programme, or one course, {whose}"
    either, then = either_averages(lambda: smoother(x.power, y.power), f"the recordings are {one}")
    return (f"{either or f'the recordings are probably {one}'}: the steps of power coincide, but "
            f"between them ({own.seconds} s) the rider's own changes of {channel} do not: their correlation is "
            f"{own.correlation:.2f}, and {max(100 * own.share, 0):.0f} % of what one ride gives (at least "
            f"{100 * MOST_STRANGE_SHARE:.0f} % needed); {then}check that both are of the same ride; "
            f"{'' if dated else 'files with dates tell; '}{FORCE}")
