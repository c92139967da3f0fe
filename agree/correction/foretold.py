"""What entering a correction will do to a session not yet recorded: harm, error left, and whether it helps at all."""

from __future__ import annotations

import math

from scipy import special

from agree.core.thresholds import LEAST_TO_FORETELL

LEAST_GAIN = 1.0  # standard errors: below, the correction's square is no more than what its own error adds


def harm(size: float, sd: float, sessions: int) -> float:
    """Probability that the next session's error is larger after the correction than before.

    It is if that session asks for less than half of the correction: a normal variable below 0 whose mean is the
    correction and whose SD is sqrt(4 + 1/S) that of sessions. From 3 sessions on its unbiased estimate from their mean
    and SD, a beta probability (after Lieberman & Resnikoff 1955, JASA 50:457, from memory); with 2 that would be 0 or
    1/2, so the t probability of the forecast is given, which is more pessimistic. NaN with one session: it cannot be
    known.

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
        return float(special.stdtr(1, -size / 2 / (sd * math.sqrt(1.5))))
    share = size / (2 * sd * math.sqrt(sessions - 1))
    return float(special.betainc(sessions / 2 - 1, sessions / 2 - 1, (1 - share) / 2)) if share < 1 else 0.0


def error_left(sd: float, sessions: int) -> float:
    """Mean size of the next session's error after the correction; NaN below 3 sessions, from which it is not known.

    sqrt(2/pi) s sqrt(1 + 1/S)/c4: the correction errs by s/sqrt(S), the session by s, and s of few sessions is too
    small by c4 on average. Two sessions whose correction is entered are those that happen to agree: what came was up
    to 42 % more than was foretold from them.
    """
    if sessions < LEAST_TO_FORETELL:
        return math.nan
    m = sessions - 1
    c4 = math.sqrt(2 / m) * math.exp(float(special.gammaln(sessions / 2) - special.gammaln(m / 2)))
    return math.sqrt(2 / math.pi) * sd / c4 * math.sqrt(1 + 1 / sessions)


def helps_in_the_mean(size: float, sd: float, sessions: int) -> bool:
    """Whether entering lowers the mean square of the next session's error, as far as can be told.

    Before, that is b^2 + s^2; after, s^2 (1 + 1/S): it helps if the true b exceeds s/sqrt(S).
    """
    return size > LEAST_GAIN * sd / math.sqrt(sessions)
