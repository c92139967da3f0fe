"""How many pairs limits of agreement need, before any are recorded."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import special

from agree.core import checks
from agree.core.errors import InputError
from agree.core.results.result import Result
from agree.core.shared_docs import made_by

MOST = 1_000_000  # pairs


@made_by("limits_sample_size", also=("LimitsOfAgreement",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LimitsSampleSize(Result):
    """Number of pairs, and what it gives.

    Attributes
    ----------
    n : int
        Least number of independent pairs.
    expected_width : float
        Mean width of the exact interval of one limit with so many, in the unit of `sd`.
    chance : float
        Probability that the interval is no wider than asked.
    width, sd, coverage, level : float
        As passed in.

    Examples
    --------
    >>> from agree import limits_sample_size
    >>> limits_sample_size(width=1.0, sd=2.0).sd
    2.0
    """

    n: int
    expected_width: float
    chance: float
    width: float
    sd: float
    coverage: float
    level: float


def _factor(n: int, coverage: float, level: float) -> float:
    """Width of the exact interval of a limit, over the standard deviation found."""
    z, tail = float(special.ndtri((1 + coverage) / 2)), (1 - level) / 2
    near, far = (float(special.nctdtrit(n - 1, z * math.sqrt(n), p)) for p in (tail, 1 - tail))
    return (far - near) / math.sqrt(n)


def _expected(n: int, coverage: float, level: float) -> float:
    """Mean width over sigma: E s = sigma sqrt(2/(n - 1)) Gamma(n/2)/Gamma((n - 1)/2)."""
    log = float(special.gammaln(n / 2) - special.gammaln((n - 1) / 2))
    return _factor(n, coverage, level) * math.sqrt(2 / (n - 1)) * math.exp(log)


def _chance(n: int, width: float, coverage: float, level: float) -> float:
    return float(special.chdtr(n - 1, (n - 1) * (width / _factor(n, coverage, level)) ** 2))


def limits_sample_size(
    *,
    width: float,
    sd: float = 1.0,
    coverage: float = 0.95,
    level: float = 0.95,
    chance: float | None = None,
) -> LimitsSampleSize:
    r"""Least number of independent pairs for limits of agreement whose intervals are narrow enough.

    Use it to plan a comparison of single readings. Neighbouring seconds are not independent pairs: they count for
    less. Not for the mean error, which needs fewer: see `plan`. The width is that of ``interval="exact"``, for errors
    known to be normal; the robust interval of `limits_of_agreement` is about twice as wide of
    normal errors (2.3 times at 20 pairs, 2.0 at 80, 1.7 at 300).

    Parameters
    ----------
    width : float
        Wanted width of the exact interval of each limit, > 0, in the unit of `sd`.
    sd : float
        Expected standard deviation of the differences, > 0; 1 gives widths in standard deviations.
    coverage : float
        Share of the differences between the limits, in (0, 1).
    level : float
        Confidence level of the interval, in (0, 1).
    chance : float, optional
        Probability with which the interval is to be no wider than asked, in (0, 1). If not given, its mean width is
        to be so.

    Returns
    -------
    LimitsSampleSize
        ``.n``, ``.expected_width``, ``.chance``.

    Raises
    ------
    InputError
        Bad options, or more than a million pairs.

    See Also
    --------
    limits_of_agreement : The limits that are planned for.
    tolerance_limits : Limits with a statement of confidence.

    Notes
    -----
    The width is k s with k from the noncentral t distribution, s the standard deviation found; its mean is
    :math:`k\, \sigma \sqrt{2/(n-1)}\; \Gamma(n/2)/\Gamma((n-1)/2)`, and

    .. math:: P(\text{width} \le \omega) = P\{\chi^2_{n-1} \le (n-1)(\omega / k \sigma)^2\} .

    References
    ----------
    Jan SL, Shieh G (2018) Comput Biol Med 100:247-252 (idea; citation from memory, its tables were not at hand).

    Examples
    --------
    >>> from agree import limits_sample_size
    >>> found = limits_sample_size(width=1.0, sd=1.0)
    >>> found.n, round(found.expected_width, 3)
    (49, 0.99)
    """
    target = checks.positive(width, "width") / checks.positive(sd, "sd")
    checks.fraction(coverage, "coverage")
    checks.fraction(level, "level")
    if chance is not None:
        checks.fraction(chance, "chance")

    def enough(n: int) -> bool:
        return (_expected(n, coverage, level) <= target if chance is None else
                _chance(n, target, coverage, level) >= chance)

    high = 3
    while not enough(high):
        high *= 2
        if high > MOST:
            raise InputError(f"`width`={width!r} needs more than {MOST:,} pairs at sd={sd!r}; ask for a wider interval",
                             option="width")
    low = max(high // 2, 2)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return LimitsSampleSize(n=high, expected_width=_expected(high, coverage, level) * sd,
                            chance=_chance(high, target, coverage, level), width=float(width), sd=float(sd),
                            coverage=coverage, level=level)
