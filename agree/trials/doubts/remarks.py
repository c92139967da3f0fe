"""What a reader must know before trusting the answer: skew, spread that grows, few subjects, a noisy reference."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from agree.core import thresholds
from agree.core.checks import FloatArray
from agree.core.results.note import Note
from agree.estimators.lines.inversions import count_inversions
from agree.estimators.readings import neighbours_alike
from agree.estimators.trials.side_by_side import SideBySide
from agree.trials.meanings import TrialMeaning
from agree.trials.scaled import ScaledErrors
from agree.trials.trials import Trials
from agree.verdict.claim import Claim
from agree.verdict.rule import OPEN, three_way

ROUNDING = 1e-9  # of the readings: less is no spread but of the arithmetic


def skewness(values: FloatArray) -> float:
    """Return the skewness of a sample over its standard error if normal (form G1; SE by Cramer, from memory)."""
    n, centred = values.size, values - values.mean()
    m2 = float(np.square(centred).mean())
    if n < 4 or np.ptp(values) <= ROUNDING * float(np.abs(values).max()):
        return 0.0
    g1 = float((centred**3).mean()) / m2**1.5 * math.sqrt(n * (n - 1)) / (n - 2)
    return float(g1 / math.sqrt(6 * n * (n - 1) / ((n - 2) * (n + 1) * (n + 3))))


def spread_against_level(scaled: ScaledErrors) -> float:
    """Kendall's tau between subjects' levels and their mean distance from the bias, over its standard error."""
    trials = scaled.trials
    level = np.bincount(trials.subject, weights=trials.reference) / np.bincount(trials.subject)
    away = np.bincount(trials.subject, weights=np.abs(scaled.error - scaled.errors.bias)) / np.bincount(trials.subject)
    n = level.size
    if np.ptp(away) <= ROUNDING * max(float(np.abs(trials.reference).max()), float(np.abs(scaled.error).max())):
        return 0.0  # errors that differ by rounding of the numbers alone
    by_level = away[np.argsort(level, kind="stable")]
    discordant = count_inversions(np.argsort(np.argsort(by_level, kind="stable"), kind="stable"))
    score = n * (n - 1) / 2 - 2 * discordant
    return float(score / math.sqrt(n * (n - 1) * (2 * n + 5) / 18))


def skew_margin(mean: TrialMeaning, subjects: int) -> float | None:
    """Times the interval of the mean error that strongly skewed errors need, if the answer would not stand that.

    Few subjects hardly show a skew: where the long tail was missed, means look alike and too small at once. The answer
    allows for the skew that shows already. For that which does not it is held against that interval, widened by
    1 + 3.8/S^(3/4), within which lognormal errors of skewness 4.4 leave the mean in about 97.5 % of studies of 8 to 100
    subjects (benchmarks/trials.py --part skew).
    """
    item = mean.estimate
    if item is None or mean.verdict == OPEN:
        return None
    times = 1 + thresholds.TRIALS_SKEW_MARGIN / subjects**0.75
    low, high = (item.value + times * (float(mean.ground.values[end]) - item.value) for end in ("low", "high"))
    return None if three_way(low, high, mean.limit) == mean.verdict else times


def reference_noise(trials: Trials, beside: SideBySide) -> float | None:
    """SD of the reference's own noise in a trial, None where it cannot be told.

    Paired trials share what the subject did, so that their covariance within subjects is taken off the reference's
    variance; the noises of the two methods are taken to be independent. Unpaired, the subject's own variation is in it.
    """
    if beside.reference_error is None or not trials.paired:
        return None if beside.reference_error is None else beside.reference_error.value
    size = np.bincount(trials.subject)
    away = [values - (np.bincount(trials.subject, weights=values) / size)[trials.subject]
            for values in (trials.reference, trials.device)]
    return math.sqrt(max(float(away[0] @ (away[0] - away[1])), 0.0) / (trials.subject.size - size.size))


def remarks(
    scaled: ScaledErrors, beside: SideBySide, claim: Claim, meaning: str, mean: TrialMeaning
) -> Iterator[Note]:
    """Notes about the data, most important first; `mean` is the answer for the mean error."""
    errors, subjects = scaled.errors, scaled.errors.subjects
    if subjects < thresholds.TRIALS_FEW_SUBJECTS:
        yield Note(kind="trials_few_subjects", severity="trust",
                   values={"subjects": subjects, "wanted": thresholds.TRIALS_FEW_SUBJECTS})
    alike = neighbours_alike(errors.means)
    if alike is not None:
        yield Note(kind="trials_neighbours_alike", severity="trust", values={"correlation": alike})
    skew = skewness(errors.means)
    if abs(skew) > thresholds.TRIALS_SKEW:
        yield Note(kind="trials_skewed", severity="trust" if meaning == "average" else "detail",
                   values={"side": "high" if skew > 0 else "low"})
    elif meaning in ("average", "mean_absolute") and (times := skew_margin(mean, subjects)) is not None:
        yield Note(kind="trials_skew_margin", severity="trust", values={"subjects": subjects, "times": times})
    if scaled.trials.paired and subjects >= thresholds.TRIALS_FEW_SUBJECTS:
        growth = spread_against_level(scaled)
        if abs(growth) > thresholds.TRIALS_SPREAD_GROWS:
            yield Note(kind="trials_spread_grows" if growth > 0 else "trials_spread_shrinks", severity="trust",
                       values={"percent_claim": claim.percent is not None,
                               "percent_possible": scaled.trials.quantity.percent_has_meaning})
    noise = reference_noise(scaled.trials, beside)
    if noise is not None and claim.percent is not None and claim.absolute is None:
        cv = noise / float(np.abs(scaled.trials.reference).mean())
        if 100 * cv**2 > thresholds.TRIALS_NOISY_REFERENCE * scaled.limit:
            yield Note(kind="trials_noisy_reference", severity="trust",
                       values={"cv_percent": 100 * cv, "bias_percent": 100 * cv**2})
    if meaning == "mean_absolute":
        yield Note(kind="trials_mean_absolute", severity="trust")
    if not errors.trial_parts:
        yield Note(kind="trials_one_each", severity="detail")
