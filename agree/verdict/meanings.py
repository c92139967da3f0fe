"""Four honest meanings of one claim, each with its own answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from scipy import special

from agree.core.checks import FloatArray
from agree.core.interval.engine import estimate, spread
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import is_of_several, pair_weights
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.thresholds import HALF_WEIGHT_S, LEAST_FOR_PROBABILITY
from agree.estimators.pivots import pivots_of_errors
from agree.estimators.ratios import ratio_of_sums
from agree.verdict.claim import Claim
from agree.verdict.columns import LEAST_SECONDS, Table, Windows
from agree.verdict.error_distribution import EXACT, KnownError, interval_half_width, probability_within
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import FAILS, HOLDS, OPEN, decide, deciding, widen
from agree.verdict.sessions import SessionEffects, mean_over_sessions, session_effects

MEANINGS = ("average", "bands", "readings", "next_session")
SHARE = 0.95                                     # share of readings that must lie within the claim
WIDTHS_S = (1, 2, 3, 5, 10, 15, 30, 60, 120, 300)  # averaging times tried for the shortest that will do
MOST_LIMITS = 2.0                                # errors count for no more of the claim's limits: a few may be gross
COUNTS = (8, 32)                                 # cosines tried for the effective number of windows


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
    because : Note
        The answer's ground, of kind "because_...".
    conformance_probability : float
        Probability that the error lies within the limit (JCGM 106, from t and the reference's shape together); NaN
        below 3 sessions and where it has no meaning.
    own : Estimate or None
        The same as `estimate` before the reference's uncertainty was added.
    known : KnownError
        What was added: the reference's error that no riding makes smaller.
    decides : Estimate or None
        `estimate` with the ends that decide: those of its interval, or of the guard band that the rule asks for.
    details : dict
        More, by meaning: worst band, bands judged and too thin; averaging time, shortest that will do; sessions.
    """

    meaning: str
    verdict: str
    estimate: Estimate | None
    limit: float
    unit: str
    because: Note
    conformance_probability: float = math.nan
    details: dict[str, Any] = field(default_factory=dict)
    own: Estimate | None = None
    known: KnownError = EXACT
    decides: Estimate | None = None


def mean_error(table: Table, unit: str, level: float, chosen: Any = slice(None), *,
               hold_level: bool = True) -> Estimate:
    """Mean error in per cent (sum of errors over sum of reference) or W, without the reference's uncertainty.

    Of several sessions it is the mean over sessions, each with its own ratio and the weight n/(n + 300 s). Of one
    recording the power ridden is held fixed: of a constant error in W the per cent change with the power, and of a
    constant per cent the watts, but that is no chance. Without `hold_level` what goes with it is.
    """
    reference = table.reference[chosen]
    error = table.device[chosen] - reference
    labels = table.labels(chosen)
    value, phi = ratio_of_sums(error, reference if unit == "%" else np.ones(error.size), labels)
    plain = estimate(value, phi, level=level, sampling=table.sampling, session=labels, cautious=True,
                     half_weight_n=HALF_WEIGHT_S, fixed=reference if hold_level else None)
    return plain.scaled(100.0) if unit == "%" else plain


def average(
    table: Table, claim: Claim, reference_u: ReferenceUncertainty, level: float, rule: str = "interval", *,
    hold_level: bool = True,
) -> Reading:
    """Mean error over the recording(s) against the mean limit; `hold_level` as for `mean_error`."""
    chosen = table.level >= claim.above_watts if claim.above_watts else slice(None)  # all are a view, not a copy
    reference = table.reference[chosen]
    if reference.size < LEAST_SECONDS or (table.sessions > 1 and not is_of_several(table.session[chosen])):
        return Reading(meaning="average", verdict=OPEN, estimate=None, limit=math.nan, unit=claim.unit,
                       because=Note(kind="because_few_seconds", values={"seconds": reference.size}))
    weights = table.weights(chosen)
    mean_w = float((weights * reference).mean())
    limit = float((weights * claim.limit_w(reference)).mean())
    if claim.unit == "%":
        limit = 100 * limit / mean_w
    known = reference_u.known(mean_w, claim.unit)
    plain = mean_error(table, claim.unit, level, chosen, hold_level=hold_level)
    item = widen(plain, known)
    verdict, because = decide(item, limit, rule)
    return Reading(meaning="average", verdict=verdict, estimate=item, limit=limit, unit=claim.unit, because=because,
                   conformance_probability=_probability(plain, limit, known, table.sessions), own=plain, known=known,
                   decides=deciding(item, rule),
                   details={"reference_u": known.u, "own_u": plain.standard_error, "mean_w": mean_w})


