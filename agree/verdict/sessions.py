"""Sessions against each other: how far they differ, what one more would add, and which one is odd."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.bracketed_root import bracketed_root
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import session_shares, weighted_means
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.thresholds import EXCHANGE_LEFT, HALF_WEIGHT_S, ODD_LEVEL, SWAPPED_PERCENT, TREND_LEVEL
from agree.verdict.odd_sessions import odd_p_values

LEAST_FOR_ODD = 3
LEAST_FOR_TREND = 4

Suspicion = Literal["", "files exchanged", "one side only", "twice as much", "metric horsepower"]
_FACTORS: tuple[tuple[Suspicion, float], ...] = (
    ("one side only", 0.5), ("twice as much", 2.0), ("metric horsepower", 1 / 0.73549875),
    ("metric horsepower", 0.73549875))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OddSession(Result):
    """A session that differs from the others more than they differ, and more than chance within it explains.

    Attributes
    ----------
    number : int
        Which one, from 1.
    value, others : float
        Its mean error and that of the others, in the unit of the claim.
    suspicion : {"", "files exchanged", "one side only", "twice as much", "metric horsepower"}
        What would explain it, if anything does: the reverse of the others' error, or a factor between units.
    """

    number: int
    value: float
    others: float
    suspicion: Suspicion = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SessionEffects(Result):
    """Random effects over sessions.

    Attributes
    ----------
    mean : Estimate
        Mean over sessions: the one that the verdict rests on.
    between_sd : float
        Standard deviation of the sessions' own errors, that within sessions taken out (Paule & Mandel).
    prediction : Estimate
        Mean error of one more session as long as these.
    left_out : tuple of Estimate
        The mean without each session in turn; empty below 3 sessions.
    trend : Estimate or None
        Change from session to session, in the order given; None below 4 sessions.
    ageing : bool
        Whether that change is more than chance (p < 0.05): the error is not constant yet.
    odd : tuple of int
        Sessions (from 0) that are far from the rest: see `agree.verdict.odd_sessions`.
    odd_sessions : tuple of OddSession
        The same with their errors and what would explain them.
    notes : tuple of Note
        "session_odd" for each odd one, then "sessions_trend" if there is one.
    """

    mean: Estimate
    between_sd: float
    prediction: Estimate
    left_out: tuple[Estimate, ...]
    trend: Estimate | None
    ageing: bool
    odd: tuple[int, ...]
    odd_sessions: tuple[OddSession, ...]
    notes: tuple[Note, ...]


def between_variance(values: FloatArray, variances: FloatArray) -> float:
    """Paule & Mandel's variance between groups: sum (y - mean)^2/(v + tau^2) equals the degrees of freedom."""
    def excess(tau2: float) -> float:
        weight = 1 / (variances + tau2)
        return float(weight @ (values - weight @ values / weight.sum()) ** 2) - (values.size - 1)

    top = float(np.var(values, ddof=1)) * values.size
    if not top > 0 or excess(0.0 if (variances > 0).all() else 1e-12 * top) <= 0:
        return 0.0
    low = 0.0 if (variances > 0).all() else 1e-12 * top
    return bracketed_root(excess, low, top, xtol=1e-14 * top, rtol=1e-12)


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
    method = "random effects, Hartung-Knapp" + (", floor 1" if tau2 == 0 and floor > spread else "")
    return Estimate(value=mean, low=mean - half, high=mean + half, level=level, standard_error=se,
                    df=values.size - 1.0, method=method), tau2


def mean_over_sessions(values: FloatArray, seconds: FloatArray, level: float, *, ahead: bool = False) -> Estimate:
    """Mean over sessions with weights n/(n + 300 s), t with S - 1 degrees of freedom; with `ahead` that of one more.

    One more session varies by S V beside the mean's own V, which is s^2 (1 + 1/S) where sessions have equal weight.
    """
    found = weighted_means(values[None], session_shares(seconds, HALF_WEIGHT_S))
    se = math.sqrt(float(found.guarded()[0, 0]) * (1 + values.size * ahead))
    mean, half = float(found.mean[0]), t_quantile(level, found.df) * se
    return Estimate(value=mean, low=mean - half, high=mean + half, level=level, standard_error=se, df=found.df,
                    method=f"prediction from {values.size} sessions" if ahead else "t, between sessions")


