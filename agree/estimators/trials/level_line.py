"""How the error changes with the level, where the reference is noisy too: a line, and the error at both ends."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result

LEAST_SUBJECTS = 5  # below, a jackknife of a slope has too few degrees of freedom to say anything
END_Z = 1.6448536  # normal quantile of 95 %: the levels of most subjects lie between the ends


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LevelLine(Result):
    """Line of the error on the level.

    Attributes
    ----------
    slope : Estimate
        Change of the error for each unit of the level.
    ends : tuple of Estimate
        Error at the 5 % and 95 % level of subjects like these, both at once at the stated level.
    end_levels : tuple of float
        These levels, mean -+ 1.645 SD of the subjects' means; that they are estimates is in the intervals.
    instrument : str
        "other trials": each trial's level is told by the subject's other trials. "both axes": without repeats, the
        widest limits of the lines on the reference and on the mean of both.
    trend : bool
        The slope's interval, or both lines', leave out 0.
    """

    slope: Estimate
    ends: tuple[Estimate, Estimate]
    end_levels: tuple[float, float]
    instrument: str
    trend: bool


def level_line(
    error: FloatArray, reference: FloatArray, device: FloatArray, subject: NDArray[np.intp], level: float
) -> LevelLine | None:
    r"""Fit the line; None with fewer than 5 subjects or levels that do not differ.

    The reference's own noise would make a trend of nothing, in 15-53 % of studies without one. So the level of a trial
    is told by an instrument, the mean reference z of the subject's *other* trials:

    .. math:: b = \sum w (z - \bar z)(d - \bar d) / \sum w (z - \bar z)(x - \bar x), \quad w = 1/m_i,

    with leave-one-subject-out jackknife and t with S - 2. Without repeats: both lines, on x and on (x + y)/2.
    """
    size = np.bincount(subject).astype(float)
    means = np.bincount(subject, weights=reference) / size
    repeated = size >= 2
    if size.size < LEAST_SUBJECTS or np.ptp(means) <= 0:
        return None
    if repeated.sum() >= max(LEAST_SUBJECTS, 0.5 * size.size):
        keep = repeated[subject]
        others = (means[subject] * size[subject] - reference)[keep] / (size[subject][keep] - 1)
        lines = [_jackknife(others, reference[keep], error[keep], subject[keep], means, level)]
        instrument = "other trials"
    else:
        lines = [_jackknife(z, reference, error, subject, means, level) for z in (reference, (reference + device) / 2)]
        instrument = "both axes"
    if any(line is None for line in lines):
        return None
    found = [line for line in lines if line is not None]
    merged = [_widest([line[k] for line in found]) for k in range(3)]
    trend = all(line[0].low > 0 for line in found) or all(line[0].high < 0 for line in found)
    away = END_Z * float(means.std(ddof=1))
    ends = float(means.mean()) - away, float(means.mean()) + away
    return LevelLine(slope=merged[0], ends=(merged[1], merged[2]), end_levels=ends,
                     instrument=instrument, trend=trend)


def _widest(items: list[Estimate]) -> Estimate:
    first = items[0]
    return Estimate(value=sum(item.value for item in items) / len(items), low=min(item.low for item in items),
                    high=max(item.high for item in items), level=first.level, method=first.method, df=first.df,
                    standard_error=max(item.standard_error for item in items))


def _jackknife(
    z: FloatArray, x: FloatArray, d: FloatArray, subject: NDArray[np.intp], means: FloatArray, level: float
) -> tuple[Estimate, Estimate, Estimate] | None:
    """Slope and error at both ends from the instrument z, subjects weighed alike; `means` are all subjects' levels."""
    present, index = np.unique(subject, return_inverse=True)
    w = 1 / np.bincount(index)[index]
    z, x = z - z.mean(), x - (shift := float(x.mean()))
    # Weighted sums by subject: left out one at a time by subtraction.
    sums = np.stack([np.bincount(index, weights=w * term) for term in (np.ones(x.size), z, x, d, z * d, z * x)])
    whole = sums.sum(axis=1, keepdims=True)
    n, mz, mx, md, zd, zx = np.concatenate((whole, whole - sums), axis=1)
    bottom = zx - mz * mx / n
    if not (np.abs(bottom) > 1e-12 * np.abs(zx).max()).all():
        return None
    slope = (zd - mz * md / n) / bottom
    at = np.stack([slope, *(md / n + slope * (end - shift - mx / n) for end in _ends(means, present))])
    count = sums.shape[1]
    spread = at[:, 1:] - at[:, 1:].mean(axis=1, keepdims=True)
    se = np.sqrt((count - 1) / count * np.square(spread).sum(axis=1))
    joint = level ** 0.5  # both ends at once
    made = [Estimate(value=float(value), low=float(value - t_quantile(own, count - 2) * error),
                     high=float(value + t_quantile(own, count - 2) * error), level=own, standard_error=float(error),
                     df=count - 2.0, method="jackknife over subjects")
            for value, error, own in zip(at[:, 0], se, (level, joint, joint), strict=True)]
    return made[0], made[1], made[2]


def _ends(means: FloatArray, left_out: NDArray[np.intp]) -> tuple[FloatArray, FloatArray]:
    """Both ends of the levels, of all subjects and without each of some."""
    count, centred = means.size, means - means.mean()
    rest = -centred[left_out] / (count - 1)
    square = float(centred @ centred) - centred[left_out] ** 2 * count / (count - 1)
    middle = means.mean() + np.r_[0.0, rest]
    away = END_Z * np.sqrt(np.r_[float(centred @ centred) / (count - 1), np.maximum(square, 0) / (count - 2)])
    return middle - away, middle + away