def _probability(plain: Estimate, limit: float, known: KnownError, sessions: int) -> float:
    """Probability within the limit; NaN below 3 sessions, whose own spread is too uncertain for it to be true."""
    if sessions < LEAST_FOR_PROBABILITY:
        return math.nan
    return probability_within(plain.value, limit, plain.standard_error, plain.df, known)


def share_within(
    table: Table, windows: Windows, claim: Claim, reference_u: ReferenceUncertainty, level: float
) -> Estimate | None:
    """Share of window means within the claim.

    Binomial limits (Clopper & Pearson 1934) with an effective number of windows: their number times the variance
    of the mean of (error/limit)^2 if independent over that from the engine, with 8 or 32 cosines, whichever is larger:
    what is alike in neighbours is whether they exceed the limit, not on which side. The reference's error is shared by
    all windows: the errors are shifted by -+ its half-width, and the widest limits taken. Few sessions that happen to
    be alike show neither: limits are no nearer than those of normal errors that differ from session to session.
    """
    keep = windows.reference >= (claim.above_watts or -math.inf)
    reference, error = windows.reference[keep], (windows.device - windows.reference)[keep]
    limit = claim.limit_w(reference)
    if error.size < 3 or (table.sampling == "sessions" and not is_of_several(windows.session[keep])):
        return None
    labels, half = windows.session[keep], HALF_WEIGHT_S / windows.width
    weight = pair_weights(labels, half) if table.sampling == "sessions" else np.ones(error.size)
    relative = np.clip(error / np.maximum(limit, 1e-9), -1e3, 1e3) ** 2
    relative = relative - (weight * relative).mean()
    alone = math.sqrt(float((weight * relative**2).mean()) / (error.size - 1))
    # With few cosines the number would be too noisy to trust when it is high; the smaller of two is taken.
    apart = max(spread(relative, table.sampling, labels, cosines=k, half_weight_n=half).standard_error for k in COUNTS)
    n = error.size / max((apart / alone) ** 2 if alone > 0 else 1.0, 1.0)
    shift = reference_half_width(reference_u, reference, level)
    shares = [min(float((weight * (np.abs(error + k * shift) <= limit)).mean()), 1.0) for k in (0, -1, 1)]
    alpha = 1 - level
    lows = [0.0 if s == 0 else float(special.betaincinv(s * n, n - s * n + 1, alpha / 2)) for s in shares]
    highs = [1.0 if s == 1 else float(special.betaincinv(s * n + 1, n - s * n, 1 - alpha / 2)) for s in shares]
    if table.sampling == "sessions":
        relative = np.clip(error / np.maximum(limit, 1e-9), -MOST_LIMITS, MOST_LIMITS)
        both = pivots_of_errors(relative, labels, half)
        ends = np.quantile(share_of_normal(both.means + np.array([-1, 0, 1])[:, None] * float((shift / np.maximum(
            limit, 1e-9)).mean()), both.sds), [alpha / 2, 1 - alpha / 2], axis=1)
        lows, highs = [*lows, float(ends[0].min())], [*highs, float(ends[1].max())]
    return Estimate(value=shares[0], low=min(lows), high=max(highs), level=level,
                    method=f"binomial, {n:.0f} effective of {error.size} windows", df=n)


def share_of_normal(mean: FloatArray, sd: FloatArray) -> FloatArray:
    """Share of normal errors between -1 and 1."""
    sd = np.maximum(sd, 1e-12)
    found: FloatArray = special.ndtr((1 - mean) / sd) - special.ndtr((-1 - mean) / sd)
    return np.clip(found, 0.0, 1.0)


def reference_half_width(reference_u: ReferenceUncertainty, reference: FloatArray, level: float) -> FloatArray:
    """Half-width in W of the interval of the reference's own error at each level of power, by its shape."""
    if not reference_u.terms:
        return np.zeros(reference.shape)
    low, high = float(reference.min()), float(reference.max())
    grid = np.linspace(low, high, 9 if reference_u.watts and reference_u.percent else 2)
    half = [float(interval_half_width(0.0, math.inf, reference_u.known(w, "W"), level)) for w in grid]
    found: FloatArray = np.interp(reference, grid, half)
    return found


def shortest_width(shares: dict[int, Estimate | None]) -> int | None:
    """Smallest width from which on the claim holds at every width that can be judged; None if there is none.

    A width can be judged if so many windows, all within the limit, would be enough: 72 effective ones at 95 %.
    """
    found = None
    for width in sorted(shares, reverse=True):
        item = shares[width]
        if item is None:
            continue
        if _share_verdict(item) == HOLDS:
            found = width
        elif item.df >= math.log((1 - item.level) / 2) / math.log(SHARE):
            break
    return found


def _share_verdict(item: Estimate | None) -> str:
    return OPEN if item is None else HOLDS if item.low >= SHARE else FAILS if item.high < SHARE else OPEN


