"""Statistics over units: their mean and spread, single units drawn together, the share within the claim, odd units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.thresholds import STUDY_ASSUMED_UNITS, STUDY_BY_ORDER_UNITS, STUDY_SHAPE_LEVEL, STUDY_SHAPE_UNITS
from agree.verdict.sessions import between_variance, pooled

Assume = Literal["nothing", "normal"]
LEAST_UNITS = 3
DRAWS = 2000
GRID, STEPS = 400, 50
SEED = 8191


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ManyUnits(Result):
    """What many units say of their kind.

    Attributes
    ----------
    mean : Estimate
        Mean error of the units, the reference's shared error included.
    sd : Estimate
        SD between units' true errors; its interval, by the Q profile, ends at infinity where it is not known.
    shrunken : tuple of Estimate
        Each unit's error drawn towards the mean as far as its own uncertainty asks.
    errors : tuple of float
        Each unit's error as measured.
    share_within : Estimate or None
        Share of all such units whose true error lies within the limit, a fraction; None where it is not known.
    tolerance : Estimate or None
        The limit that holds 95 % of all such units, in 95 of 100 studies; None where it is not known.
    flagged : tuple of int
        Units that lie outside the limit, with false discoveries kept below the stated rate.
    limit : float
    unit : str
        Of all these.
    names : tuple of str
        Of the units in the order of `shrunken`; empty if not given.
    notes : tuple of Note
        Why share and tolerance are not known, and how the tolerance was found.
    """

    mean: Estimate
    sd: Estimate
    shrunken: tuple[Estimate, ...]
    errors: tuple[float, ...]
    share_within: Estimate | None
    tolerance: Estimate | None
    flagged: tuple[int, ...]
    limit: float
    unit: str
    names: tuple[str, ...]
    notes: tuple[Note, ...]


def many_units(
    error: ArrayLike, standard_error: ArrayLike, *, limit: float, reference_u: float = 0.0,
    false_discoveries: float = 0.05, level: float = 0.95, unit: str = "%", names: Sequence[str] = (),
    assume: Assume = "nothing",
) -> ManyUnits:
    """Summarise units of one kind.

    Parameters
    ----------
    error, standard_error : (k,) arrays
        Mean error of each unit and its standard error, sessions included, in one unit of measurement; at least 3 units.
    limit : float
        The claim, in the same unit.
    reference_u : float
        Standard uncertainty of the reference that all units were held against: it never averages out.
    false_discoveries : float
        Expected share of wrong flags among the flags, a fraction.
    level : float
        A fraction in (0, 1).
    unit : str
        Of measurement.
    names : sequence of str, optional
        Of the units.
    assume : {"nothing", "normal"}
        "normal" takes the units' true errors for normal, unless they plainly are not, before 500 units can show it.

    Returns
    -------
    ManyUnits

    Raises
    ------
    InputError
        Negative standard errors, a limit of 0 or less.
    SampleSizeError
        Fewer than 3 units.

    Notes
    -----
    Mean: Paule & Mandel's weights with Hartung & Knapp's variance. SD: Q profile (Viechtbauer 2007, Stat Med 26:37).
    Single units: Morris (1983, JASA 78:47), with the uncertainty of mean and SD. Share and tolerance: draws from the Q
    profile and the mean given the SD (after Iyer, Wang & Mathew 2004, JASA 99:1060), with the reference's error drawn
    beside the mean. The interval of the SD, share and tolerance rest on normal units: they are stated where the errors
    of 500 units and more look normal (Shapiro & Wilk), or of 20 and more with ``assume="normal"``; else the tolerance
    is by order alone (Wilks 1941), from 59 units on. Flags: Benjamini &
    Hochberg (1995, JRSS B 57:289) on one-sided tests against the limit. Citations from memory.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.study.statistics.many_units import many_units
    >>> rng = np.random.default_rng(1)
    >>> errors = np.r_[rng.normal(0, 0.5, 11), 4.0]
    >>> found = many_units(errors, np.full(12, 0.3), limit=1.5)
    >>> found.flagged, found.share_within is None
    ((11,), True)
    """
    checks.fraction(level, "level")
    checks.choice(assume, "assume", ("nothing", "normal"))
    (y, se), _ = checks.table((error, standard_error), ("error", "standard_error"), minimum=1)
    if y.size < LEAST_UNITS:
        raise SampleSizeError(f"statistics over units need at least {LEAST_UNITS}; got {y.size}")
    if (se < 0).any() or not limit > 0:
        raise InputError("`standard_error` must be 0 or more and `limit` above 0; "
                         f"got {se.min():g} and {limit:g}", option="standard_error")
    variance = np.maximum(se**2, 1e-12 * max(float(y.var()), 1e-12))
    plain, _ = pooled(y, variance, level)
    tau2 = between_variance(y, variance)
    mean = _widened(plain, reference_u, level)
    why = _why_not_known(y, variance, tau2, assume)
    if why:
        sd = Estimate(value=math.sqrt(tau2), low=0.0, high=math.inf, level=level,
                      method="not known: units not shown normal")
        share, tolerance = None, _by_order(y, reference_u, level)
    else:
        sd = _sd(y, variance, tau2, level)
        share, tolerance = _share_and_tolerance(y, variance, tau2, limit, reference_u, level)
    notes = (Note(kind="units_share_not_known", values={"why": why, "units": int(y.size)}),) if why else ()
    return ManyUnits(mean=mean, sd=sd,
                     shrunken=_shrunken(y, variance, tau2, plain.value, level),
                     errors=tuple(y.tolist()), share_within=share, tolerance=tolerance,
                     flagged=_flagged(y, np.sqrt(variance + reference_u**2), limit, false_discoveries), limit=limit,
                     unit=unit, names=tuple(names), notes=notes)


def _widened(item: Estimate, u: float, level: float) -> Estimate:
    half = math.hypot(item.high - item.value, float(special.ndtri((1 + level) / 2)) * u)
    return Estimate(value=item.value, low=item.value - half, high=item.value + half, level=level,
                    method=item.method + (", with the reference's uncertainty" if u else ""),
                    standard_error=math.hypot(item.standard_error, u), df=item.df)


def q_profile(y: FloatArray, variance: FloatArray, target: float) -> float:
    """Between-unit variance at which Q = sum (y - m)^2 / (variance + tau^2) is `target`; 0 if it is less already."""
    def excess(tau2: float) -> float:
        w = 1 / (variance + tau2)
        return float((w * (y - (w @ y) / w.sum()) ** 2).sum()) - target

    if excess(0.0) <= 0:
        return 0.0
    high = max(float(y.var()), 1e-12)
    while excess(high) > 0:
        high *= 4
    return float(optimize.brentq(excess, 0.0, high, xtol=1e-14 * high))


def _sd(y: FloatArray, variance: FloatArray, tau2: float, level: float) -> Estimate:
    targets = [float(special.chdtri(y.size - 1, p)) for p in ((1 - level) / 2, (1 + level) / 2)]
    ends = [math.sqrt(q_profile(y, variance, target)) for target in targets]
    return Estimate(value=math.sqrt(tau2), low=min(ends), high=max(ends), level=level, method="Q profile")


def _shrunken(y: FloatArray, variance: FloatArray, tau2: float, mean: float, level: float) -> tuple[Estimate, ...]:
    pull = variance / (variance + tau2)
    total = 1 / (variance + tau2)
    few = 2 / max(y.size - 3, 1)
    spread = variance * (1 - pull) + pull**2 / total.sum() + few * pull**2 * (y - mean) ** 2
    # t where the theory has z: with 5 units, 5 % of them odd or t with 3 df, z covers 90 to 91 %
    t = t_quantile(level, y.size - 1)
    values, halves = mean + (1 - pull) * (y - mean), t * np.sqrt(spread)
    return tuple(Estimate(value=float(v), low=float(v - h), high=float(v + h), level=level, method="empirical Bayes",
                          standard_error=float(h / t), df=y.size - 1.0) for v, h in zip(values, halves, strict=True))


def _inside(mean: FloatArray, tau: FloatArray, limit: float) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        share = special.ndtr((limit - mean) / tau) - special.ndtr((-limit - mean) / tau)
    result: FloatArray = np.where(tau > 0, share, (np.abs(mean) <= limit).astype(float))
    return result


def _why_not_known(y: FloatArray, variance: FloatArray, tau2: float, assume: str) -> str:
    """Why units cannot be taken for normal; "" if they can."""
    from scipy.stats import shapiro

    if y.size < (STUDY_ASSUMED_UNITS if assume == "normal" else STUDY_SHAPE_UNITS):
        return "too few units"
    centre = float(np.average(y, weights=1 / (variance + tau2)))
    looks = float(shapiro((y - centre) / np.sqrt(variance + tau2)).pvalue)
    return "" if looks > STUDY_SHAPE_LEVEL else "errors of units are not normal"


def _by_order(y: FloatArray, u: float, level: float) -> Estimate | None:
    """Limit that holds 95 % of units by their order, the reference's error added; noise only makes it wider."""
    if y.size < STUDY_BY_ORDER_UNITS:
        return None
    # the r-th largest of k holds a share 0.95 with the stated confidence if P(Bin(k, 0.05) >= r) does
    rank = 1
    while special.bdtrc(rank, y.size, 0.05) >= level:
        rank += 1
    far = float(np.sort(np.abs(y))[-rank]) + float(special.ndtri((1 + level) / 2)) * u
    return Estimate(value=float(np.quantile(np.abs(y), 0.95)), low=0.0, high=far, level=level,
                    method="by order (Wilks 1941)")


