"""Ratio of two error variances from repeated readings, as Deming's line needs it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import Sampling
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.engine import METHODS, spread, t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.readings import warn_of_alike


@made_by("variance_ratio", also=("Line",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VarianceRatio(Result):
    """Variance of the device's error over that of the reference's error.

    Attributes
    ----------
    ratio : Estimate
        The ratio; give ``ratio.value`` to `deming`, and its limits to see how much hangs on it.
    sd_reference, sd_device : float
        Standard deviations within blocks, pooled.
    df_reference, df_device : float
        Their degrees of freedom: readings less blocks.
    sampling : str
        As passed in.

    Examples
    --------
    >>> from agree import variance_ratio
    >>> result = variance_ratio([[100, 102], [201, 199]], [[103, 99], [204, 200]])
    >>> result.sd_reference, result.df_device
    (1.4142135623730951, 2.0)
    """

    ratio: Estimate
    sd_reference: float
    sd_device: float
    df_reference: float
    df_device: float
    sampling: str


def _within(values: ArrayLike, name: str) -> tuple[FloatArray, float]:
    """Deviations from the block means, and their degrees of freedom."""
    table = np.asarray(values, dtype=object)
    if table.ndim != 2 or table.size == 0:
        raise InputError(f"`{name}` must have one row for each block and one column for each reading; got shape "
                         f"{table.shape}", option=name)
    array = checks.vector(table.ravel(), name).reshape(table.shape)
    if not np.isfinite(array).all():
        raise InputError(f"`{name}` holds {(~np.isfinite(array)).sum()} NaN or infinite value(s); leave the block out",
                         option=name)
    count = table.shape[1]
    if count < 2:
        raise SampleSizeError(f"`{name}` needs at least 2 readings in each block; got {count}", option=name)
    return array - array.mean(axis=1, keepdims=True), float(table.shape[0] * (count - 1))


def _root_mean(deviations: FloatArray, df: float, name: str) -> float:
    unit = float(np.abs(deviations).max())
    if unit == 0:
        raise InputError(f"`{name}` does not vary within any block: a resolution coarser than the error tells nothing "
                         "of it", option=name)
    return unit * math.sqrt(float(np.square(deviations / unit).sum()) / df)


@shared
def variance_ratio(
    reference_replicates: ArrayLike,
    device_replicates: ArrayLike,
    *,
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
) -> VarianceRatio:
    r"""Ratio of error variances, device over reference, from repeated readings of steady blocks.

    Use it for the ``error_variance_ratio`` of `deming`. Both devices' readings must be repeats of one true value
    within each block: a true power that wanders counts as error of both and draws the ratio towards the square of
    the slope.

    Parameters
    ----------
    reference_replicates, device_replicates : (k, r) array_like
        One row for each steady block, r >= 2 repeated readings in one unit. For independent readings the two may
        differ in shape; else they are readings of the same seconds, in order of time.
    {level}
    sampling : {"independent", "serial", "sessions"}, optional
        How readings depend on each other.
    session : (k,) array_like, optional
        Session label of each block, for ``sampling="sessions"``; each block its own session if not given.

    Returns
    -------
    VarianceRatio
        ``.ratio`` (Estimate), the two SDs and their degrees of freedom.

    Raises
    ------
    InputError
        Bad options or readings, shapes that must agree and do not, or readings that do not vary.
    SampleSizeError
        Fewer than 2 readings a block, or fewer than 2 sessions.

    Warns
    -----
    {alike}

    See Also
    --------
    deming : The line that needs this ratio.
    split_errors : Errors of three devices or more.

    Notes
    -----
    With SD the root of the sum of squares about the block means over readings less blocks, the ratio is
    SD_device^2/SD_reference^2. Independent normal errors: limits ratio/F and ratio F, F the quantiles of Snedecor's
    F. Otherwise the logarithm of the ratio has the influence d_y^2/mean(d_y^2) - d_x^2/mean(d_x^2), and the limits are
    transformed back. Errors that last over a whole block make within-block SDs too small, in both devices.

    References
    ----------
    Snedecor GW, Cochran WG (1989) Statistical Methods, 8th ed., the F interval of a ratio of variances (from memory).

    Examples
    --------
    >>> from agree import variance_ratio
    >>> ratio = variance_ratio([[100, 102, 101], [201, 199, 200]], [[103, 99, 104], [204, 200, 205]]).ratio
    >>> f"{ratio.value:.1f} [{ratio.low:.2f}, {ratio.high:.0f}]"
    '7.0 [0.73, 67]'
    """
    checks.fraction(level, "level")
    sampling = checks.sampling_of(sampling, session)
    dx, df_x = _within(reference_replicates, "reference_replicates")
    dy, df_y = _within(device_replicates, "device_replicates")
    sd_x, sd_y = _root_mean(dx, df_x, "reference_replicates"), _root_mean(dy, df_y, "device_replicates")
    value = (sd_y / sd_x) ** 2
    for deviations in (dx, dy):
        warn_of_alike(deviations.ravel(), sampling)
    if sampling == "independent":
        tail = (1 - level) / 2
        low, high = (value / float(special.fdtri(df_y, df_x, p)) for p in (1 - tail, tail))
        ratio = Estimate(value=value, low=low, high=high, level=level, method="exact for normal errors, F")
    else:
        if dx.shape != dy.shape:
            raise InputError(f"sampling={sampling!r} needs both devices' readings of the same seconds; got shapes "
                             f"{dx.shape} and {dy.shape}")
        blocks = np.arange(dx.shape[0]) if session is None else checks.codes(session, dx.shape[0], "session", "block")
        if sampling == "sessions" and np.unique(blocks).size < 2:
            raise SampleSizeError("sampling='sessions' needs at least 2 sessions; got 1")
        phi = ((dy / sd_y) ** 2 * (dy.size / df_y) - (dx / sd_x) ** 2 * (dx.size / df_x)).ravel()
        result = spread(phi, sampling, np.repeat(blocks, dx.shape[1]))
        value *= math.exp(result.shift)
        factor = math.exp(t_quantile(level, result.df) * result.standard_error)
        ratio = Estimate(value=value, low=value / factor, high=value * factor, level=level, drift=result.drift,
                         method=METHODS[sampling] + ", of the log ratio", df=result.df)
    return VarianceRatio(ratio=ratio, sd_reference=sd_x, sd_device=sd_y, df_reference=df_x, df_device=df_y,
                         sampling=sampling)
