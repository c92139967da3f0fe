"""The difference in response of pairs as their own match holds it: one answer, wherever it is told."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from agree.core.data.matched import Matched
from agree.core.data.pairs import Pairs
from agree.core.interval.engine import COSINES, METHODS
from agree.core.interval.estimate import Estimate
from agree.estimators.response.choice import explained, line_errors
from agree.estimators.response.difference import NO_KIND, Response
from agree.estimators.response.matched_slope import matched_slope
from agree.estimators.response.unbroken import of_matched, of_pairs

NEAR_S = 1e-3  # sizes no further apart are one


def as_matched(found: Response, pairs: Pairs) -> Response:
    """Return the difference in response that the pairs were matched by.

    Parameters
    ----------
    found : Response
        What `response_difference` finds on the readings as recorded, without the faulty ones.
    pairs : Pairs
        The pairs.

    Notes
    -----
    The match also knows faults that a slow trace hides, and readings that come every few seconds: with these its filter
    is another one. It is told then, with slope and scatter of the columns that it makes.
    """
    made = pairs.matched
    if made is None or _one(found, made):
        return found
    own = of_matched(pairs)
    good = np.isfinite(own.reference) & np.isfinite(own.device) & ((own.reference != 0) | (own.device != 0))
    if not good.any():
        return found
    recorded, level = of_pairs(pairs), found.level
    before = line_errors(*(np.where(good, column, np.nan) for column in (recorded.reference, recorded.device)))[1]
    after = line_errors(np.where(good, own.reference, np.nan), np.where(good, own.device, np.nan))[1]
    both = np.isfinite(before) & np.isfinite(after)
    was, now = (float(np.sqrt(np.mean(errors[both]**2))) if both.any() else math.nan for errors in (before, after))
    slope = matched_slope(own.reference[good], own.device[good], level)
    mean, none = made.kind in ("running mean", "mean and lag"), made.kind == "none"
    size, second, down = (_size(made, name, level) for name in ("size", "second", "down"))
    sizes: dict[str, Any] = {
        "width_s": size if mean else None, "time_constant_s": second if mean else size,
        "second_constant_s": None if mean else second, "down_constant_s": down}
    late = found.delay_s
    off = made.delay_s - late.value
    return replace(
        found, kind=made.kind, smoother=made.smoother, **sizes, fits=made.fits, misfit=made.misfit, held_s=made.held_s,
        alike=found.alike if made.kind == found.kind and made.smoother == found.smoother else (),
        delay_s=replace(late, value=made.delay_s, low=late.low + off, high=late.high + off),
        between_s=_part(made) if made.delay_alone else 0.0 if none else found.between_s,
        slope=slope if made.fits else replace(slope, low=-math.inf, high=math.inf, method=NO_KIND),
        scatter_before_w=was, scatter_after_w=now,
        explained=None if none or not both.any() else explained(before, after, level))


def _one(found: Response, made: Matched) -> bool:
    size = found.width_s or found.time_constant_s
    return (found.kind, found.smoother, found.held_s, found.fits) == (
        made.kind, made.smoother, made.held_s, made.fits) and (
            size is None or abs(size.value - made.size_s) <= NEAR_S)


def _part(made: Matched) -> float:
    """Part of a second by which readings of the smoother trace are later than whole seconds of the other."""
    late = made.mean_delay_s if made.smoother == "device" else -made.mean_delay_s
    return late - math.floor(late)


def _size(made: Matched, name: str, level: float) -> Estimate | None:
    value, error, low, high = (getattr(made, f"{name}{what}_s") for what in ("", "_se", "_low", "_high"))
    if not math.isfinite(value):
        return None
    limits = {"low": low, "high": high, "method": METHODS["serial"]} if made.fits else {
        "low": -math.inf, "high": math.inf, "method": NO_KIND}
    return Estimate(value=value, level=level, standard_error=error, df=float(COSINES), **limits)
