"""Whether a line fits: cusum of the signs of its residuals along the line."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy, Sampling
from agree.core.errors import InputError
from agree.core.interval.engine import covariance
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.joint import largest_t, matrix_root, shrunk
from agree.estimators.lines.line import Line
from agree.estimators.lines.passing_bablok import passing_bablok_line
from agree.estimators.readings import warn_of_alike

STEPS = 15  # places along the line at which dependent residuals are tried


@made_by("linearity", also=("Line",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Linearity(Result):
    """Test of linearity.

    Attributes
    ----------
    statistic : float
        Largest cusum over sqrt(points below the line + 1); or, for dependent pairs, the largest t ratio.
    p_value : float
        Probability of one as large or larger if the relation is a line.
    where : float
        Reference reading at which the cusum is largest: the points change sides there.
    n_above, n_below : int
        Points above and below the line.
    because : str
        The answer in words.
    method, sampling : str
        How the p-value was found.

    Examples
    --------
    >>> from agree import linearity
    >>> linearity([1, 2, 3, 4, 5, 6], [1.1, 1.9, 3.2, 3.9, 5.1, 5.8]).because
    'no bend found: the points lie on both sides all along the line (p = 0.96)'
    """

    statistic: float
    p_value: float
    where: float
    n_above: int
    n_below: int
    because: str
    method: str
    sampling: str


@shared
def linearity(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    line: Line | None = None,
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> Linearity:
    r"""Test whether readings bend away from a line, by the side of it on which they lie.

    Use it with any line. A small p-value says that points of one side gather in one part of the range: no line
    describes the device, see `bias_curve`. A large one does not show that the relation is straight, only that these
    data show no bend.

    Parameters
    ----------
    reference, device : (n,) array_like
        Paired readings, n >= 3; in order of time for serial sampling.
    line : Line, optional
        The line to test; Passing-Bablok's if not given.
    level : float
        Level for the words, in (0, 1): a bend is named if p < 1 - level.
    {sampling, session, nan_policy}

    Returns
    -------
    Linearity
        ``.statistic``, ``.p_value``, ``.where``, ``.because``.

    Raises
    ------
    InputError
        Bad options or readings, or no line.
    {few}

    Warns
    -----
    {alike}

    See Also
    --------
    passing_bablok : The line that is tested.
    bias_curve : What the bend looks like.

    Notes
    -----
    With l+ points above and l- below, a point above scores sqrt(l-/l+), one below -sqrt(l+/l-), one on the line 0. In
    order along the line (reference + slope * device) the scores are summed up; points that tie are added together.
    Independent pairs: max |cusum| / sqrt(l- + 1) against Kolmogorov's law, whose upper 10, 5 and 1 % points are 1.22,
    1.36 and 1.63. This is the published form; the line was fitted to the same points, and l- is about half of them, so
    that the law is approximate: of straight relations 3 to 4 % are rejected at 5 % with 30 pairs, 8 to 10 % with 100 to
    200, 6 to 8 % with 500 (measured, Monte-Carlo error 0.8 to 1.3 %). Dependent pairs: t ratios by the engine of the
    cusum less its share at 15 places along the line, against the law of the largest.

    References
    ----------
    Passing H, Bablok W (1983) J Clin Chem Clin Biochem 21:709-720 (from memory).

    Examples
    --------
    >>> from agree import linearity
    >>> x = range(100, 340, 4)
    >>> test = linearity(x, [v - (v - 218) ** 2 / 500 for v in x])
    >>> f"{test.statistic:.2f} {test.p_value:.0e}"
    '2.69 1e-06'
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    checks.fraction(level, "level")
    if line is not None and not isinstance(line, Line):
        raise InputError(f"`line` must be a line such as deming() returns; got {type(line).__name__}", option="line")
    line = passing_bablok_line(x, y, None) if line is None else line
    slope, intercept = line.slope.value, line.intercept.value
    residual = y - intercept - slope * x
    warn_of_alike(residual, sampling, along=x)
    near = 8 * np.finfo(float).eps * (np.abs(y) + abs(intercept) + np.abs(slope * x))
    side = np.where(np.abs(residual) <= near, 0, np.sign(residual))
    above, below = int((side > 0).sum()), int((side < 0).sum())
    along = x / 2 + slope * (y / 2)
    up, down = math.sqrt(below / max(above, 1)), math.sqrt(above / max(below, 1))
    scores = np.where(side > 0, up, np.where(side < 0, -down, 0.0))
    if above == 0 or below == 0:
        place, statistic, p_value, method = 0, 0.0, 1.0, "all points on one side or on the line"
    elif sampling == "independent":
        place, statistic = _cusum(along, scores)
        p_value, method = chance_of_cusum(statistic), "cusum, Kolmogorov's law"
    else:
        place, statistic, p_value = _dependent(along, scores, sampling, labels)
        method = f"largest of t ratios at {STEPS} places, {sampling}"
    because = (f"the points change sides along the line, most near {x[place]:.4g} (p = {p_value:.2g}): no line "
               "describes them" if p_value < 1 - level else
               f"no bend found: the points lie on both sides all along the line (p = {p_value:.2g})")
    return Linearity(statistic=statistic, p_value=p_value, where=float(x[place]), n_above=above, n_below=below,
                     because=because, method=method, sampling=sampling)


def chance_of_cusum(statistic: float) -> float:
    """Probability that the cusum of a straight relation gets so large: Kolmogorov's law (Smirnov 1948)."""
    return float(special.kolmogorov(statistic))


def _cusum(along: FloatArray, scores: FloatArray) -> tuple[int, float]:
    """Index of the point at which the cusum is largest, and it over sqrt(points below the line + 1)."""
    order = np.argsort(along, kind="stable")
    last = np.flatnonzero(np.r_[np.diff(along[order]) > 0, True])
    sums = np.abs(np.cumsum(scores[order])[last])
    k = int(sums.argmax())
    return int(order[last[k]]), float(sums[k]) / math.sqrt(int((scores < 0).sum()) + 1)


def _dependent(along: FloatArray, scores: FloatArray, sampling: str, labels: Any) -> tuple[int, float, float]:
    """Place, size and p-value of the largest t ratio of mean(score * (1{along <= cut} - share))."""
    cuts = np.unique(np.quantile(along, np.arange(1, STEPS + 1) / (STEPS + 1), method="inverted_cdf"))
    under = along <= cuts[:, None]
    parts = scores * (under - under.mean(axis=1, keepdims=True))
    result = covariance(parts, sampling, labels)
    error = np.sqrt(np.diag(result.matrix))
    mean = result.shift if sampling == "sessions" else parts.mean(axis=1)
    ratio = np.divide(np.abs(mean), error, out=np.zeros(cuts.size), where=error > 0)
    some = np.flatnonzero(error > 0)
    draws = largest_t(matrix_root(shrunk(result.matrix[np.ix_(some, some)], result.df)), result.df)
    k = int(ratio.argmax())
    return int(np.abs(along - cuts[k]).argmin()), float(ratio[k]), float((draws >= ratio[k]).mean())
