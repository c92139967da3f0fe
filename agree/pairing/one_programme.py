"""One programme on two days: refused where power or cadence tells, and said where nothing in the files does."""

from __future__ import annotations

from agree.core.results.note import Note
from agree.core.thresholds import LEAST_OWN_CADENCE, LEAST_OWN_SIZE, LEAST_SHARED, MOST_STRANGE_SHARE
from agree.pairing.clocks.fine import Fine
from agree.pairing.grid import Grid
from agree.pairing.refusal import FORCE, OtherRide
from agree.pairing.same_rider import SLOW_PIECE_S, Own, own_changes

SURE_SE, COLOUR_SE = 2.0, 3.0


def strange(own: Own, least: float = LEAST_OWN_SIZE) -> bool:
    """Whether both have changes of their own between steps, and those of the one are not in the other."""
    return (own.seconds > 0 and own.size >= least and own.colour > COLOUR_SE * own.colour_se
            and own.share + SURE_SE * own.share_se < MOST_STRANGE_SHARE)


def shared(own: Own) -> bool:
    """Whether the changes between steps are alike beyond doubt."""
    return own.correlation - SURE_SE * own.correlation_se > LEAST_SHARED


def one_programme(x: Grid, y: Grid, fine: Fine, absolute: bool) -> tuple[Note, ...]:
    """Refuse one programme on two days; a note if it cannot be told from one ride, and no date tells either.

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
    power = own_changes(x.power, y.power, fine)
    if strange(power):
        raise OtherRide(_words("power", power))
    if not power.seconds or shared(power):
        return ()
    if x.cadence is not None and y.cadence is not None:
        cadence = own_changes(x.cadence, y.cadence, fine)
        if strange(cadence, LEAST_OWN_CADENCE):
            raise OtherRide(_words("cadence", cadence))
        if shared(cadence):
            return ()
    if absolute or shared(own_changes(x.power, y.power, fine, SLOW_PIECE_S)):
        return ()
    return (Note(kind="pair_programme_untold", severity="trust", values={
        "seconds": power.seconds, "correlation": power.correlation}),)


def _words(channel: str, own: Own) -> str:
    return (f"the recordings are probably of one programme, or one course, on two days: the steps of power coincide, "
            f"but between them ({own.seconds} s) the rider's own changes of {channel} do not: their correlation is "
            f"{own.correlation:.2f}, and {max(100 * own.share, 0):.0f} % of what one ride gives (at least "
            f"{100 * MOST_STRANGE_SHARE:.0f} % needed); check that both are of the same ride; files with dates tell; "
            f"{FORCE}")
