"""Columns with one response, free of what that response itself makes of the energy."""

from __future__ import annotations

from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs


def answered_columns(pairs: Pairs) -> tuple[FloatArray, FloatArray]:
    """Reference and device as the filter between them makes them, W: what causes and slow faults are looked for in.

    `Pairs.matched_reference` and `matched_device`, which the mean is taken from, keep what the response adds to the
    energy, or takes from it.

    Examples
    --------
    >>> from agree import Pairs
    >>> from agree.core.data.answered_pairs import answered_columns
    >>> from agree.core.data.matched import Matched
    >>> held = Matched(reference=[98.0, 196.0], device=[100.0, 200.0], smoother="device", held_s=3, energy=1.02)
    >>> reference, device = answered_columns(Pairs(reference=[100, 200], device=[100, 200], matched=held))
    >>> reference.round(2).tolist()
    [99.96, 199.92]
    """
    return (pairs.reference, pairs.device) if pairs.matched is None else pairs.matched.answered