def readings(
    table: Table, claim: Claim, reference_u: ReferenceUncertainty, level: float, window_s: int
) -> Reading:
    """At least 95 % of readings averaged over `window_s` within the claim; and the shortest time that will do."""
    shares = {w: share_within(table, table.windows(w), claim, reference_u, level)
              for w in sorted({*WIDTHS_S, window_s})}
    shortest = shortest_width(shares)
    item, verdict = shares[window_s], _share_verdict(shares[window_s])
    values: dict[str, float | int | str | bool] = {
        "wanted": SHARE, "shortest_s": shortest or 0, "longest_s": max(shares)}
    because = Note(kind="because_few_windows", values=values) if item is None else Note(
        kind="because_share", values={**values, "share": item.value, "window_s": window_s})
    return Reading(meaning="readings", verdict=verdict, estimate=item, limit=SHARE, unit="share", because=because,
                   decides=item,
                   details={"window_s": window_s, "shortest_window_s": shortest,
                            "shares": [{"window_s": w, "share": None if s is None else s.to_dict()}
                                       for w, s in shares.items()]})


def session_biases(table: Table, claim: Claim, level: float) -> list[Estimate | None]:
    """Mean error of each session by itself, serial interval; None where the claim's range was hardly ridden."""
    alone = replace(table, sampling="serial")
    # Sessions stand one after the other: places instead of masks, so that hundreds cost what their seconds cost.
    edges = np.searchsorted(table.session, np.arange(table.sessions + 1))
    spans = zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
    chosen = [low + np.flatnonzero(table.level[low:high] >= (claim.above_watts or -math.inf)) for low, high in spans]
    return [mean_error(alone, claim.unit, level, at) if at.size >= LEAST_SECONDS else None for at in chosen]


def next_session(table: Table, claim: Claim, reading: Reading, level: float, rule: str = "interval",
                 own: Sequence[Estimate | None] | None = None) -> Reading:
    """Mean error of a session not yet recorded: mean of the sessions with a prediction interval.

    `own`: what `session_biases` said, if that is known.
    """
    common: dict[str, Any] = {"meaning": "next_session", "unit": claim.unit, "limit": reading.limit}
    sizes = np.bincount(table.session, minlength=table.sessions)
    found = [(item.value, int(sizes[k])) for k, item in enumerate(
        own or session_biases(table, claim, level)) if item is not None]
    count = len(found)
    if count < 2 or reading.estimate is None:
        return Reading(**common, verdict=OPEN, estimate=None, details={"sessions": count},
                       because=Note(kind="because_one_session"))
    values, seconds = np.array(found, float).T
    plain = mean_over_sessions(values, seconds, level, ahead=True)
    sd = plain.standard_error / math.sqrt(1 + 1 / count)
    item = widen(plain, reading.known)
    verdict = decide(item, reading.limit, rule)[0]
    return Reading(**common, verdict=verdict, estimate=item, details={"sessions": count, "session_sd": sd},
                   because=Note(kind="because_prediction", values={"sessions": count, "sd": sd, "unit": claim.unit}),
                   decides=deciding(item, rule), own=plain, known=reading.known,
                   conformance_probability=_probability(plain, reading.limit, reading.known, count))


def own_errors(data: Table, claim: Claim, level: float, inside: Sequence[Estimate | None]) -> list[Estimate]:
    """Mean error of each session by itself; over its whole range where the claim's range was hardly ridden.

    `inside`: what `session_biases` said of the claim's range.
    """
    if None not in inside:
        return [item for item in inside if item is not None]
    whole = session_biases(data, replace(claim, above=None), level)
    return [item for item in (own or every for own, every in zip(inside, whole, strict=True)) if item is not None]


def effects_of(data: Table, claim: Claim, level: float,
               own: Sequence[Estimate | None] | None = None) -> SessionEffects | None:
    """Hold the sessions that rode the claim's range against each other; None with fewer than two.

    `own`: what `session_biases` said, if that is known.
    """
    if data.sessions < 2:
        return None
    sizes = np.bincount(data.session, minlength=data.sessions)
    found = [(item, float(sizes[k]), k + 1) for k, item in enumerate(own or session_biases(data, claim, level))
             if item is not None]
    if len(found) < 2:
        return None
    errors, seconds, numbers = zip(*found, strict=True)
    return session_effects(errors, seconds=seconds, unit=claim.unit, level=level, numbers=numbers)


def hold_back(readings: Sequence[Reading], why: Note) -> tuple[Reading, ...]:
    """Leave the answers as they are, but for "holds": that becomes open, on the ground given."""
    return tuple(replace(item, verdict=OPEN, because=why) if item.verdict == HOLDS else item for item in readings)
