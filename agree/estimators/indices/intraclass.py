"""Intraclass correlation: the six forms for subjects measured by each of several raters (devices, trials)."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared


@made_by("intraclass", also=("TypicalError",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Intraclass(Result):
    """Intraclass correlations of single readings and of the mean of all raters, with the mean squares.

    Attributes
    ----------
    one_way : Estimate
        ICC(1,1): each subject has its own raters, whose differences count as error.
    agreement : Estimate
        ICC(2,1): the same raters for all, drawn from many; their differences count as error.
    consistency : Estimate
        ICC(3,1): these raters only; a constant difference between them does not count.
    one_way_mean, agreement_mean, consistency_mean : Estimate
        ICC(1,k), ICC(2,k), ICC(3,k): the same for the mean of k raters.
    subject_square, within_square, rater_square, error_square : float
        Mean squares between subjects, within subjects, between raters, and of the residual.
    subjects, raters : int
        n and k.
    caution : str
        What the index is not.

    Examples
    --------
    >>> from agree import intraclass
    >>> intraclass([[100, 102], [200, 199], [300, 303]]).subjects
    3
    """

    one_way: Estimate
    agreement: Estimate
    consistency: Estimate
    one_way_mean: Estimate
    agreement_mean: Estimate
    consistency_mean: Estimate
    subject_square: float
    within_square: float
    rater_square: float
    error_square: float
    subjects: int
    raters: int
    caution: str = field(default="A share of the variance between these subjects: unlike subjects raise it with the "
                                 "errors unchanged; it gives no error in the unit of the readings and does not say "
                                 "that a claim holds.")


class Squares(NamedTuple):
    """Mean squares of a table of n subjects by k raters."""

    subject: float
    within: float
    rater: float
    error: float
    n: int
    k: int


def _squares(table: FloatArray) -> Squares:
    """Two-way analysis of variance without replication."""
    n, k = table.shape
    centred = table - table.mean()
    rows = centred.mean(axis=1, keepdims=True)
    columns = centred.mean(axis=0, keepdims=True)
    within = centred - rows
    residual = within - columns
    return Squares(k * float(np.sum(rows**2)) / (n - 1), float(np.sum(within**2)) / (n * (k - 1)),
                   n * float(np.sum(columns**2)) / (k - 1), float(np.sum(residual**2)) / ((n - 1) * (k - 1)), n, k)


def _ratio(square: float, error: float, k: int, f: float = 1.0) -> float:
    return (square - f * error) / (square + (k - 1) * f * error)


def _one_factor(square: float, error: float, df: tuple[int, int], k: int, level: float) -> tuple[float, float, float]:
    """Value and exact limits of (S - E)/(S + (k - 1) E) from F = S/E (Shrout & Fleiss 1979, p. 423-424)."""
    p = (1 + level) / 2
    upper = float(special.fdtri(df[0], df[1], p))
    lower = 1 / float(special.fdtri(df[1], df[0], p))
    return _ratio(square, error, k), _ratio(square, error, k, upper), _ratio(square, error, k, lower)


def _agreement(s: Squares, level: float) -> tuple[float, float, float]:
    """ICC(2,1); limits with Satterthwaite's degrees of freedom for a J + b E (Shrout & Fleiss 1979, p. 424).

    The degrees of freedom take a value below 0 as 0, where they would lose their meaning.
    """
    n, k = s.n, s.k
    spare = k * n - k - n
    value = n * (s.subject - s.error) / (n * s.subject + k * s.rater + spare * s.error)
    share = max(value, 0.0)
    raters, errors = k * share * s.rater, (n * (1 + (k - 1) * share) - k * share) * s.error
    df = (raters + errors) ** 2 * (k - 1) * (n - 1) / ((n - 1) * raters**2 + errors**2) if raters or errors else 1.0
    p = (1 + level) / 2
    upper, lower = float(special.fdtri(n - 1, df, p)), float(special.fdtri(df, n - 1, p))
    rest = k * s.rater + spare * s.error
    return (value, n * (s.subject - upper * s.error) / (upper * rest + n * s.subject),
            n * (lower * s.subject - s.error) / (rest + n * lower * s.subject))


def _stepped_up(values: tuple[float, float, float], k: int) -> tuple[float, float, float]:
    """Reliability of the mean of k raters (Spearman 1910, Brown 1910); -inf where a single one has -1/(k - 1)."""
    def one(r: float) -> float:
        below = 1 + (k - 1) * r
        return k * r / below if below > 1e-15 else -np.inf

    return one(values[0]), one(values[1]), one(values[2])


def _estimate(found: tuple[float, float, float], level: float, method: str) -> Estimate:
    return Estimate(value=found[0], low=found[1], high=found[2], level=level, method=method)


def _table(values: ArrayLike, subject: ArrayLike, rater: ArrayLike, nan_policy: str) -> FloatArray:
    """Table of subjects by raters from long columns; every cell must be there once."""
    column = checks.vector(values, "values")
    rows = checks.codes(subject, column.size, "subject", "reading")
    columns = checks.codes(rater, column.size, "rater", "reading")
    shape = (int(rows.max(initial=-1)) + 1, int(columns.max(initial=-1)) + 1)
    counts = np.zeros(shape, int)
    np.add.at(counts, (rows, columns), 1)
    _once(counts, rows, columns, nan_policy)
    table = np.full(shape, np.nan)
    table[rows, columns] = column
    return table


def _once(counts: NDArray[np.int_], rows: NDArray[np.intp], columns: NDArray[np.intp], nan_policy: str) -> None:
    if (counts > 1).any():
        index = int(np.flatnonzero(counts[rows, columns] > 1)[0])
        raise InputError(f"`values` must have one reading for each subject and rater; the pair of index {index} comes "
                         f"{counts[rows[index], columns[index]]} times: average its readings", option="values")
    if (counts == 0).any() and nan_policy == "raise":
        raise InputError(f"`values` must have a reading for each subject and rater; {(counts == 0).sum()} of "
                         f"{counts.size} are missing: pass nan_policy='omit' to leave out their subjects",
                         option="values")


def _checked(table: FloatArray, nan_policy: str) -> FloatArray:
    keep = [checks.present(column, f"values[:, {j}]", nan_policy) for j, column in enumerate(table.T)]
    table = table[np.logical_and.reduce(keep)] if keep else table
    if table.shape[0] < 3 or table.shape[1] < 2:
        raise SampleSizeError("at least 3 subjects and 2 raters are needed; got "
                              f"{table.shape[0]} and {table.shape[1]}")
    return table


@shared
def intraclass(
    values: ArrayLike,
    subject: ArrayLike | None = None,
    *,
    rater: ArrayLike | None = None,
    level: float = 0.95,
    nan_policy: NanPolicy = "raise",
) -> Intraclass:
    r"""Intraclass correlations of subjects measured once by each of several raters (devices or trials).

    Use it to compare with published reliability, for similar subjects. Not for judging a claim, and not for seconds of
    one ride: subjects must be independent of each other, such as riders or blocks of separate days.

    Parameters
    ----------
    values : (n, k) array_like, or (n k,) with `subject` and `rater`
        Readings of n >= 3 subjects (rows) by k >= 2 raters (columns), in one unit.
    subject, rater : (n k,) array_like, optional
        Labels of one-dimensional `values`.
    {level}
    nan_policy : {"raise", "omit"}
        What to do with a missing reading: an error, or leave out its subject.

    Returns
    -------
    Intraclass
        ``.one_way``, ``.agreement``, ``.consistency``, and each with ``_mean`` (Estimate); the mean squares;
        ``.subjects``, ``.raters``, ``.caution``.

    Raises
    ------
    InputError
        Bad options or readings, a cell that is missing or there twice, or subjects that do not differ.
    SampleSizeError
        Fewer than 3 subjects or 2 raters.

    See Also
    --------
    precision : Repeatability, in the unit of the readings.
    typical_error : How far two trials of one device differ.

    Notes
    -----
    With the mean squares between subjects B, within W, between raters J and residual E,

    .. math:: ICC(1,1) = \frac{B - W}{B + (k-1) W}, \quad ICC(3,1) = \frac{B - E}{B + (k-1) E}, \quad
              ICC(2,1) = \frac{B - E}{B + (k-1) E + k (J - E)/n} ,

    and for the mean of k raters k ICC/(1 + (k - 1) ICC). Limits from the F distribution: exact for the first and
    third form and normal readings, Satterthwaite's approximation for the second. Of the mean it is -inf where the
    estimated variance of that mean is not positive. Subjects with equal means are an error: there is no
    variance to share out.

    Errors that are not normal are covered less, at 95 %: with t of 3 degrees of freedom in 70 %, with 5 % of errors
    five times as large in 65 % (benchmarks/heavy_tails.py, error 3).

    References
    ----------
    Shrout PE, Fleiss JL (1979) Psychol Bull 86:420-428.

    Examples
    --------
    >>> from agree import intraclass
    >>> result = intraclass([[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]])
    >>> print(result.agreement, result.consistency)
    0.29 [0.02, 0.76] 0.71 [0.34, 0.95]
    """
    checks.choice(nan_policy, "nan_policy", ("raise", "omit"))
    checks.fraction(level, "level")
    if (subject is None) != (rater is None):
        raise InputError("`subject` and `rater` must be given together, one label of each for every reading",
                         option="subject")
    table = (checks.vector(values, "values", 2) if subject is None or rater is None
             else _table(values, subject, rater, nan_policy))
    table = _checked(table, nan_policy)
    centred = table - table.flat[0]
    unit = float(np.abs(centred).max()) or 1.0
    s = _squares(centred / unit)
    if not s.subject > 1e-28:
        raise InputError("no intraclass correlation: the subjects have equal means, so there is no variance between "
                         "them to share out; measure subjects that differ")
    n, k = s.n, s.k
    one = _one_factor(s.subject, s.within, (n - 1, n * (k - 1)), k, level)
    two = _agreement(s, level)
    three = _one_factor(s.subject, s.error, (n - 1, (n - 1) * (k - 1)), k, level)
    exact, near = "exact for normal errors, F", "approximate, F, normal errors"
    return Intraclass(
        one_way=_estimate(one, level, exact), one_way_mean=_estimate(_stepped_up(one, k), level, exact),
        agreement=_estimate(two, level, near), agreement_mean=_estimate(_stepped_up(two, k), level, near),
        consistency=_estimate(three, level, exact), consistency_mean=_estimate(_stepped_up(three, k), level, exact),
        subject_square=s.subject * unit * unit, within_square=s.within * unit * unit,
        rater_square=s.rater * unit * unit, error_square=s.error * unit * unit, subjects=n, raters=k)
