"""Sessions whose mean errors differ by more than the noise within them."""

from __future__ import annotations

import math

import numpy as np

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import NAMED_STRENGTH, WORTHWHILE_PERCENT
from agree.diagnosis.finding import Finding
from agree.diagnosis.windows.causes import Fit
from agree.diagnosis.windows.session_gains import unlike
from agree.verdict.columns import Table


def session_means(fit: Fit) -> list[tuple[int, Estimate]]:
    """Mean error of each session, per cent of its mean power, serial interval; those of more than 8 windows."""
    found = []
    for number, (low, high) in enumerate(fit.gains.bounds):
        if high - low > 8:
            share = 100 * fit.frame.error[low:high] / float(fit.frame.power[low:high].mean())
            found.append((number, estimate(float(share.mean()), share, level=0.95, sampling="serial")))
    return found


def whole_means(table: Table) -> FloatArray:
    """Mean error of each session in per cent, sum of errors over sum of reference: the one that a check shows."""
    error, reference = (np.bincount(table.session, weights=column) for column in (table.error, table.reference))
    result: FloatArray = 100 * error / reference
    return result


def sessions_differ(fit: Fit, shown: FloatArray | None = None) -> list[Finding]:
    r"""Sessions that differ as a whole: :math:`Q = \sum z^2` against chi-squared with S - 1 degrees of freedom.

    z is the deviation of each session's mean error from the weighted mean of all, as a normal score of its t
    distribution (Cochran 1954, Biometrics 10:101, for Q; from memory). The furthest session is named. Its error
    and the range are told of `shown`, the mean errors of all sessions, if these are given: windows weigh seconds
    otherwise, and one session is to have one error wherever it stands.
    """
    numbered = session_means(fit)
    if len(numbered) < 2:
        return []
    means = [item for _, item in numbered]
    values = np.array([item.value for item in means])
    squares = np.array([max(item.standard_error, 1e-12) ** 2 for item in means])
    centre, scores, strength = unlike(means)
    q, df = float(scores @ scores), len(means) - 1
    sd = math.sqrt(max(float(values.var(ddof=1)) - float(squares.mean()), 0.0))
    if strength < NAMED_STRENGTH or sd < WORTHWHILE_PERCENT:
        return []
    furthest = int(np.abs(values - centre).argmax())
    told = values if shown is None else shown[[number for number, _ in numbered]]
    own = math.sqrt(max(sd**2, 0.0))
    size = Estimate(value=own, low=math.nan, high=math.nan, level=0.95, method="SD of session means, noise taken off",
                    standard_error=own / math.sqrt(2 * df), df=float(df))
    return [Finding(
        cause="sessions_differ", size=size, unit="%", strength=strength, percent=sd,
        values={"q": q, "df": df, "sessions": len(fit.gains.bounds), "lowest_percent": float(told.min()),
                "highest_percent": float(told.max()), "furthest_session": numbered[furthest][0] + 1,
                "furthest_percent": float(told[furthest]), "furthest_z": float(scores[furthest])})]
