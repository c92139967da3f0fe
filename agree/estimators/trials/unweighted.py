"""Errors of several subjects with trials each, analysed by the unweighted means of the subjects."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.errors import SampleSizeError
from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import ROUNDED_COARSELY
from agree.estimators.components import Part, mover, one_way
from agree.estimators.limits.far_tail import LEAST, limit_by_order
from agree.estimators.limits.ordered import ordered

MOVER = "MOVER, normal errors"

MOVER = "MOVER, normal errors"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SubjectErrors:
    """Subjects' mean errors and the mean squares that make up the variance of a single trial's error.

    Model: error d_ij = beta + b_i + e_ij of subject i in trial j.

    Attributes
    ----------
    means : (S,) array
        Mean error of each subject.
    of_means : float
        V, the variance of these means, S - 1 degrees of freedom.
    trial_parts : tuple of Part
        Mean squares within subjects that are added for the mean of M trials: coefficient 1/m, that is the harmonic
        mean's reciprocal, by which V holds them already.
    n : int
        Number of trials.
    """

    means: FloatArray
    of_means: float
    trial_parts: tuple[Part, ...]
    n: int

    @property
    def subjects(self) -> int:
        """Number S of subjects."""
        return int(self.means.size)

    @property
    def bias(self) -> float:
        """Mean of the subjects' means, each weighed alike."""
        return float(self.means.mean())

    @property
    def within(self) -> float:
        """Variance of a trial's error within a subject; NaN without repeats."""
        return sum(part.square for part in self.trial_parts) if self.trial_parts else math.nan

    @property
    def between(self) -> float:
        """Variance between subjects, not below 0; with one trial each, of single errors."""
        return max(0.0, self.of_means - sum(part.coefficient * part.square for part in self.trial_parts))

    def parts(self, mean_of: int = 1) -> tuple[Part, ...]:
        """Mean squares whose sum is the variance of the error of a new subject's mean of `mean_of` trials."""
        own = Part(1.0, self.of_means, self.subjects - 1)
        return own, *(Part(1 / mean_of - part.coefficient, part.square, part.df) for part in self.trial_parts)

    def variance(self, mean_of: int = 1) -> float:
        """Variance of a new subject's mean of `mean_of` trials, not below the trials' own share of it."""
        total = sum(part.coefficient * part.square for part in self.parts(mean_of))
        return max(total, sum(part.square for part in self.trial_parts) / mean_of)


def subject_errors(error: FloatArray, subject: NDArray[np.intp]) -> SubjectErrors:
    """Analyse the errors (n,) of trials, `subject` their numbers.

    Raises
    ------
    SampleSizeError
        Fewer than 2 subjects.
    """
    if np.unique(subject).size < 2:
        raise SampleSizeError("`subject` must name at least 2 subjects; got 1: with one subject nothing is learnt "
                              "about another", option="subject")
    d = one_way(error, subject)
    trials = (Part(1 / d.harmonic, d.within, d.df_within),) if d.df_within > 0 else ()
    return SubjectErrors(means=d.means, of_means=d.of_means, trial_parts=trials, n=error.size)


def unpaired_errors(
    reference: FloatArray, of_reference: NDArray[np.intp], device: FloatArray, of_device: NDArray[np.intp]
) -> SubjectErrors:
    """Analyse readings whose trials do not belong together: each method's scatter within a subject counts.

    The true value of a subject is taken as constant, as in section 5.3 of the paper of 1999.

    References
    ----------
    Bland JM, Altman DG (1999) Stat Methods Med Res 8:135-160, sections 5.2 and 5.3.
    """
    x, y = one_way(reference, of_reference), one_way(device, of_device)
    trials = tuple(Part(1 / a.harmonic, a.within, a.df_within) for a in (x, y) if a.df_within > 0)
    means = y.means - x.means
    return SubjectErrors(means=means, of_means=float(means.var(ddof=1)), trial_parts=trials,
                         n=min(reference.size, device.size))


def mean_error(errors: SubjectErrors, level: float) -> Estimate:
    """Mean of the subjects' mean errors, t with S - 1 degrees of freedom."""
    return replace(estimate(errors.bias, errors.means - errors.bias, level=level, sampling="independent"),
                   method="t, between subjects")


def spread_and_limits(errors: SubjectErrors, bias: Estimate, coverage: float, level: float,
                      step: float = 0.0) -> tuple[Estimate, ...]:
    r"""SD of a single trial's error, and limits of agreement, bias -+ z SD, with MOVER intervals.

    MOVER takes errors for normal. With one trial each, of LEAST subjects or more, errors are independent, and the
    limits' intervals are the robust ones of `limits_of_agreement`, for other shapes too; `step`: of rounded errors.

    The variance is V + (1 - 1/m) W, m the harmonic mean of the numbers of trials: its intervals keep their coverage for
    1 and 20 trials (measured in benchmarks/trials.py), where those of weighted means fall to 70 %.

    References
    ----------
    Thomas JD, Hultquist RA (1978) Ann Stat 6:582; Burdick RK, Graybill FA (1992) Confidence Intervals on Variance
    Components; Zou GY (2013) Stat Methods Med Res 22:630 (citations from memory).
    """
    z = float(special.ndtri((1 + coverage) / 2))
    variance, low, high = mover(errors.parts(), level) if errors.of_means > 0 else (0.0, 0.0, 0.0)
    variance = max(variance, errors.variance())
    sd, sd_low, sd_high = (math.sqrt(max(v, 0.0)) for v in (variance, low, max(high, variance)))
    made = [Estimate(value=sd, low=sd_low, high=sd_high, level=level, method=MOVER)]
    if not errors.trial_parts and errors.subjects >= LEAST:
        return *made, *_limits_by_order(errors, bias, sd * z, coverage, step)
    down, up = z * (sd - sd_low), z * (sd_high - sd)
    below, above = bias.value - bias.low, bias.high - bias.value
    for value, less, more in ((bias.value - z * sd, up, down), (bias.value + z * sd, down, up)):
        made.append(Estimate(value=value, low=value - math.hypot(below, less), high=value + math.hypot(above, more),
                             level=level, method=MOVER))
    return tuple(made)


def _limits_by_order(errors: SubjectErrors, bias: Estimate, half: float, coverage: float,
                     step: float) -> tuple[Estimate, ...]:
    """Limits of one trial each, widened by what the bias is less sure of than chance alone makes it."""
    plain, in_order = mean_error(errors, bias.level), ordered(errors.means, None)
    coarse = step if step > ROUNDED_COARSELY * float(errors.means.std()) else 0.0
    less, more = (math.sqrt(max(own * own - by_chance * by_chance, 0.0)) for own, by_chance in (
        (bias.value - bias.low, plain.value - plain.low), (bias.high - bias.value, plain.high - plain.value)))
    made = []
    for value, share in ((bias.value - half, (1 - coverage) / 2), (bias.value + half, (1 + coverage) / 2)):
        item = limit_by_order(in_order, value, share, bias.level, coarse)
        made.append(replace(item, low=value - math.hypot(value - item.low, less),
                            high=value + math.hypot(item.high - value, more)))
    return tuple(made)
