"""A ceiling that noise or a slower trace hides: readings pile up at a top while the other trace has more."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.core.thresholds import (
    CEILING_MOST_SHARE,
    CEILING_PILE_ERRORS,
    CEILING_PILE_MOVES,
    CEILING_PILE_S,
    CEILING_PILE_SLOPE,
    CEILING_SIGNS,
    CLAIM_MARGIN_S,
    CLAIM_SHARE,
    WORKING_W,
)
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.nonlinear.any_filter import through
from agree.estimators.response.nonlinear.repeating import Repeating
from agree.faults.ceilings.before_filter import more_than_half
from agree.faults.view import NORMAL, Mask, View, largest_near, usual_error

TRIED, FEWEST = 60, 5     # tops that are tried, and the fewest readings above one
WORTH, MOST = 1.5, 3.0    # squares of an error (1 is usual) that a second at a top must explain, and the largest error
TOUCHED = 0.1             # weight of seconds at the top in a filtered second, above which it tells of them
UNTOUCHED = 0.02          # and of unknown seconds, below which it is known
USUAL_SHARE = 0.75        # of the working seconds, the lower ones: they tell what error is constant
CONSTANT = 0.15           # share of power beyond which a constant error is none: half of the power is missing, or such
WIDTH = 3.0               # SD of the readings at a top within which they are at it
LEAST_S = 120             # working seconds below which nothing is looked for


class Lack(NamedTuple):
    """What a trace lacks, W, in seconds of the smoother one; its robust SD; and the seconds that tell of it."""

    energy: FloatArray
    sd: float
    valid: Mask


class Pile(NamedTuple):
    """Readings at a top: which, what the trace should have read there, and what that says.

    `errors` is the energy it lacks in standard errors, `slope` how much of a change of power it shows, `moves` by how
    many standard deviations of its errors power changes there, `stays` the share of the lack that is left a few seconds
    around, where a filter that errs gives back what it took, and `signs` by how many standard deviations more of these
    seconds lack something than would by chance (`more_than_half`).
    """

    at: Mask
    should: FloatArray
    level: float
    errors: float
    slope: float
    moves: float
    stays: float
    signs: float

    @property
    def is_ceiling(self) -> bool:
        """Whether readings stay at the top while power, which the other trace shows, moves above it."""
        return (int(self.at.sum()) >= CEILING_PILE_S and self.errors >= CEILING_PILE_ERRORS
                and abs(self.slope) <= CEILING_PILE_SLOPE and self.moves >= CEILING_PILE_MOVES
                and self.stays >= CLAIM_SHARE and self.signs >= CEILING_SIGNS)


def piled_up(view: View) -> Mask:
    """Seconds in which a trace is at a ceiling that its own noise, or a slower other trace, hides.

    Parameters
    ----------
    view : View
        The trace, and the other one, by which it is judged; either may be the smoother one.

    Returns
    -------
    (n,) array of bool
        Seconds at the ceiling; none if the traces do not tell one.

    Notes
    -----
    Of all tops that one is taken above which the readings explain most of what the other trace has more, for their
    number; then those count that lie within three standard deviations of the readings that lack most. It is a ceiling
    if these lack energy, if they do not rise with power (a bend does), and if power moves there by more than noise: of
    a trainer that holds one power nothing tells a ceiling from a bend. A slower other trace shows each second only
    smeared, so that power is told from what it has more in all the seconds in which it shows it.
    """
    found = np.zeros(view.y.size, bool)
    if isinstance(view.kernel, Repeating) or view.working.sum() < LEAST_S:
        return found
    lack = lacking(view)
    top = _top(view, lack)
    pile = None if top is None else pile_at(view, lack, top)
    if pile is None or not pile.is_ceiling:
        return found
    # Chosen by the other trace alone, since readings are high by their own noise too; a slower one cannot choose.
    at = pile.at if view.kernel is not None else view.known & (pile.should > pile.level - lack.sd)
    return at if at.sum() <= CEILING_MOST_SHARE * view.working.sum() else found


def lacking(view: View) -> Lack:
    """What a trace lacks beside the other one, apart from a constant error."""
    whole = np.where(np.isfinite(view.y), view.y, view.usual)
    rest = view.other - view.compared(whole)
    valid = (_seen(view, ~view.known) <= UNTOUCHED) & (_seen(view, view.working) >= 1 - UNTOUCHED)
    valid &= view.other > WORKING_W
    if not valid.any():
        return Lack(np.zeros(rest.size), 0.0, valid)
    low = valid & (view.other <= np.quantile(view.other[valid], USUAL_SHARE))
    share = usual_error(np.where(valid, rest / np.maximum(view.other, WORKING_W), 0.0), low)
    constant = np.interp(np.arange(rest.size), np.flatnonzero(low), share[low])
    valid &= np.abs(constant) <= CONSTANT
    energy = np.where(valid, rest - constant * view.other, 0.0)
    apart = energy[valid]
    sd = NORMAL * float(np.median(np.abs(apart - np.median(apart)))) if apart.size else 0.0
    return Lack(np.maximum(energy, -MOST * sd), sd, valid)


def pile_at(view: View, lack: Lack, top: float) -> Pile | None:
    """Readings above a top, or near those of them that lack most; None if there are none."""
    y = np.nan_to_num(view.y)
    first = view.working & (y >= top)
    if not first.any():
        return None
    each = _for_each(view, lack, first)
    strong = first & (each >= np.median(each[first]))
    level = float(np.median(y[strong]))
    spread = NORMAL * float(np.median(np.abs(y[strong] - level)))
    at = view.working & (y >= max(top, level - max(1.0, WIDTH * spread)))
    touched = (_seen(view, at) > TOUCHED) & lack.valid
    if at.sum() < 3 or not touched.any():
        return None
    should = y + (each if view.kernel is None else _for_each(view, lack, at))
    power = should[at]
    total, around = float(lack.energy[touched].sum()), largest_near(touched.astype(float), CLAIM_MARGIN_S) > 0
    slope = float(np.cov(y[at], power)[0, 1]) / max(float(power.var(ddof=1)), 1e-12)
    usual = float(np.median(view.other[lack.valid]))
    return Pile(at, should, level, total / (lack.sd * float(np.sqrt(touched.sum()))), slope,
                float(power.std()) / (lack.sd * max(level / usual, 1.0)),
                float(lack.energy[around].sum()) / total if total > 0 else 0.0,
                more_than_half(power - y[at]))


def _top(view: View, lack: Lack) -> float | None:
    """The top above which readings explain most of what is lacking; None if none explains any."""
    if not lack.sd > 0:
        return None
    squares = np.clip(lack.energy / lack.sd, 0.0, MOST) ** 2 - WORTH
    high = np.sort(np.nan_to_num(view.y)[view.working])[::-1]
    best, most = None, 0.0
    for count in np.unique(np.geomspace(FEWEST, CEILING_MOST_SHARE * high.size, TRIED).astype(int)):
        at = view.working & (np.nan_to_num(view.y) >= high[count - 1])
        worth = float(squares[(_seen(view, at) > TOUCHED) & lack.valid].sum())
        if worth > most:
            best, most = float(high[count - 1]), worth
    return best


def _seen(view: View, mask: Mask) -> FloatArray:
    """Share of each second of the smoother trace that seconds of this one make."""
    return view.compared(mask.astype(float))


def _for_each(view: View, lack: Lack, at: Mask) -> FloatArray:
    """What each second lacks, W: what is lacking where it is shown, for the seconds at the top that are shown there."""
    by = view.kernel
    if by is None:
        return lack.energy
    back = Kernel(1 - by.start - by.weights.size, by.weights[::-1])
    each: FloatArray = through(lack.energy, back) / np.maximum(through(_seen(view, at), back), 1e-9)
    return each