def _share_and_tolerance(
    y: FloatArray, variance: FloatArray, tau2: float, limit: float, u: float, level: float
) -> tuple[Estimate, Estimate]:
    centre = float(np.average(y, weights=1 / (variance + tau2)))
    rng = np.random.default_rng(SEED)
    taus = profiled(y, variance, rng.chisquare(y.size - 1, DRAWS))
    weights = 1 / (variance + taus[:, None] ** 2)
    means = (weights @ y) / weights.sum(axis=1) + rng.normal(size=DRAWS) / np.sqrt(weights.sum(axis=1))
    means += u * rng.normal(size=DRAWS)
    shares = _inside(means, taus, limit)
    tails = ((1 - level) / 2, (1 + level) / 2)
    value = float(_inside(np.array([centre]), np.array([math.sqrt(tau2)]), limit)[0])
    low, high = np.quantile(shares, tails)
    share = Estimate(value=value, low=float(min(low, value)), high=float(max(high, value)), level=level,
                     method="generalised draws, normal units")
    edges = np.sort(edges_of(means, taus))
    return share, Estimate(value=float(np.median(edges)), low=0.0, high=float(np.quantile(edges, level)), level=level,
                           method="generalised draws, normal units")


def profiled(y: FloatArray, variance: FloatArray, targets: FloatArray) -> FloatArray:
    """SDs between units at which Q is each target: Q falls, so it is found on a grid of SDs and turned round."""
    top = math.sqrt(q_profile(y, variance, float(targets.min())))
    grid = top * np.linspace(0, 1, GRID)
    values = np.empty(GRID)
    for k, tau in enumerate(grid):
        w = 1 / (variance + tau**2)
        values[k] = w @ (y - (w @ y) / w.sum()) ** 2
    result: FloatArray = np.interp(-targets, -values, grid)
    return result


def edges_of(means: FloatArray, taus: FloatArray) -> FloatArray:
    """Limits that hold 95 % of units, for each mean and SD, by bisection."""
    low, high = np.zeros(means.size), np.abs(means) + 6 * taus
    for _ in range(STEPS):
        middle = (low + high) / 2
        held = np.where(taus > 0, special.ndtr((middle - means) / np.maximum(taus, 1e-300))
                        - special.ndtr((-middle - means) / np.maximum(taus, 1e-300)), np.abs(means) <= middle) >= 0.95
        low, high = np.where(held, low, middle), np.where(held, middle, high)
    return high


def _flagged(y: FloatArray, se: FloatArray, limit: float, rate: float) -> tuple[int, ...]:
    p = special.ndtr((limit - np.abs(y)) / np.maximum(se, 1e-300))
    order = np.argsort(p)
    passing = np.flatnonzero(p[order] <= rate * np.arange(1, y.size + 1) / y.size)
    kept: Sequence[int] = [] if not passing.size else order[:passing[-1] + 1].tolist()
    return tuple(sorted(kept))
