"""Columns with one response, free of what that response itself makes of the energy."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from agree.core.checks import FloatArray
from agree.core.data.pairs import Pairs


def answered_columns(pairs: Pairs) -> tuple[FloatArray, FloatArray]:
    """Reference and device as the filter between them makes them, W: what causes and slow faults are looked for in.

    `Pairs.matched_reference` and `matched_device`, which the mean is taken from, keep what the response adds to the
    energy, or takes from it.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs
    >>> from agree.core.data.answered_pairs import answered_columns
    >>> from agree.core.data.matched import Matched
    >>> held = Matched(reference=[98.0, 196.0], device=[100.0, 200.0], smoother="device", held_s=3, energy=1.02,
    ...                energy_course=np.full(2, 1.02))
    >>> reference, device = answered_columns(Pairs(reference=[100, 200], device=[100, 200], matched=held))
    >>> reference.round(2).tolist()
    [99.96, 199.92]
    """
    return (pairs.reference, pairs.device) if pairs.matched is None else pairs.matched.answered


def energy_error_percent(pairs: Sequence[Pairs]) -> float:
    """Part of the mean error, per cent of the reference, that the response itself makes by the energy it adds or takes.

    Mean of the sessions; 0 for linear filters.
    """
    parts = []
    for item in pairs:
        means = [100 * float((v[item.used].sum() - u[item.used].sum()) / u[item.used].sum())
                 for u, v in ((item.matched_reference, item.matched_device), answered_columns(item))]
        parts.append(means[0] - means[1])
    return float(np.mean(parts)) if parts else 0.0
