"""What the claim would say after a correction, judged on sessions or blocks that had no part in finding it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.correction.rules import Rule, Units, apply
from agree.verdict import meanings
from agree.verdict.bands import bands
from agree.verdict.claim import Claim
from agree.verdict.columns import Table
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import FAILS, HOLDS, OPEN, widen


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class After(Result):
    """Each session, or block of a single recording, corrected by what the others say.

    Attributes
    ----------
    left_out : {"sessions", "blocks"}
        What was left out in turn; blocks show that the correction fits the recording, not that it lasts.
    count : int
        How many of them.
    before_percent, after_percent : float
        Mean size of their mean errors, per cent, before and after.
    bias : Estimate
        Mean error of all of them together after the correction, per cent of the reference, with the reference's
        uncertainty.
    verdicts : dict
        Answer to the claim in each meaning; empty without a claim.
    """

    left_out: str
    count: int
    before_percent: float
    after_percent: float
    bias: Estimate
    verdicts: dict[str, str] = field(default_factory=dict)


class Asked(NamedTuple):
    """A claim to be answered, with the options of `check_claim` that bear on it."""

    claim: Claim
    edges: FloatArray | None = None
    rule: str = "interval"


def corrected_pairs(pairs: Pairs, scale: FloatArray | float, offset: FloatArray | float) -> Pairs:
    """Correct the device's readings of one session, by one correction or one for each second."""
    where = Rule(scale, offset)  # type: ignore[arg-type]
    matched = pairs.matched and replace(pairs.matched, device=apply(where, pairs.matched.device))
    return Pairs(reference=pairs.reference, device=apply(where, pairs.device), time=pairs.time, reason=pairs.reason,
                 cadence=pairs.cadence, session=pairs.session, matched=matched)


def unit_errors(data: Table, unit: NDArray[np.intp], count: int) -> FloatArray:
    """Mean error of each session or block, per cent of its reference; NaN for one without power."""
    error, reference = (np.bincount(unit, weights=column, minlength=count) for column in (data.error, data.reference))
    with np.errstate(divide="ignore", invalid="ignore"):
        result: FloatArray = 100 * error / np.where(reference > 0, reference, np.nan)
    return result


def verdicts(
    data: Table, asked: Asked, window_s: int, level: float, reference_u: ReferenceUncertainty
) -> dict[str, str]:
    """Answer a claim in its four meanings."""
    claim, edges, rule = asked
    first = meanings.average(data, claim, reference_u, level, rule)
    share = meanings.share_within(data, data.windows(window_s), claim, reference_u, level)
    within = OPEN if share is None else HOLDS if share.low >= meanings.SHARE else (
        FAILS if share.high < meanings.SHARE else OPEN)
    return {"average": first.verdict,
            "bands": bands(data, claim, reference_u, level, edges, rule)[0].verdict,
            "readings": within, "next_session": meanings.next_session(data, claim, first, level, rule).verdict}


def after(
    data: Table, found: Units, rules: list[Rule], window_s: int, level: float, reference_u: ReferenceUncertainty,
    asked: Asked | None,
) -> After:
    """Judge corrections found without each unit on that unit; `rules` are in W."""
    scale, offset = np.array(rules).T
    parts, start = [], 0
    for item in data.pairs:
        own = found.unit[start:start + int(item.used.sum())]
        start += own.size
        # Seconds that are not used go with the next that is.
        each = own[np.minimum(np.searchsorted(item.time[item.used], item.time), own.size - 1)]
        parts.append(corrected_pairs(item, scale[each], offset[each]))
    # All but the device is as it was: of 1,000 sessions a second table of all seconds took 140 MB.
    corrected = replace(data, pairs=tuple(parts), device=np.concatenate([item.matched_device[item.used]
                                                                         for item in parts]))
    count = len(rules)
    before, left = (np.abs(unit_errors(t, found.unit, count)) for t in (data, corrected))
    return After(left_out="sessions" if data.sessions > 1 else "blocks", count=count,
                 before_percent=float(np.nanmean(before)), after_percent=float(np.nanmean(left)),
                 bias=widen(meanings.mean_error(corrected, "%", level), reference_u.known(found.mean_w)),
                 verdicts={} if asked is None else verdicts(corrected, asked, window_s, level, reference_u))
