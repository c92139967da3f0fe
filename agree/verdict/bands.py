"""The claim in every power band: which bands, what is known of each, and what could hide between them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.interval.over_sessions import is_of_several
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.thresholds import BAND_STEP_W, LEAST_BAND_S
from agree.verdict.band_variance import Spread, narrowest_seen, shared_spread
from agree.verdict.claim import Claim
from agree.verdict.columns import Table
from agree.verdict.error_distribution import interval_half_width
from agree.verdict.meanings import Reading, mean_error
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import FAILS, HOLDS, OPEN, decide, deciding, widen

PARTS = 3  # default bands: thirds of the time


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BandCheck(Result):
    """One band of the reference's level, with its bias in per cent and its own answer.

    Attributes
    ----------
    low, high : float
        Edges, W.
    seconds : int
        Used seconds in it.
    bias : Estimate
        Bias at the plain level, without the reference's uncertainty.
    plain, joint : Estimate
        The same with the reference's uncertainty: at the plain level, and at that at which all bands hold at once.
    deciding : Estimate
        The one of the two that the answer rests on: plain where the band holds, joint otherwise.
    limit_percent : float
        The limit there.
    verdict : str
        "holds", "does not hold", "not settled", "too thin" (fewer than 60 s) or "outside the claim".
    """

    low: float
    high: float
    seconds: int
    bias: Estimate
    plain: Estimate
    joint: Estimate
    deciding: Estimate
    limit_percent: float
    verdict: str


def default_edges(level: FloatArray, floor: float | None) -> FloatArray:
    """Thirds of the time by the reference's level, rounded to 5 W: from the reference alone, whatever the device does.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.verdict.bands import default_edges
    >>> default_edges(np.linspace(101, 298, 2000), None).tolist()
    [100.0, 165.0, 230.0, 300.0]
    """
    level = level if floor is None else level[level >= floor]
    if not level.size:
        return np.array([floor or 0.0, (floor or 0.0) + BAND_STEP_W])
    inner = np.round(np.percentile(level, np.arange(1, PARTS) * 100 / PARTS) / BAND_STEP_W) * BAND_STEP_W
    low = floor if floor is not None else math.floor(level.min() / BAND_STEP_W) * BAND_STEP_W
    high = (math.floor(level.max() / BAND_STEP_W) + 1) * BAND_STEP_W
    edges: FloatArray = np.array([low, *sorted({float(edge) for edge in inner if low < edge < high}), high])
    return edges


def bands(
    table: Table, claim: Claim, reference_u: ReferenceUncertainty, level: float, edges: FloatArray | None,
    rule: str = "interval",
) -> tuple[Reading, tuple[BandCheck, ...]]:
    """Bias in every band against the limit there.

    "Holds" asks it of every band at the plain level: the whole is then wrong no more often than one band is, since one
    band at its limit is enough to hold it back (intersection-union; Berger 1982, Technometrics 24:295, from memory).
    "Does not hold" asks it of any band, at the level at which all intervals hold at once (Sidak).
    """
    limits = default_edges(table.level, claim.above) if edges is None else edges
    masks = [(table.level >= low) & (table.level < high) for low, high in pairwise(limits)]
    judged = [k for k, mask in enumerate(masks) if mask.sum() >= LEAST_BAND_S
              and (claim.above is None or limits[k] >= claim.above)]
    shared = shared_spread(table, [masks[k] for k in judged], level)
    checks = [_band(table, masks[k], (float(limits[k]), float(limits[k + 1])), claim, reference_u, rule,
                    (level, level ** (1 / max(len(judged), 1))), shared[judged.index(k)] if k in judged else None)
              for k in range(len(masks))]
    for k in range(len(masks)):
        if claim.above is not None and limits[k] < claim.above:
            checks[k] = replace(checks[k], verdict="outside the claim")
        elif k not in judged:
            checks[k] = replace(checks[k], verdict="too thin")
    reading = _reading([checks[k] for k in judged], len(checks), rule)
    if reading.verdict == HOLDS:
        mean_w = float(table.reference.mean())
        left = min(checks[k].limit_percent for k in judged) - float(
            interval_half_width(0.0, math.inf, reference_u.known(mean_w), level))
        ends = checks[judged[0]].low, checks[judged[-1]].high
        width = narrowest_seen(table, [masks[k] for k in judged], ends, left, level)
        reading = replace(reading, details={**reading.details, "narrowest_seen_w": width})
    return reading, tuple(checks)


def _band(table: Table, mask: NDArray[np.bool_], edges: tuple[float, float], claim: Claim,
          reference_u: ReferenceUncertainty, rule: str, levels: tuple[float, float],
          shared: Spread | None) -> BandCheck:
    reference, weights = table.reference[mask], table.weights(mask)
    total = float((weights * reference).sum())
    mean = total / reference.size if total > 0 else math.nan
    limit = 100 * float((weights * claim.limit_w(reference)).sum()) / total if total > 0 else math.nan
    own = [_with(band_error(table, mask, level), shared) for level in levels]
    plain, joint = (widen(item, reference_u.known(mean)) if total > 0 else item for item in own)
    verdict, deciding = OPEN, joint
    if total > 0 and decide(plain, limit, rule)[0] == HOLDS:
        verdict, deciding = HOLDS, plain
    elif total > 0 and decide(joint, limit, rule)[0] == FAILS:
        verdict = FAILS
    return BandCheck(low=edges[0], high=edges[1], seconds=int(mask.sum()), bias=own[0], plain=plain, joint=joint,
                     deciding=deciding, limit_percent=limit, verdict=verdict)


def band_error(table: Table, mask: NDArray[np.bool_], level: float) -> Estimate:
    """Mean error in per cent over some seconds; without limits where these are too few or of one session of several."""
    total = float(table.reference[mask].sum())
    labels = table.labels(mask)
    if mask.sum() >= 2 and total > 0 and (labels is None or is_of_several(labels)):
        return mean_error(table, "%", level, mask)
    value = 100 * float(table.error[mask].sum()) / total if total > 0 else math.nan
    return Estimate(value=value, low=-math.inf, high=math.inf, level=level, method="too few seconds or sessions")


def _with(item: Estimate, shared: Spread | None) -> Estimate:
    """Take the larger of a band's own standard error and that of all bands together, whose t it has."""
    if shared is None or not math.isfinite(item.low):
        return item
    se = max(item.standard_error, shared.standard_error)
    half = t_quantile(item.level, shared.df) * se
    return replace(item, low=item.value - half, high=item.value + half, standard_error=se, df=shared.df,
                   method=item.method + ", variance shared by the bands")


