"""Pairs of arrays freed from a difference in response, as `pair_recordings` does by itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from agree.core.data.ceiling_edges import with_edges
from agree.core.data.fault import NO_FAULT
from agree.core.data.matched import Matched
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.estimators.response.difference import Response, response_difference
from agree.estimators.response.matched_columns import reasons, told
from agree.estimators.response.matching import Filter
from agree.estimators.response.unbroken import of_pairs


def match_response(pairs: Pairs, response: Response | None = None) -> Pairs:
    """Return pairs whose matched columns have one response: the sharper trace is smoothed and moved like the other.

    `pair_recordings` does this by itself. Use it for pairs that you made from arrays.

    Parameters
    ----------
    pairs : Pairs
        Two recordings.
    response : Response, optional
        What `response_difference` found on these pairs, or on others of the same devices; found anew if not given.

    Returns
    -------
    Pairs
        A copy with ``.matched``; ``.reference`` and ``.device`` stay as recorded. Coasting counts as 0 W. A second that
        draws on one that is missing gets the reason "beside_gap", one that draws on a faulty one "beside_fault"; all
        others keep their reason, but those in which one matched column shows power do not count as both coasting.

    Raises
    ------
    InputError
        Something other than `Pairs` or `Response`; and as `response_difference`.
    SampleSizeError
        As `response_difference`.

    See Also
    --------
    response_difference : Find the difference that is taken out.
    pair_recordings : Does this for recordings by itself.

    References
    ----------
    As for `response_difference`.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, match_response
    >>> watts = 200 + 30 * np.random.default_rng(1).normal(size=900)
    >>> pairs = Pairs(reference=watts, device=np.convolve(watts, np.ones(3) / 3)[:900])
    >>> matched = match_response(pairs)
    >>> error = (matched.matched_device - matched.matched_reference)[matched.used]
    >>> matched.counts()["beside_gap"], bool(abs(error).max() < 1e-9)
    (2, True)
    """
    if not isinstance(pairs, Pairs):
        raise InputError(f"`pairs` must be `Pairs`; got {type(pairs).__name__}", option="pairs")
    found = response_difference(pairs) if response is None else response
    if not isinstance(found, Response):
        raise InputError(f"`response` must come from `response_difference`; got {type(found).__name__}",
                         option="response")
    made = Filter(found.kernel(), found.smoother or "device", None)
    second = found.time_constant_s if found.width_s else found.second_constant_s
    down = found.down_constant_s
    grid, sound = of_pairs(pairs, every=True), of_pairs(pairs)
    record, clean = made.columns(grid.reference, grid.device), made.columns(sound.reference, sound.device)
    cut = pairs.has_reason("reference_saturation", "device_saturation")
    jumps = with_edges(cut, pairs.reference, pairs.device)
    sign = -1.0 if found.smoother == "reference" else 1.0
    matched = Matched(
        reference=record[0][grid.place], device=record[1][grid.place], kind=found.kind, smoother=found.smoother,
        **told("size", found.width_s or found.time_constant_s),
        delay_s=found.delay_s.value, mean_delay_s=sign * made.mean_delay, misfit=found.misfit, fits=found.fits,
        held_s=found.held_s, **told("second", second), **told("down", down))
    aside = np.where(np.isin(pairs.reason, NO_FAULT), "", pairs.reason)
    reason = reasons(aside, (pairs.reference, pairs.device), (
        np.where(jumps, np.nan, clean[0][grid.place]), np.where(jumps, np.nan, clean[1][grid.place])),
                     (matched.reference, matched.device))
    return replace(pairs, matched=matched, reason=reason)
