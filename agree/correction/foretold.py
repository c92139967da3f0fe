"""What entering a correction will do to a session not yet recorded: harm, error left, and whether it helps at all."""

from __future__ import annotations

import math

from scipy import special

from agree.core.interval.engine import t_quantile
from agree.core.thresholds import (
    LEAST_GAIN,
    LEAST_SHOWN,
    LEAST_TO_FORETELL,
    LUCK,
    SHOWN_LEVEL,
    USUAL_SD_PERCENT,
    USUAL_SD_WEIGHT,
)


def harm(size: float, sd: float, sessions: int) -> float:
    """Probability that the next session's error is larger after the correction than before.

    It is if that session asks for less than half of the correction: a normal variable below 0 whose mean is the
    correction and whose SD is sqrt(4 + 1/S) that of sessions. From 3 sessions on its unbiased estimate from their mean
    and SD, a beta probability (after Lieberman & Resnikoff 1955, JASA 50:457, from memory); with 2 that would be 0 or
    1/2, so the t probability of the forecast is given, which is more pessimistic. For those that are entered it is
    raised as `error_left` is. NaN with one session: it cannot be known.

    Parameters
    ----------
    size, sd : float
        Correction and SD of what sessions ask for, in one unit.
    sessions : int
        Number of sessions.

    Examples
    --------
    >>> from agree.correction.foretold import harm
    >>> round(harm(3.0, 0.8, 5), 3), harm(3.0, 0.8, 1)
    (0.009, nan)
    """
    if sessions < 2 or math.isnan(sd):
        return math.nan
    if not sd > 0:
        return 0.0
    if sessions == 2:
        below = float(special.stdtr(1, -size / 2 / (sd * math.sqrt(1.5))))
    else:
        share = size / (2 * sd * math.sqrt(sessions - 1))
        below = float(special.betainc(sessions / 2 - 1, sessions / 2 - 1, (1 - share) / 2)) if share < 1 else 0.0
    return min(below * _luck(sd, size, sessions), 1.0)


def _luck(sd: float, size: float, sessions: int) -> float:
    """How much more is left where a correction is entered than the SD of its sessions says, as in `error_left`.

    At most what it is at the limit of `helps_in_the_mean`, since none is entered beyond.
    """
    most = (sessions - 1) / (sessions * (2 * sessions - 1))
    return 1 + LUCK * min((sd / (sessions * size))**2 if size > 0 else math.inf, most)**2


def error_left(sd: float, size: float, sessions: int) -> float:
    """Mean size of the next session's error after the correction; NaN with one session, from which it is not known.

    sqrt(2/pi) s sqrt(1 + 1/S)/c4: the correction errs by s/sqrt(S), the session by s, and s of few sessions is too
    small by c4 on average. This times 1 + 32 (s/(S size))^4: a correction is entered only if it is large beside s, and
    such sessions are alike by luck more often the nearer they are to the limit. Power and factor were set by simulation
    of `helps_in_the_mean` (benchmarks/error_left.py): the mean over all that are entered is within 10 % of what comes
    where the true error is at least 1 % and 1.5 times the true SD between sessions. For smaller ones no such figure
    exists. That of two sessions is right in the mean of many tests, and of one test may be off several times.
    """
    if sessions < LEAST_TO_FORETELL or math.isnan(sd):
        return math.nan
    m = sessions - 1
    c4 = math.sqrt(2 / m) * math.exp(float(special.gammaln(sessions / 2) - special.gammaln(m / 2)))
    plain = math.sqrt(2 / math.pi) * sd / c4 * math.sqrt(1 + 1 / sessions)
    return plain * _luck(sd, size, sessions) if sd > 0 else 0.0


def helps_in_the_mean(size: float, sd: float, sessions: int) -> bool:
    """Whether entering lowers the mean square of the next session's error, as far as can be told.

    Before, that is b^2 + s^2; after, s^2 (1 + 1/S): it helps if the true b exceeds s/sqrt(S). The SD of few sessions
    is small by luck often; it is therefore drawn towards what sessions usually differ by, with the weight of
    `USUAL_SD_WEIGHT` degrees of freedom. So luck decides less: of sessions that are 3 % low with an SD of 1.5 % a
    correction is entered from 3 in 94 % instead of 72, and the next session's error is 1.45 instead of 1.83 %. From 3
    sessions on it is entered too where it is shown to differ from 0, so that small errors of alike sessions are.

    And the correction found without each session must lower the mean square of those left out: with d the deviations
    from the mean, that of (m + d)^2 - (S/(S - 1) d)^2 over sessions is above 0 for m^2 > s^2 (2S - 1)/(S (S - 1)).
    """
    if not size**2 * sessions * (sessions - 1) > sd**2 * (2 * sessions - 1):
        return False
    if sessions >= LEAST_SHOWN and size * math.sqrt(sessions) > t_quantile(SHOWN_LEVEL, sessions - 1) * sd:
        return True
    drawn = math.sqrt(((sessions - 1) * sd**2 + USUAL_SD_WEIGHT * USUAL_SD_PERCENT**2)
                      / (sessions - 1 + USUAL_SD_WEIGHT))
    return size > LEAST_GAIN * drawn / math.sqrt(sessions)
