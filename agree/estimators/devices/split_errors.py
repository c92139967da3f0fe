"""Three or more devices and no reference: the error of each from the differences between them."""

from __future__ import annotations

import string
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import LogScale, NanPolicy, Sampling
from agree.core.errors import InputError
from agree.core.interval.engine import estimate, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.devices.splitting import (
    error_sd,
    error_variances,
    on_scale,
    products,
    relative_scale,
    share_of_scale,
)
from agree.estimators.readings import warn_of_alike
from agree.estimators.scales import exponential

# Share of the variance of a difference from which a wrong scale is named.
SCALE_SHARE = 0.1


@made_by("split_errors", also=("SplitErrors",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contrast(Result):
    """How one device reads against another.

    Attributes
    ----------
    first, second : str
        Names of the two.
    bias : Estimate
        Mean of second - first, in the units of the data, per cent of the mean of all devices, or as a ratio
        second/first (``scale="log"``).
    scale : Estimate
        Watts of `second` per watt of `first`; NaN without limits if the readings do not vary together.

    Examples
    --------
    >>> from agree import split_errors
    >>> pair = split_errors([200, 250, 300, 220], [201, 252, 301, 221], [199, 250, 298, 221]).contrasts[0]
    >>> pair.first, pair.second, pair.bias.value
    ('a', 'b', 1.25)
    """

    first: str
    second: str
    bias: Estimate
    scale: Estimate


@made_by("split_errors", also=("Contrast",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SplitErrors(Result):
    """Random error of each device, with how the devices read against each other.

    Attributes
    ----------
    names : tuple of str
        Names of the devices.
    sd : tuple of Estimate
        Standard deviation of each device's own error, in the units of the data, per cent, or of log errors; 0 with an
        upper limit where the variance is estimated below 0. `sd_a`, `sd_b`, `sd_c` are the first three.
    variance : tuple of float
        Estimated variances as they came out, negative ones included.
    negative : tuple of bool
        Whether a variance was estimated below 0.
    contrasts : tuple of Contrast
        Bias and scale for each two devices.
    notes : tuple of str
        What to mind, in words; empty if nothing.
    n : int
        Number of instants at which all devices read.
    scale, sampling : str
        As passed in.

    Examples
    --------
    >>> from agree import split_errors
    >>> split_errors([200, 250, 300, 220], [201, 252, 301, 221], [199, 250, 298, 221], names=("x", "y", "z")).names
    ('x', 'y', 'z')
    """

    names: tuple[str, ...]
    sd: tuple[Estimate, ...]
    variance: tuple[float, ...]
    negative: tuple[bool, ...]
    contrasts: tuple[Contrast, ...]
    notes: tuple[str, ...]
    n: int
    scale: str
    sampling: str

    @property
    def sd_a(self) -> Estimate:
        """Standard deviation of the first device's error."""
        return self.sd[0]

    @property
    def sd_b(self) -> Estimate:
        """Standard deviation of the second device's error."""
        return self.sd[1]

    @property
    def sd_c(self) -> Estimate:
        """Standard deviation of the third device's error."""
        return self.sd[2]


def _named(names: Sequence[str] | None, count: int) -> tuple[str, ...]:
    if names is None:
        return tuple(string.ascii_lowercase[:count]) if count <= 26 else tuple(f"device {i + 1}" for i in range(count))
    given = tuple(names)
    if len(given) != count or len(set(given)) != count or not all(isinstance(name, str) for name in given):
        raise InputError(f"`names` must be {count} different texts, one for each device; got {given!r}", option="names")
    return given


def _notes(names: tuple[str, ...], negative: NDArray[np.bool_], same: list[tuple[int, int]],
           scales: list[tuple[Contrast, float]]) -> tuple[str, ...]:
    parts = [f"{names[i]} and {names[j]} differ by a constant: one is a copy of the other, or they share their errors"
             for i, j in same]
    parts += [f"the variance of {name} came out below 0: its error is too small to be told from 0 beside the others', "
              "or devices share errors: its SD is given as 0 with an upper limit"
              for name, below in zip(names, negative, strict=True) if below]
    parts += [f"{pair.second} reads {pair.scale.value:.4g} times {pair.first}: that alone makes {100 * share:.0f} % of "
              "the variance of their difference, and counts as random error; use scale='percent'"
              for pair, share in scales if share > SCALE_SHARE]
    return tuple(parts)


def _most_alike(values: FloatArray) -> FloatArray:
    """Errors about the devices' mean, of the one whose neighbours are most alike."""
    own = values - values.mean(axis=0)
    own -= own.mean(axis=1, keepdims=True)
    size = np.square(own).sum(axis=1)
    neighbours = (own[:, 1:] * own[:, :-1]).sum(axis=1)
    worst = int(np.divide(neighbours, size, out=np.zeros(size.size), where=size > 0).argmax())
    result: FloatArray = own[worst]
    return result


@shared
def split_errors(
    a: ArrayLike,
    b: ArrayLike,
    c: ArrayLike,
    *more: ArrayLike,
    names: Sequence[str] | None = None,
    scale: LogScale = "difference",
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> SplitErrors:
    r"""Random error of each of three or more devices that recorded one effort, without a reference.

    Use it when no device can be trusted above the others. Not when two of them share a source of error (one sensor, one
    smoothing, one clock): errors must be independent between devices, and what two share is credited to neither.

    Parameters
    ----------
    a, b, c, *more : (n,) array_like
        Readings of the devices at the same instants in one unit, n >= 3; in order of time for serial sampling.
    names : sequence of str, optional
        Names of the devices, all different; a, b, c ... if not given.
    scale : {"difference", "percent", "log"}
        Error of a reading: in the units of the data, in per cent of the mean of all devices, or of its logarithm, with
        biases as ratios.
    {level}
    sampling : {"independent", "serial", "sessions"}, optional
        How instants depend on each other.
    {session}
    nan_policy : {"raise", "omit"}
        What to do with NaN in any device: an error, or leave out the instant.

    Returns
    -------
    SplitErrors
        ``.sd_a``, ``.sd_b``, ``.sd_c`` (Estimate), ``.sd`` for all devices, ``.variance``, ``.negative``,
        ``.contrasts`` (bias and scale for each two devices), ``.notes``.

    Raises
    ------
    InputError
        Bad options or readings, a mean of 0 with ``percent``, non-positive readings with ``log``.
    SampleSizeError
        Fewer than 3 instants, or fewer than 2 sessions.

    Warns
    -----
    {drift, alike}

    See Also
    --------
    variance_ratio : Two devices and repeated readings.
    deming : A line between two of the devices.

    Notes
    -----
    With v the variances of the pairwise differences, that of the error of a is

    .. math:: (v_{ab} + v_{ac} - v_{bc})/2 = \mathrm{cov}(a - b, a - c) ;

    with k > 3 devices the least-squares solution of all :math:`v_{ij} = s_i + s_j`, the mean of the above over all
    two others. The true power drops out. Variances are taken about the mean, with the divisor n - 1, or for serial and
    session sampling with the variance of the mean added back. Limits are made on the scale on which a variance estimate
    has steady variance, 2 v^2 + s v + p with s and p from the other devices' variances, and transformed back.

    An estimate below 0 is chance where a device is far better than the others, or shared errors: the SD is then 0, its
    upper limit is that of an estimate of 0, and `negative` and `notes` say so. Constant readings give 0 [0, 0].

    The scale of a device against another is cov(second, z)/cov(first, z), z the mean of the remaining devices, with
    limits by Anderson & Rubin's test; unbounded for a steady effort. A scale other than 1 makes variances too large.

    Errors that are not normal are covered less, at 95 %: with t of 3 degrees of freedom the SD of the device that
    scatters most in 76 %, with 5 % of errors five times as large in 79 % (60 instants; benchmarks/heavy_tails.py,
    error 3).

    References
    ----------
    Grubbs FE (1948) J Am Stat Assoc 43:243; (1973) Technometrics 15:53; scale by an instrumental variable: Barnett VD
    (1969) Biometrics 25:129 (citations from memory).

    Examples
    --------
    >>> from agree import split_errors
    >>> result = split_errors([200, 250, 300, 220, 180], [203, 252, 301, 224, 182], [199, 253, 297, 221, 178])
    >>> [round(item.value, 2) for item in (result.sd_a, result.sd_b, result.sd_c)]
    [1.1, 0.32, 2.14]
    """
    labels = _named(names, 3 + len(more))
    checks.fraction(level, "level")
    sampling = checks.sampling_of(sampling, session)
    columns, groups = checks.table((a, b, c, *more), labels, session=session, sampling=sampling, nan_policy=nan_policy)
    readings, n = np.stack(columns), columns[0].size
    values = on_scale(readings, labels, scale)
    summands, unit, same = products(values, groups)
    found = error_variances(values, summands, unit, sampling, groups)
    options: dict[str, Any] = {"level": level, "sampling": sampling, "session": groups}
    sds = tuple(error_sd(i, found, **options).scaled(unit) for i in range(len(labels)))
    contrasts = []
    for i, j in combinations(range(len(labels)), 2):
        gap, others = values[j] - values[i], np.delete(readings, (i, j), axis=0).mean(axis=0)
        bias = estimate(float(gap.mean()), gap - gap.mean(), **options)
        contrasts.append(Contrast(first=labels[i], second=labels[j], bias=bias,
                                  scale=relative_scale(readings[i], readings[j], others, **options)))
    warn_of_alike(_most_alike(values / unit), sampling, along=readings.mean(axis=0))
    warn_of_drift(*sds, *(item for contrast in contrasts for item in (contrast.bias, contrast.scale)))
    if scale == "log":
        contrasts = [replace(item, bias=exponential(item.bias)) for item in contrasts]
    with np.errstate(over="ignore", under="ignore"):
        squared = tuple(map(float, found.values * unit * unit))
    below, shares = found.values < 0, []
    if scale == "difference":
        shares = [(pair, share_of_scale(readings[i], readings[j], pair.scale))
                  for pair, (i, j) in zip(contrasts, combinations(range(len(labels)), 2), strict=True)]
    return SplitErrors(names=labels, sd=sds, variance=squared, negative=tuple(map(bool, below)), n=n, scale=scale,
                       contrasts=tuple(contrasts), notes=_notes(labels, below, same, shares), sampling=sampling)
