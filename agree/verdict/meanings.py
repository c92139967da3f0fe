"""Four honest meanings of one claim, each with its own answer."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from agree.core.checks import FloatArray
from agree.core.engine import estimate, spread, t_quantile
from agree.core.estimate import Estimate
from agree.core.result import Result
from agree.estimators.ratios import ratio_of_sums
from agree.verdict.claim import Claim
from agree.verdict.columns import LEAST_SECONDS, Table, Windows
from agree.verdict.error_distribution import EXACT, KnownError, interval_half_width, probability_within
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import FAILS, HOLDS, OPEN, decide, widen

MEANINGS = ("average", "bands", "readings", "next_session")
SHARE = 0.95                                     # share of readings that must lie within the claim
WIDTHS_S = (1, 2, 3, 5, 10, 15, 30, 60, 120, 300)  # averaging times tried for the shortest that will do
COUNTS = (8, 32)                                 # cosines tried for the effective number of windows
LEAST_FOR_PROBABILITY = 3                        # sessions; with 2 "P > 99 %" came true in 88-92 % of tests
LEAST_BAND_S = 60                                # a band with fewer seconds is shown, not judged


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading(Result):
    """The claim under one meaning.

    Attributes
    ----------
    meaning : {"average", "bands", "readings", "next_session"}
        What is asked of the device.
    verdict : {"holds", "does not hold", "not settled"}
        The answer.
    estimate : Estimate or None
        What was compared with the limit, widened by the reference's uncertainty: mean error, error of the worst
        band, share of readings (a fraction), or error of the next session.
    limit : float
        The limit: in `unit`, or the required share for ``readings``.
    unit : str
        "%", "W" or "share".
    because : str
        The answer's ground in words.
    conformance_probability : float
        Probability that the error lies within the limit (JCGM 106, from t and the reference's shape together); NaN
        below 3 sessions and where it has no meaning.
    own : Estimate or None
        The same as `estimate` before the reference's uncertainty was added.
    known : KnownError
        What was added: the reference's error that no riding makes smaller.
    details : dict
        More, by meaning: worst band, bands judged and too thin; averaging time, shortest that will do; sessions.
    """

    meaning: str
    verdict: str
    estimate: Estimate | None
    limit: float
    unit: str
    because: str
    conformance_probability: float = math.nan
    details: dict[str, Any] = field(default_factory=dict)
    own: Estimate | None = None
    known: KnownError = EXACT


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BandCheck(Result):
    """One band of the reference's level, with its bias in per cent and its own answer.

    `bias` has the plain level; `joint` is widened so that all bands hold at once, and by the reference's
    uncertainty: the verdict is by `joint`. A band of fewer than 60 s is "too thin".
    """

    low: float
    high: float
    seconds: int
    bias: Estimate
    joint: Estimate
    limit_percent: float
    verdict: str


def mean_error(table: Table, unit: str, level: float, chosen: Any = slice(None)) -> Estimate:
    """Mean error in per cent (sum of errors over sum of reference) or W, without the reference's uncertainty."""
    error, reference = table.error[chosen], table.reference[chosen]
    value, phi = ratio_of_sums(error, reference if unit == "%" else np.ones(error.size))
    plain = estimate(value, phi, level=level, sampling=table.sampling, session=table.labels(chosen), cautious=True)
    return plain.scaled(100.0) if unit == "%" else plain


def band_error(table: Table, mask: NDArray[np.bool_], level: float) -> Estimate:
    """Mean error in per cent over some seconds; without limits where these are too few or of one session of several."""
    total = float(table.reference[mask].sum())
    labels = table.labels(mask)
    if mask.sum() >= 2 and total > 0 and (labels is None or np.unique(labels).size >= 2):
        return mean_error(table, "%", level, mask)
    value = 100 * float(table.error[mask].sum()) / total if total > 0 else math.nan
    return Estimate(value=value, low=-math.inf, high=math.inf, level=level, method="too few seconds or sessions")


def average(
    table: Table, claim: Claim, reference_u: ReferenceUncertainty, level: float, rule: str = "interval"
) -> Reading:
    """Mean error over the recording(s) against the mean limit."""
    chosen = table.level >= (claim.above_watts or -math.inf)
    if chosen.sum() < LEAST_SECONDS or (table.sessions > 1 and np.unique(table.session[chosen]).size < 2):
        return Reading(meaning="average", verdict=OPEN, estimate=None, limit=math.nan, unit=claim.unit,
                       because=f"only {chosen.sum()} s in the range of the claim: too few to judge")
    mean_w = float(table.reference[chosen].mean())
    limit = float(claim.limit_w(table.reference[chosen]).mean())
    if claim.unit == "%":
        limit = 100 * limit / mean_w
    known = reference_u.known(mean_w, claim.unit)
    plain = mean_error(table, claim.unit, level, chosen)
    item = widen(plain, known)
    verdict, because = decide(item, limit, rule)
    return Reading(meaning="average", verdict=verdict, estimate=item, limit=limit, unit=claim.unit, because=because,
                   conformance_probability=_probability(plain, limit, known, table.sessions), own=plain, known=known,
                   details={"reference_u": known.u, "own_u": plain.standard_error, "mean_w": mean_w})


def _probability(plain: Estimate, limit: float, known: KnownError, sessions: int) -> float:
    """Probability within the limit; NaN below 3 sessions, whose own spread is too uncertain for it to be true."""
    if sessions < LEAST_FOR_PROBABILITY:
        return math.nan
    return probability_within(plain.value, limit, plain.standard_error, plain.df, known)


def default_edges(level: FloatArray, floor: float | None) -> FloatArray:
    """Round powers, at most nine bands; the outermost take in the few seconds beyond them."""
    level = level if floor is None else np.r_[floor, level[level >= floor]]
    low, high = np.percentile(level, (2, 98))
    step = next((s for s in (5, 10, 20, 25, 50, 100, 200, 250, 500) if (high - low) / s <= 6), 1000)
    first, last = math.floor(low / step), max(math.ceil(high / step), math.floor(low / step) + 1)
    edges = np.arange(first, last + 1) * float(step)
    for place, beyond, far in ((0, level < edges[0], math.floor(level.min() / step) * step),
                               (-1, level >= edges[-1], (math.floor(level.max() / step) + 1) * step)):
        if beyond.sum() >= LEAST_BAND_S:
            edges = np.insert(edges, 0 if place == 0 else edges.size, far)
        elif beyond.any():
            edges[place] = far
    return edges if floor is None else np.r_[floor, edges[edges > floor]]


def bands(
    table: Table, claim: Claim, reference_u: ReferenceUncertainty, level: float, edges: FloatArray | None,
    rule: str = "interval",
) -> tuple[Reading, tuple[BandCheck, ...]]:
    """Bias in every band against the limit there, all bands at once (Sidak)."""
    limits = default_edges(table.level, claim.above_watts) if edges is None else edges
    masks = [(table.level >= low) & (table.level < high) for low, high in pairwise(limits)]
    judged = [k for k, mask in enumerate(masks) if mask.sum() >= LEAST_BAND_S
              and (claim.above_watts is None or limits[k] >= claim.above_watts)]
    joint_level = level ** (1 / max(len(judged), 1))
    checks = []
    for k, mask in enumerate(masks):
        plain, wide = (band_error(table, mask, at) for at in (level, joint_level))
        reference = table.reference[mask]
        total = float(reference.sum())
        mean = total / reference.size if total > 0 else math.nan
        limit = 100 * float(claim.limit_w(reference).sum()) / total if total > 0 else math.nan
        item = widen(wide, reference_u.known(mean)) if total > 0 else wide
        verdict = decide(item, limit, rule)[0] if k in judged else "too thin"
        if claim.above_watts is not None and limits[k] < claim.above_watts:
            verdict = "outside the claim"
        checks.append(BandCheck(low=float(limits[k]), high=float(limits[k + 1]), seconds=int(mask.sum()), bias=plain,
                                joint=item, limit_percent=limit, verdict=verdict))
    return _bands_reading([checks[k] for k in judged], len(checks)), tuple(checks)


def _bands_reading(judged: list[BandCheck], total: int) -> Reading:
    common: dict[str, Any] = {"meaning": "bands", "unit": "%"}
    if not judged:
        return Reading(**common, verdict=OPEN, estimate=None, limit=math.nan,
                       because=f"no band has {LEAST_BAND_S} s", details={"judged": 0, "thin": total})
    worst = max(judged, key=lambda band: abs(band.bias.value) / band.limit_percent)
    verdicts = [band.verdict for band in judged]
    failing = [band for band in judged if band.verdict == FAILS]
    verdict = FAILS if failing else HOLDS if set(verdicts) == {HOLDS} else OPEN
    named = failing or [band for band in judged if band.verdict == OPEN]
    where = ", ".join(f"{band.low:g}-{band.high:g}" for band in named[:4]) + (" ..." if len(named) > 4 else "")
    because = {HOLDS: f"all {len(judged)} bands lie inside their limits",
               FAILS: f"wholly outside at {where} W", OPEN: f"open at {where} W"}[verdict]
    thin = total - len(judged)
    return Reading(**common, verdict=verdict, estimate=worst.joint, limit=worst.limit_percent,
                   because=because + (f"; {thin} band(s) not judged" if thin else ""),
                   details={"worst_band": [worst.low, worst.high], "judged": len(judged), "not_judged": thin})


def share_within(
    table: Table, windows: Windows, claim: Claim, reference_u: ReferenceUncertainty, level: float
) -> Estimate | None:
    """Share of window means within the claim.

    Binomial limits (Clopper & Pearson 1934) with an effective number of windows: their number times the variance
    of the relative errors' mean if independent over that from the engine, with 8 or 32 cosines, whichever is larger.
    The reference's error is shared by all
    windows: the errors are shifted by -+z u, and the widest limits taken.
    """
    keep = windows.reference >= (claim.above_watts or -math.inf)
    reference, error = windows.reference[keep], (windows.device - windows.reference)[keep]
    limit = claim.limit_w(reference)
    if error.size < 3 or (table.sampling == "sessions" and np.unique(windows.session[keep]).size < 2):
        return None
    relative = error / np.maximum(limit, 1e-9)
    relative = np.clip(relative - relative.mean(), -1e6, 1e6)
    alone = spread(relative, "independent").standard_error
    # With few cosines the number would be too noisy to trust when it is high; the smaller of two is taken.
    apart = max(spread(relative, table.sampling, windows.session[keep], cosines=k).standard_error for k in COUNTS)
    n = error.size / max((apart / alone) ** 2 if alone > 0 else 1.0, 1.0)
    shift = reference_half_width(reference_u, reference, level)
    shares = [float((np.abs(error + k * shift) <= limit).mean()) for k in (0, -1, 1)]
    alpha = 1 - level
    lows = [0.0 if s == 0 else float(special.betaincinv(s * n, n - s * n + 1, alpha / 2)) for s in shares]
    highs = [1.0 if s == 1 else float(special.betaincinv(s * n + 1, n - s * n, 1 - alpha / 2)) for s in shares]
    return Estimate(value=shares[0], low=min(lows), high=max(highs), level=level,
                    method=f"binomial, {n:.0f} effective of {error.size} windows")


def reference_half_width(reference_u: ReferenceUncertainty, reference: FloatArray, level: float) -> FloatArray:
    """Half-width in W of the interval of the reference's own error at each level of power, by its shape."""
    if not reference_u.terms:
        return np.zeros(reference.shape)
    low, high = float(reference.min()), float(reference.max())
    grid = np.linspace(low, high, 9 if reference_u.watts and reference_u.percent else 2)
    half = [float(interval_half_width(0.0, math.inf, reference_u.known(w, "W"), level)) for w in grid]
    found: FloatArray = np.interp(reference, grid, half)
    return found


def _share_verdict(item: Estimate | None) -> str:
    return OPEN if item is None else HOLDS if item.low >= SHARE else FAILS if item.high < SHARE else OPEN


def readings(
    table: Table, claim: Claim, reference_u: ReferenceUncertainty, level: float, window_s: int
) -> Reading:
    """At least 95 % of readings averaged over `window_s` within the claim; and the shortest time that will do."""
    shares = {w: share_within(table, table.windows(w), claim, reference_u, level)
              for w in sorted({*WIDTHS_S, window_s})}
    shortest = next((w for w, item in shares.items() if _share_verdict(item) == HOLDS), None)
    item, verdict = shares[window_s], _share_verdict(shares[window_s])
    reach = f"holds from {shortest} s on" if shortest else f"at no averaging time up to {max(shares)} s"
    found = "too few windows"
    if item is not None:
        found = f"{100 * item.value:.0f} % of {window_s}-s means are within the claim"
    return Reading(meaning="readings", verdict=verdict, estimate=item, limit=SHARE, unit="share",
                   because=f"{found}, {100 * SHARE:g} % wanted; {reach}",
                   details={"window_s": window_s, "shortest_window_s": shortest,
                            "shares": [{"window_s": w, "share": None if s is None else s.to_dict()}
                                       for w, s in shares.items()]})


def session_biases(table: Table, claim: Claim, level: float) -> list[Estimate | None]:
    """Mean error of each session by itself, serial interval; None where the claim's range was hardly ridden."""
    alone = replace(table, sampling="serial")
    chosen = [(table.session == k) & (table.level >= (claim.above_watts or -math.inf)) for k in range(table.sessions)]
    return [mean_error(alone, claim.unit, level, mask) if mask.sum() >= LEAST_SECONDS else None for mask in chosen]


def next_session(table: Table, claim: Claim, reading: Reading, level: float, rule: str = "interval") -> Reading:
    """Mean error of a session not yet recorded: mean of the sessions with a prediction interval."""
    common: dict[str, Any] = {"meaning": "next_session", "unit": claim.unit, "limit": reading.limit}
    biases = [item.value for item in session_biases(table, claim, level) if item is not None]
    count = len(biases)
    if count < 2 or reading.estimate is None:
        return Reading(**common, verdict=OPEN, estimate=None, details={"sessions": count},
                       because="one session cannot tell how much the next one will differ")
    mean, sd = float(np.mean(biases)), float(np.std(biases, ddof=1))
    se = sd * math.sqrt(1 + 1 / count)
    half = t_quantile(level, count - 1) * se
    plain = Estimate(value=mean, low=mean - half, high=mean + half, level=level, standard_error=se,
                     df=count - 1.0, method=f"prediction from {count} sessions")
    item = widen(plain, reading.known)
    verdict = decide(item, reading.limit, rule)[0]
    return Reading(**common, verdict=verdict, estimate=item, details={"sessions": count, "session_sd": sd},
                   because=f"prediction from {count} sessions, which differ by SD {sd:.2g} {claim.unit}",
                   own=plain, known=reading.known,
                   conformance_probability=_probability(plain, reading.limit, reading.known, count))