def session_effects(
    biases: Sequence[Estimate], *, seconds: Sequence[float] | None = None, unit: str = "%", level: float = 0.95,
    numbers: Sequence[int] | None = None,
) -> SessionEffects:
    """Hold the mean errors of sessions against each other, each with its own standard error.

    Parameters
    ----------
    biases : sequence of Estimate
        Mean error of each session with a finite standard error, in one unit; at least 2.
    seconds : sequence of float, optional
        Used seconds of each; if not given, sessions have equal weight.
    unit : str
        Unit of the errors; in "%" an odd session is held against known factors too.
    level : float
        Confidence level, in (0, 1).
    numbers : sequence of int, optional
        Number of each session, from 1, where some sessions are not among them; 1 to S if not given.

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
    sizes = np.full(values.size, 1e9) if seconds is None else np.asarray(seconds, float)
    rest = [np.arange(values.size) != k for k in range(values.size)] if values.size > 2 else []
    trend = _trend(values, level) if values.size >= LEAST_FOR_TREND else None
    ageing = trend is not None and _p_value(trend) < TREND_LEVEL
    df = np.array([item.df for item in biases])
    names = range(1, values.size + 1) if numbers is None else numbers
    odd = _odd(_Known(values, errors**2, df, sizes), unit, names) if values.size >= LEAST_FOR_ODD else ()
    notes = [Note(kind="session_odd", severity="answer", values={
        "session": item.number, "value": item.value, "others": item.others, "unit": unit, "suspicion": item.suspicion})
        for item in odd]
    if trend is not None and ageing:
        notes.append(Note(kind="sessions_trend", severity="trust", values={
            "change": trend.value, "low": trend.low, "high": trend.high, "unit": unit}))
    return SessionEffects(
        mean=mean_over_sessions(values, sizes, level), between_sd=math.sqrt(between_variance(values, errors**2)),
        prediction=mean_over_sessions(values, sizes, level, ahead=True),
        left_out=tuple(mean_over_sessions(values[keep], sizes[keep], level) for keep in rest), trend=trend,
        ageing=ageing, odd=tuple(item.number - 1 for item in odd), odd_sessions=odd, notes=tuple(notes))


class _Known(NamedTuple):
    """Mean errors of sessions, the variances of these with their degrees of freedom, and used seconds, (S,) each."""

    values: FloatArray
    variances: FloatArray
    df: FloatArray
    seconds: FloatArray

    def named(self) -> NDArray[np.bool_]:
        """Whether each session is beyond the limit shared by all (Bonferroni)."""
        result: NDArray[np.bool_] = odd_p_values(*self) < ODD_LEVEL / self.values.size
        return result


def _odd(known: _Known, unit: str, numbers: Sequence[int]) -> tuple[OddSession, ...]:
    found = []
    for k in np.flatnonzero(known.named()).tolist():
        value, others = float(known.values[k]), float(np.delete(known.values, k).mean())
        found.append(OddSession(number=numbers[k], value=value, others=others,
                                suspicion=_suspicion(known, k, others, unit)))
    return tuple(found)


def _suspicion(known: _Known, place: int, others: float, unit: str) -> Suspicion:
    """What would turn the others' error into this one: the two files exchanged, or a factor between units."""
    value = float(known.values[place])
    if _exchanged(known, place, others, unit):
        return "files exchanged"
    if unit != "%":
        return ""
    ratio = (100 + value) / (100 + others) if others != -100 else math.nan
    return next((name for name, factor in _FACTORS if abs(ratio / factor - 1) < 0.05), "")


def _exchanged(known: _Known, place: int, others: float, unit: str) -> bool:
    """Whether a session with its files changed over would be one of the others, or nearly so.

    It must lie on the other side of 0, and the exchange must explain most of the gap: errors near 0 are their own
    reverse.
    """
    value = float(known.values[place])
    if value * others >= 0 or (unit == "%" and min(value, others) <= -100):
        return False
    turned, reverse = (-item if unit != "%" else 100 * (1 / (1 + item / 100) - 1) for item in (value, others))
    if abs(value - reverse) > EXCHANGE_LEFT * abs(value - others):
        return False
    values = known.values.copy()
    values[place] = turned
    near = SWAPPED_PERCENT if unit == "%" else 0.0
    return abs(value - reverse) < near or not bool(known._replace(values=values).named()[place])


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
