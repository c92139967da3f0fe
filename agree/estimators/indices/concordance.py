"""Lin's concordance correlation, with what it is made of."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import NanPolicy, Sampling
from agree.core.errors import InputError
from agree.core.interval.engine import estimate, warn_of_drift
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import mean_over
from agree.core.results.result import Result
from agree.core.shared_docs import made_by, shared
from agree.estimators.indices.leave_one_out import agreement, correlation, session_means, without_each
from agree.estimators.readings import warn_of_alike
from agree.estimators.scales import transformed


@made_by("concordance", also=("LimitsOfAgreement",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Concordance(Result):
    """Concordance correlation and its parts.

    Attributes
    ----------
    concordance : Estimate
        Precision times accuracy, in [-1, 1].
    precision : Estimate
        Pearson's correlation: how close to some straight line, in [-1, 1].
    accuracy : Estimate
        Closeness of that line to the identity, in (0, 1].
    scale_shift : Estimate
        SD of the device over SD of the reference; 1 is ideal.
    location_shift : Estimate
        Mean error over the geometric mean of the two SDs; 0 is ideal.
    n : int
        Number of pairs.
    sampling : str
        As passed in.
    caution : str
        What the index is not.

    Examples
    --------
    >>> from agree import concordance
    >>> found = concordance([100, 150, 200, 250], [103, 151, 208, 254])
    >>> found.n, found.scale_shift.value > 1
    (4, True)
    """

    concordance: Estimate
    precision: Estimate
    accuracy: Estimate
    scale_shift: Estimate
    location_shift: Estimate
    n: int
    sampling: str
    caution: str = field(default="A correlation depends on the range of power ridden: a wider range raises it with the "
                                 "errors unchanged; it does not say that a claim holds.")


def _fisher(plus: FloatArray, minus: FloatArray, options: dict[str, Any]) -> Estimate:
    """Correlation (P - Q)/(P + Q) from summands with means P and Q; z = log(P/Q)/2, so nothing cancels near -+1."""
    mean = mean_over(options["session"])
    p, q = mean(plus), mean(minus)
    # Of rounding size only: the readings agree, or oppose, in every digit.
    if min(p, q) <= 1e-30 * max(p, q):
        zero = estimate(1.0 if p > q else -1.0, np.zeros(plus.size), **options)
        return replace(zero, standard_error=math.nan, method=zero.method + ", Fisher's z")
    item = estimate(math.log(p / q) / 2, (plus / p - minus / q) / 2, **options)
    item = transformed(item, math.tanh)
    return replace(item, method=item.method.replace("back-transformed", "Fisher's z"))


def _accuracy(scale: Estimate, location: Estimate) -> Estimate:
    """Accuracy 2/(v + 1/v + u^2) at the corners of the intervals of log v and u, each with half the risk."""
    def at(log_v: float, u: float) -> float:
        return 1 / (math.cosh(min(abs(log_v), 700.0)) + min(abs(u), 1e150) ** 2 / 2)

    def ends(item: Estimate) -> tuple[float, float]:
        near = 0.0 if item.low <= 0 <= item.high else min(abs(item.low), abs(item.high))
        return near, max(abs(item.low), abs(item.high))

    (near_v, far_v), (near_u, far_u) = ends(scale), ends(location)
    return Estimate(value=at(scale.value, location.value), low=at(far_v, far_u), high=at(near_v, near_u),
                    level=scale.level, method=scale.method + ", joint limits of both shifts")


@shared
def concordance(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    level: float = 0.95,
    sampling: Sampling | None = None,
    session: ArrayLike | None = None,
    nan_policy: NanPolicy = "raise",
) -> Concordance:
    r"""Lin's concordance correlation: how closely pairs follow the line of identity, against their range.

    Use it to compare with published work that reports it, over a similar range of power. Not for judging a claim: it
    depends on the range ridden, and a device 2 % off over a wide range may still show 0.99.

    Parameters
    ----------
    {pairs, level, sampling, session, nan_policy}

    Returns
    -------
    Concordance
        ``.concordance``, ``.precision``, ``.accuracy``, ``.scale_shift``, ``.location_shift`` (Estimate), ``.n``,
        ``.caution``.

    Raises
    ------
    InputError
        Bad options or readings, or a column that does not vary.
    {few}

    Warns
    -----
    {drift, alike}

    See Also
    --------
    limits_of_agreement : How far one reading may be off.
    intraclass : Agreement of several raters.
    repeated_correlation : Whether the two rise and fall together within a subject.

    Notes
    -----
    With moments of divisor n (over sessions: means of the sessions' means),

    .. math:: \rho_c = \frac{2 s_{xy}}{s_x^2 + s_y^2 + (\bar x - \bar y)^2} = r \cdot C_b, \qquad
              C_b = \frac{2}{v + 1/v + u^2}, \quad v = s_y/s_x, \quad u = (\bar y - \bar x)/\sqrt{s_x s_y} .

    Intervals are not those of 1989, whose variance is that of normal readings: Fisher's z = log(P/Q)/2 of both
    correlations, with the variance from its influence, which is that of two sums of squares; log v; u; and for the
    accuracy, which has no normal limit where it is 1, the worst and best corner of the joint (Bonferroni) limits of v
    and u: wider than need be. The variance of z is the published one (as corrected in 2000) where readings have the
    moments of normal ones, and for scores that of kappa weighted by squares (Fleiss, Cohen and Everitt 1969).

    Repeats of several subjects: ``sampling="sessions"`` with the subject as `session` gives the concordance of
    repeated measures, subjects counting alike. It is that of King, Chinchilli and Carrasco (2007) where the means
    do not change from repeat to repeat. Its interval, and that of the precision, comes from leaving each subject out
    (`agree.estimators.indices.leave_one_out`): from 4 subjects on it covers 91 to 96 %, where that of influences
    covered 82 to 93 (3,000 runs of 4 to 30 subjects of 5 pairs, error 0.4); it misses where few subjects set the range
    (exponential levels: 85 to 91 %, 73 to 85 before). Of 3 it says next to nothing, of 2 nothing: -1 to 1.

    References
    ----------
    Lin LI-K (1989) Biometrics 45:255-268; King TS, Chinchilli VM, Carrasco JL (2007) Stat Med 26:3095 (from memory).

    Examples
    --------
    >>> from agree import concordance
    >>> result = concordance([100, 150, 200, 250, 300, 350], [103, 151, 208, 254, 312, 357])
    >>> f"{result.concordance.value:.4f} = {result.precision.value:.4f} * {result.accuracy.value:.4f}"
    '0.9969 = 0.9995 * 0.9973'
    """
    sampling = checks.sampling_of(sampling, session)
    x, y, labels = checks.columns(reference, device, session=session, sampling=sampling, nan_policy=nan_policy)
    options: dict[str, Any] = {"level": checks.fraction(level, "level"), "sampling": sampling, "session": labels}
    for name, column in (("reference", x), ("device", y)):
        if column.min() == column.max():
            raise InputError(f"no correlation: `{name}` is {column[0]:g} throughout; record a range of power")
    unit = float(max(np.abs(x).max(), np.abs(y).max()))
    x, y = x / unit, y / unit
    mean = mean_over(labels)
    gap, dx, dy = mean(y - x), x - mean(x), y - mean(y)
    unit = float(max(np.abs(dx).max(), np.abs(dy).max()))  # squares of small variation on a high level
    gap, dx, dy = gap / unit, dx / unit, dy / unit
    sx, sy = (float(np.abs(d).max()) * math.sqrt(mean((d / np.abs(d).max()) ** 2)) for d in (dx, dy))
    e, a, b, root = dy - dx, dx / sx, dy / sy, math.sqrt(sx) * math.sqrt(sy)
    agreed = _fisher((dx + dy) ** 2 + gap * (gap + 2 * e), e * e + gap * (gap + 2 * e), options)
    precision = _fisher((a + b) ** 2, (a - b) ** 2, options)
    if labels is not None:
        scores = (a + b, a - b, (a + b) ** 2, (a - b) ** 2, (a + b) * (a - b))
        sums = (dx + dy, (dx + dy) ** 2, gap + e, (gap + e) ** 2)
        agreed = without_each(agreed, session_means(sums, labels), agreement)
        precision = without_each(precision, session_means(scores, labels), correlation)
    shifts = ((math.log(sy / sx), (b * b - a * a) / 2), (gap / root, e / root - gap / root * (a * a + b * b - 2) / 4))
    scale, location = (estimate(value, phi, **options) for value, phi in shifts)
    accuracy = _accuracy(*(estimate(value, phi, **{**options, "level": (1 + level) / 2}) for value, phi in shifts))
    warn_of_alike(e, sampling, along=x)
    warn_of_drift(agreed, precision, scale, location)
    return Concordance(concordance=agreed, precision=precision, accuracy=replace(accuracy, level=level),
                       scale_shift=transformed(scale, math.exp), location_shift=location, n=x.size, sampling=sampling)
