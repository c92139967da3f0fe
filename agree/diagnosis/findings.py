"""What is likely wrong: each cause with its numbers, the largest first."""

from __future__ import annotations

import math

from agree.core.interval.estimate import Estimate
from agree.core.thresholds import DELAY_S, LEAST_MEAN_W, MOST_MEAN_W, NAMED_STRENGTH
from agree.correction.find import LEAST_SESSIONS, Correction
from agree.diagnosis.bent_response import bent_response, beside_response
from agree.diagnosis.by_second import (
    Changes,
    Delay,
    Scatter,
    changes,
    delay,
    log_ratio,
    scatter,
    seconds,
    sharpness,
    side_seconds,
    together,
)
from agree.diagnosis.finding import Finding
from agree.diagnosis.response_findings import answers, response_findings
from agree.diagnosis.sessions import sessions_differ, whole_means
from agree.diagnosis.set_aside_faults import set_aside_faults
from agree.diagnosis.telltale import telltales, without_lengths
from agree.diagnosis.window_findings import parts, slow, unclear
from agree.diagnosis.windows.bend import bend
from agree.diagnosis.windows.causes import fit
from agree.diagnosis.windows.least_squares import level_off
from agree.diagnosis.windows.loss import loss
from agree.diagnosis.windows.one_side import explains_more, one_side, signs, untold, wandering
from agree.verdict.columns import Table

__all__ = ["Finding", "findings"]


def findings(table: Table, correction: Correction) -> tuple[Finding, ...]:
    """Name the causes that the data speak for, ordered by size times strength; what cannot be told is said.

    What a scale or an offset may come from (crank length, unit, loss) stands after them.

    Parameters
    ----------
    table : Table
        Used seconds of all sessions.
    correction : Correction
        Its `scale`, `kind` and `session_sd_percent` are used.
    """
    mean_w = float(table.reference.mean())
    faults = set_aside_faults(table.pairs, float(table.error.sum() / table.reference.sum()))
    if not LEAST_MEAN_W < mean_w < MOST_MEAN_W:
        return tuple(faults)
    made = fit(table)
    found: list[Finding] = []
    hints: list[Finding] = []
    if made is not None:
        found += [*parts(made, correction), *bend(made), *slow(made), *sessions_differ(made, whole_means(table))]
        hints = [*telltales(made), *loss(made)]
    found, bent = beside_response(found, bent_response(
        table.pairs, 100 * float(table.error.sum() / table.reference.sum())))
    if any("gain_doubtful" in item.values for item in bent):
        hints = []  # the sizes of a scale that may not be there tell no origin
    if not found and not any(item.values["explains"] for item in bent):
        found += unclear(correction, made)
    found += bent
    late, ratio = _by_second(table, correction.scale.value)
    first = seconds(table.pairs[0], 1.0).reference
    varying = varying_delay(late, mean_w)
    found += [*response_findings(answers(table.pairs, late, ratio), None if varying else late, mean_w, first),
              *varying, *faults]
    found.sort(key=lambda item: -item.percent * item.strength)
    if not_constant(table.sessions, correction):
        found.sort(key=lambda item: item.cause != "sessions_differ")
    seen = signs(made, *_of_one_side(table, correction.scale.value))
    side = one_side(made, seen)
    if not side:
        slower = [item.matched is not None and item.matched.smoother == "reference" and not item.matched.delay_alone
                  for item in table.pairs]
        found = untold([*found, *wandering(made, seen)], slow_reference=2 * sum(slower) > len(slower))
    # One side would explain scale, offset and drift at once: it stands before them once it is likely.
    hints = without_lengths(hints, [*found, *side])
    ahead = bool(side) and (not side[0].rivals or explains_more(made, seen))
    return tuple([*side, *found, *hints] if ahead else [*found, *hints, *side])


def not_constant(sessions: int, correction: Correction) -> bool:
    """Whether sessions, at least 3, show no error in common: it ages, or the interval over them takes in none.

    That they differ is then what is wrong first: a zero that moves from one to the next is no zero error.
    """
    ages = any(note.kind == "correction_ageing" for note in correction.because)
    return sessions >= LEAST_SESSIONS and (ages or correction.scale.low <= 1 <= correction.scale.high)


def _by_second(table: Table, scale: float) -> tuple[Delay | None, Estimate | None]:
    """Delay and ratio of sharpness; of each session sums only are kept."""
    pieces: list[Changes] = []
    sharp = []
    for item in table.pairs:
        data = seconds(item, scale)
        pieces.append(changes(data))
        sharp.append(sharpness(data))
    return delay(pieces), log_ratio(sharp)


def _of_one_side(table: Table, scale: float) -> tuple[Scatter | None, Estimate | None]:
    """Scatter and ratio of sharpness by which the device is noisier, without what a slower reference smoothes away."""
    sharp, rough = [], []
    for item in table.pairs:
        data = side_seconds(item, scale)
        if data is None:
            continue
        sharp.append(sharpness(data))
        found = scatter(data)
        rough += [found] if found is not None else []
    return together(rough), log_ratio(sharp) if sharp else None


def varying_delay(late: Delay | None, mean_w: float) -> list[Finding]:
    """A delay that varies from one two-minute block to the next."""
    if late is None or not late.variance.value > 0:
        return []
    sd, strength = math.sqrt(late.variance.value), level_off(late.variance)
    if sd < DELAY_S or strength < NAMED_STRENGTH:
        return []
    low, high = (math.sqrt(max(x, 0.0)) for x in (late.variance.low, late.variance.high))
    size = Estimate(value=sd, low=low, high=high, level=late.variance.level, method="root of the variance's interval",
                    standard_error=late.variance.standard_error / (2 * sd), df=late.variance.df)
    return [Finding(cause="delay_that_varies", size=size, unit="s", strength=strength,
                    percent=100 * sd * late.per_second / mean_w, values={"trend_s_per_hour": late.trend})]
