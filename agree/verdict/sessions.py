"""Sessions against each other: how far they differ, what one more would add, and which one is odd."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from agree.core.checks import FloatArray
from agree.core.engine import t_quantile
from agree.core.errors import InputError, SampleSizeError
from agree.core.estimate import Estimate
from agree.core.result import Result

ODD_LEVEL = 0.01     # two-sided, shared by all sessions (Bonferroni)
TREND_LEVEL = 0.01
LEAST_FOR_ODD = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SessionEffects(Result):
    """Random effects over sessions.

    Attributes
    ----------
    mean : Estimate
        Mean over sessions, interval after Hartung & Knapp.
    between_sd : float
        Standard deviation of the sessions' own errors, that within sessions taken out.
    prediction : Estimate
        Error of one more session, its own noise left out.
    left_out : tuple of Estimate
        The mean without each session in turn; empty below 3 sessions.
    trend : Estimate or None
        Change from session to session, in the order given; None below 4 sessions.
    odd : tuple of int
        Sessions (from 0) that differ from the rest more than the rest differ among themselves.
    notes : tuple of str
        What stands out, in words.
    """

    mean: Estimate
    between_sd: float
    prediction: Estimate
    left_out: tuple[Estimate, ...]
    trend: Estimate | None
    odd: tuple[int, ...]
    notes: tuple[str, ...]


def between_variance(values: FloatArray, variances: FloatArray) -> float:
    """Paule & Mandel's variance between groups: sum (y - mean)^2/(v + tau^2) equals the degrees of freedom."""
    def excess(tau2: float) -> float:
        weight = 1 / (variances + tau2)
        return float(weight @ (values - weight @ values / weight.sum()) ** 2) - (values.size - 1)

    top = float(np.var(values, ddof=1)) * values.size
    if not top > 0 or excess(0.0 if (variances > 0).all() else 1e-12 * top) <= 0:
        return 0.0
    low = 0.0 if (variances > 0).all() else 1e-12 * top
    return float(optimize.brentq(excess, low, top, xtol=1e-14 * top, rtol=1e-12))


def pooled(values: FloatArray, variances: FloatArray, level: float) -> tuple[Estimate, float]:
    """Random-effects mean with the interval of Hartung & Knapp, and the variance between groups.

    The variance of the mean is sum w (y - mean)^2/((S - 1) sum w), w = 1/(v + tau^2), never below 1/sum w, with
    t_(S-1) (Hartung & Knapp 2001, Stat Med 20:3875; the floor after Roever et al. 2015, BMC Med Res Methodol 15:99:
    citations from memory).
    """
    tau2 = between_variance(values, variances)
    total = variances + tau2
    if not (total > 0).all():  # equal and exact
        total = np.ones_like(values)
    weight = 1 / total
    mean = float(weight @ values / weight.sum())
    spread = float(weight @ (values - mean) ** 2) / (values.size - 1)
    floor = 1.0 if (variances + tau2 > 0).all() else 0.0
    se = math.sqrt(max(spread, floor) / float(weight.sum()))
    half = t_quantile(level, values.size - 1) * se
    return Estimate(value=mean, low=mean - half, high=mean + half, level=level, standard_error=se,
                    df=values.size - 1.0, method="random effects, Hartung-Knapp"), tau2


def session_effects(biases: Sequence[Estimate], *, level: float = 0.95) -> SessionEffects:
    """Pool the mean errors of sessions, each with its own standard error.

    Parameters
    ----------
    biases : sequence of Estimate
        Mean error of each session with a finite standard error, in one unit; at least 2.
    level : float
        Confidence level, in (0, 1).

    Raises
    ------
    SampleSizeError
        Fewer than 2 sessions.
    InputError
        A session without a standard error.

    Examples
    --------
    >>> from agree import Estimate
    >>> from agree.verdict.sessions import session_effects
    >>> found = session_effects([Estimate(value=v, low=v - 0.2, high=v + 0.2, level=0.95, method="t",
    ...                                   standard_error=0.1, df=8) for v in (0.2, 1.1, 0.6)])
    >>> print(f"{found.mean.value:.2f} [{found.mean.low:.2f}, {found.mean.high:.2f}], SD {found.between_sd:.2f}")
    0.63 [-0.49, 1.75], SD 0.44
    """
    if len(biases) < 2:
        raise SampleSizeError(f"at least 2 sessions are needed to compare sessions; got {len(biases)}")
    values, errors = (np.array([getattr(item, name) for item in biases]) for name in ("value", "standard_error"))
    if not np.isfinite(errors).all():
        raise InputError(f"session {int(np.flatnonzero(~np.isfinite(errors))[0]) + 1} has no standard error")
    mean, tau2 = pooled(values, errors**2, level)
    se = math.hypot(math.sqrt(tau2), mean.standard_error)
    half = t_quantile(level, mean.df) * se
    prediction = Estimate(value=mean.value, low=mean.value - half, high=mean.value + half, level=level,
                          standard_error=se, df=mean.df, method="random effects, prediction")
    rest = [np.delete(np.arange(values.size), k) for k in range(values.size)] if values.size > 2 else []
    left_out = tuple(pooled(values[keep], errors[keep] ** 2, level)[0] for keep in rest)
    odd = _odd(values) if values.size >= LEAST_FOR_ODD else ()
    trend = _trend(values, level) if values.size >= LEAST_FOR_ODD else None
    notes = [f"session {k + 1} differs from the others ({values[k]:+.2g} against {left_out[k].value:+.2g} on average)"
             for k in odd]
    if trend is not None and _p_value(trend) < TREND_LEVEL:
        notes.append(f"the error changes from session to session by {trend.value:+.2g}: it is no constant yet")
    return SessionEffects(mean=mean, between_sd=math.sqrt(tau2), prediction=prediction, left_out=left_out, trend=trend,
                          odd=odd, notes=tuple(notes))


def _odd(values: FloatArray) -> tuple[int, ...]:
    """Externally studentised residuals beyond the t limit shared by all sessions."""
    found = []
    for k in range(values.size):
        rest = np.delete(values, k)
        sd = float(rest.std(ddof=1))
        gap = abs(values[k] - float(rest.mean()))
        limit = t_quantile(1 - ODD_LEVEL / values.size, rest.size - 1) * sd * math.sqrt(1 + 1 / rest.size)
        if gap > limit and gap > 0:
            found.append(k)
    return tuple(found)


def _trend(values: FloatArray, level: float) -> Estimate:
    place = np.arange(values.size) - (values.size - 1) / 2
    square = float(place @ place)
    slope = float(place @ values) / square
    residual = values - values.mean() - slope * place
    se = math.sqrt(float(residual @ residual) / (values.size - 2) / square)
    half = t_quantile(level, values.size - 2) * se
    return Estimate(value=slope, low=slope - half, high=slope + half, level=level, standard_error=se,
                    df=values.size - 2.0, method="least squares over sessions")


def _p_value(item: Estimate) -> float:
    if not item.standard_error > 0:
        return float(item.value == 0)
    return float(2 * special.stdtr(item.df, -abs(item.value) / item.standard_error))