def _reading(judged: list[BandCheck], total: int, rule: str) -> Reading:
    common: dict[str, Any] = {"meaning": "bands", "unit": "%"}
    if not judged:
        return Reading(**common, verdict=OPEN, estimate=None, limit=math.nan,
                       because=Note(kind="because_no_band", values={"least_s": LEAST_BAND_S}),
                       details={"judged": 0, "thin": total})
    verdicts = [band.verdict for band in judged]
    verdict = FAILS if FAILS in verdicts else HOLDS if set(verdicts) == {HOLDS} else OPEN
    named = [band for band in judged if band.verdict == verdict]
    worst = max(named, key=lambda band: _reach(band) / band.limit_percent)
    where = ", ".join(f"{band.low:g}-{band.high:g}" for band in named[:4]) + (" ..." if len(named) > 4 else "")
    thin = total - len(judged)
    return Reading(**common, verdict=verdict, estimate=worst.deciding, limit=worst.limit_percent,
                   decides=deciding(worst.deciding, rule),
                   because=Note(kind="because_bands", values={
                       "verdict": verdict, "judged": len(judged), "where": where, "not_judged": thin}),
                   details={"worst_band": [worst.low, worst.high], "judged": len(judged), "not_judged": thin,
                            "named_bands": [[band.low, band.high] for band in named]})


def _reach(band: BandCheck) -> float:
    """How far from 0 the deciding interval reaches; for a band that fails, how far its near end is."""
    ends = abs(band.deciding.low), abs(band.deciding.high)
    return min(ends) if band.verdict == FAILS else max(ends)
