"""Bias as a smooth curve over the range."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy, Sampling, Scale
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.engine import METHODS, covariance, t_quantile, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.results.drawn import Drawn
from agree.core.shared_docs import made_by, shared
from agree.estimators.covariate import covariate
from agree.estimators.joint import largest_t, matrix_root
from agree.estimators.readings import resolution, warn_of_alike

POINTS = 41  # places at which the curve is given


@made_by("bias_curve", also=("BandBias",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BiasCurve(Drawn):
    """Bias over the range, with a band that holds at one place and one that holds everywhere at once.

    Attributes
    ----------
    at : (m,) array
        Levels.
    value, low, high : (m,) array
        Bias there and its interval, one place at a time.
    joint_low, joint_high : (m,) array
        Band that holds over all of `at` at once.
    knots : (k,) array
        Where the pieces of the curve meet.
    n : int
        Number of pairs.
    level : float
        Confidence level of either band.
    scale, sampling, method : str
        As passed in; how the bands were made.

    Examples
    --------
    >>> from agree import bias_curve
    >>> curve = bias_curve([100, 150, 200, 250, 300, 350], [103, 151, 208, 254, 312, 357], knots=2, at=[200])
    >>> curve.n, curve.knots.size
    (6, 2)
    """

    at: FloatArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    joint_low: FloatArray
    joint_high: FloatArray
    knots: FloatArray
    n: int
    level: float
    scale: str
    sampling: str
    method: str


def _basis(level: FloatArray, knots: FloatArray) -> FloatArray:
    """Columns of the natural cubic spline: 1, level, and for k knots k - 2 bends, straight beyond the outer knots."""
    columns = [np.ones(level.size), level]
    if knots.size > 2:
        cube = np.maximum(level[:, None] - knots, 0) ** 3
        bend = (cube[:, :-1] - cube[:, -1:]) / (knots[-1] - knots[:-1])
        columns += list((bend[:, :-1] - bend[:, -1:]).T)
    return np.stack(columns, axis=1)


def _knots(level: FloatArray, count: int) -> FloatArray:
    """Quantiles, 5 to 95 % (10 to 90 % for three), without repeats."""
    edge = 0.1 if count == 3 else 0.05
    knots = np.unique(np.quantile(level, np.linspace(edge, 1 - edge, count)))
    if knots.size < 2:
        raise InputError("no curve: the level does not vary between its 5th and 95th percentile; record a wider range "
                         "of power")
    result: FloatArray = knots
    return result


@shared
def bias_curve(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    knots: int = 4,
    at: ArrayLike | None = None,
    scale: Scale = "percent",
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    by: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> BiasCurve:
    r"""Bias of the device as a smooth curve over the range.

    Use it to see how the error changes with power without choosing bands. It cannot show steps; and no curve says
    anything beyond the levels recorded.

    Parameters
    ----------
    reference, device : (n,) array_like
        Paired readings in one unit, more than knots; in order of time for serial sampling.
    knots : int
        Number of knots, 2 (a straight line) to 10, at equally spaced quantiles of the level from 5 to 95 %.
    at : (m,) array_like, optional
        Levels at which to give the curve; 41 from the 2.5th to the 97.5th percentile if not given.
    scale : {"percent", "difference"}
        ``difference``: mean error at a level; ``percent``: 100 times that over the level (over the mean reference at
        the level, fitted in the same way, if `by` is given).
    {level, sampling, session}
    by : (n,) array_like, optional
        Value to take for the level instead of the reference, such as a moving mean of it: a reference with noise of
        its own draws the curve down at high levels and up at low ones.
    nan_policy : {"raise", "omit"}
        What to do with NaN in reference or device: an error, or leave out the pair.

    Returns
    -------
    BiasCurve
        ``.at``, ``.value``, ``.low``, ``.high``, ``.joint_low``, ``.joint_high``.

    Raises
    ------
    InputError
        Bad options or readings, a level that does not vary, or per cent of a reference that is not positive.
    SampleSizeError
        No more pairs than knots, or fewer than 2 sessions.

    Warns
    -----
    {drift, alike}

    See Also
    --------
    bias_by_band : The same in bands, with edges.
    regression_limits : Limits that follow the level.

    Notes
    -----
    Least squares of the errors on a natural cubic spline with basis B; the coefficients' influences are
    e_i/(1 - h_i) (B'B/n)^-1 B_i with leverage h, their covariance V the engine's. With k knots k - 1 degrees of
    freedom are taken off, and with serial and session sampling V is enlarged by as much, for what the fit takes out
    of the slow part of the errors. The joint band takes the quantile of the largest |t| over `at`,
    each over its own variance estimate, from 4096 fixed draws with covariance V.

    References
    ----------
    Harrell FE (2001) Regression Modeling Strategies, 2.4 (natural splines and quantile knots; from memory).

    Examples
    --------
    >>> from agree import bias_curve
    >>> x = [100, 130, 160, 190, 220, 250, 280, 310, 340, 370, 400, 430]
    >>> curve = bias_curve(x, [v + (v - 265) ** 2 / 4000 for v in x], scale="difference", at=[150, 265, 380])
    >>> [round(float(v), 1) for v in curve.value]
    [3.6, -0.2, 3.6]
    """
    checks.choice(scale, "scale", ("percent", "difference"))
    checks.fraction(level, "level")
    if isinstance(knots, bool) or not isinstance(knots, int | np.integer) or not 2 <= knots <= 10:
        raise InputError(f"`knots` must be a whole number from 2 to 10; got {knots!r}", option="knots")
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    over = covariate(reference if by is None else by, reference, device)
    places = _knots(over, knots)
    if x.size <= places.size:
        raise SampleSizeError(f"a curve with {places.size} knots needs more than {places.size} pairs; got {x.size}")
    low, high = np.quantile(over, (0.025, 0.975))
    grid = np.linspace(low, high, POINTS) if at is None else checks.vector(at, "at")
    if grid.size == 0 or not np.isfinite(grid).all():
        raise InputError("`at` must hold at least one finite level", option="at")
    middle, wide = float(places.mean()), float(np.ptp(places))
    basis, shown = (_basis((values - middle) / wide, (places - middle) / wide) for values in (over, grid))
    unit = float(np.abs(y - x).max()) or 1.0
    q, r = np.linalg.qr(basis)
    q, r = q * np.sign(np.diag(r)), r * np.sign(np.diag(r))[:, None]  # signs must not hang on the order of pairs
    if not np.abs(np.diag(r)).min() > 1e-10 * np.abs(np.diag(r)).max():
        raise InputError(f"no curve: too few distinct levels for {places.size} knots; ask for fewer")
    shown = np.linalg.solve(r.T, shown.T).T  # the curve is now `shown` @ q.T @ errors
    error = (y - x) / unit
    factor = unit * np.ones(grid.size)
    if scale == "percent":
        whole = grid if by is None else shown @ (q.T @ x)
        if not (whole > 0).all():
            raise InputError(f"scale='percent' needs a positive reference; got {whole[~(whole > 0)][0]:g} at a level "
                             f"of {grid[~(whole > 0)][0]:g}: set `at`, or use scale='difference'")
        factor = 100 * unit / whole
    # A residual is too small by the share of its own pair in the fit (HC3; MacKinnon & White 1985).
    residual = (error - q @ (q.T @ error)) / np.maximum(1 - np.square(q).sum(axis=1), 1e-9)
    result = covariance(x.size * q.T * residual, sampling, labels)
    value = factor * (shown @ (q.T @ error + result.shift))
    # The fit also takes p - 1 of the few cosines or sessions that tell of the variance.
    df = max(result.df - (places.size - 1), 1.0)
    lost = result.df / df if sampling != "independent" else 1.0
    root = shown @ matrix_root(result.matrix * lost)
    spread = np.sqrt(np.square(root).sum(axis=1))
    ratios = largest_t(root / np.where(spread > 0, spread, 1)[:, None], df)
    # Of a weighted sum of errors, whose weights have the length of the row of `shown`; both readings are rounded.
    floor = resolution(x, y) / unit * np.sqrt(np.square(shown).sum(axis=1) / 6)
    spread = np.maximum(spread, floor)
    one = t_quantile(level, df)
    joint = max(float(np.quantile(ratios, level)), one)
    half = factor * spread
    warn_of_alike(residual, sampling, along=over)
    warn_of_drift(Estimate(value=0.0, low=0.0, high=0.0, level=level, method="", drift=result.drift))
    return BiasCurve(at=grid, value=value, low=value - one * half, high=value + one * half,
                     joint_low=value - joint * half, joint_high=value + joint * half, knots=places, n=x.size,
                     level=level, scale=scale, sampling=sampling,
                     method=f"{METHODS[sampling]}; joint: largest of t ratios")
