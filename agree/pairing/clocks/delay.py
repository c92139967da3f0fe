"""Whose the lag is, where the stamps of both recordings have a date: a device's that reports late, or a clock's."""

from __future__ import annotations

import math
from dataclasses import replace

from agree.core.data.alignment import Delay, Witness
from agree.core.data.matched import Matched
from agree.core.results.note import Note
from agree.core.thresholds import AGREES_S, AGREES_SE, CLOCK_ALONE_S, DELAY_LEAST_S

# A device that reads between whole seconds mixes neighbours, which widens its mean by up to half a second and explains
# up to a quarter of a second of the lag that is the clock's: errors of 0.04 to 0.10 s (benchmarks/lag_errors.py).
BETWEEN_SECONDS_S = 0.08
LAGS = ("first order", "two lags", "mean and lag", "uneven")  # late by themselves


def explained_s(matched: Matched) -> tuple[float, float]:
    """Delay that the difference in response explains, device behind reference, and its standard error, s.

    A recorder averages over seconds that are past, so a running mean over n s is (n - 1)/2 s late. A first-order lag is
    late by itself: `Matched.delay_s` is what is left beside it.
    """
    if matched.kind not in ("running mean", "mean and lag") or not math.isfinite(matched.size_s):
        return 0.0, 0.0
    sign = 1.0 if matched.smoother == "device" else -1.0
    error = matched.size_se_s if math.isfinite(matched.size_se_s) else 0.0
    return sign * (matched.size_s - 1) / 2, error / 2


def attributed(whole_s: float, lag_se_s: float, matched: Matched, witnesses: tuple[Witness, ...]) -> Delay:
    """Say whose the lag is, less what the difference in response explains.

    Parameters
    ----------
    whole_s : float
        Shift by which the device was moved, device timestamp minus reference timestamp, s; `matched` holds the rest.
    lag_se_s : float
        Standard error of the lag; NaN if it cannot be told.
    matched : Matched
        The difference in response.
    witnesses : tuple of Witness
        Lags of other channels.

    Returns
    -------
    Delay
        ``cause`` is "none" if what is left is within 1 s and two standard errors of 0; "device" if cadence, recorded by
        both, is not late by the stamps, so that power alone is; "clock" if cadence is as late as power, or if more is
        left than any device delays; else "undecided".

    Examples
    --------
    >>> from agree.core.data.alignment import Witness
    >>> from agree.core.data.matched import Matched
    >>> from agree.pairing.clocks.delay import attributed
    >>> cadence = Witness(channel="cadence", lag_s=0.1, lag_se_s=0.1, correlation=0.9, strength=60.0, agrees=False)
    >>> attributed(12.0, 0.02, Matched(reference=[100.0], device=[101.0]), (cadence,)).cause
    'device'
    """
    explained, error = explained_s(matched)
    rest = whole_s + matched.delay_s - explained
    se = math.hypot(lag_se_s if math.isfinite(lag_se_s) else 0.0, error, BETWEEN_SECONDS_S)
    return Delay(cause=_cause(rest, se, witnesses), rest_s=rest, explained_s=whole_s + matched.mean_delay_s - rest
                 if matched.kind in LAGS else explained, se_s=se)


def _cause(rest: float, se: float, witnesses: tuple[Witness, ...]) -> str:
    if abs(rest) <= DELAY_LEAST_S + 2 * se:
        return "none"
    for witness in witnesses:
        if witness.channel == "cadence":
            own = witness.lag_se_s if math.isfinite(witness.lag_se_s) else DELAY_LEAST_S / 2
            if abs(witness.lag_s) <= DELAY_LEAST_S + 2 * own:
                return "device"
            if abs(witness.lag_s - rest) <= DELAY_LEAST_S + 2 * math.hypot(own, se):
                return "clock"
            return "undecided"
    return "clock" if abs(rest) > CLOCK_ALONE_S else "undecided"


def with_response(
    witnesses: tuple[Witness, ...], notes: tuple[Note, ...], lag_s: float, lag_se_s: float, matched: Matched
) -> tuple[tuple[Witness, ...], tuple[Note, ...]]:
    """Witnesses, and notes on a match by power, once the response is known: it delays power and no other channel.

    A witness that differs from the lag by what the response explains agrees, and nothing is said of it.
    """
    explained, error = explained_s(matched)
    if matched.kind in LAGS:
        explained += matched.mean_delay_s - matched.delay_s
    if not explained:
        return witnesses, notes

    def agrees(witness: Witness) -> bool:
        errors = [se if math.isfinite(se) else 0.0 for se in (witness.lag_se_s, lag_se_s, error)]
        return abs(witness.lag_s - (lag_s - explained)) <= AGREES_S + AGREES_SE * math.hypot(*errors)

    found = tuple(replace(witness, agrees=witness.agrees or agrees(witness)) for witness in witnesses)
    settled = {witness.channel for witness in found if witness.agrees}
    return found, tuple(note for note in notes if not (
        note.kind == "pair_witness_differs" and note.values["channel"] in settled))


def delay_fact(delay: Delay | None) -> tuple[Note, ...]:
    """Note on a delay there is; it changes how far the answer is to be trusted if it may be the device's."""
    if delay is None or delay.cause == "none":
        return ()
    return (Note(kind="pair_delay", severity="detail" if delay.cause == "clock" else "trust", values={
        "cause": delay.cause, "rest_s": delay.rest_s, "explained_s": delay.explained_s, "se_s": delay.se_s}),)
