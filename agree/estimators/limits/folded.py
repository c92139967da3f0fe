"""Folded empirical distribution of the errors: where their middle lies, and how far their tails reach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.choices import LogScale, NanPolicy
from agree.core.results.drawn import Drawn
from agree.core.shared_docs import made_by, shared
from agree.estimators.scales import errors_on_scale


@made_by("folded_distribution", also=("LimitsOfAgreement",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoldedDistribution(Drawn):
    """Errors in increasing order with the share beyond each, on its own side of the middle.

    Attributes
    ----------
    error : (m,) array
        The different errors, in the unit of the readings, per cent, or log ratio.
    share : (m,) array
        Share of errors at or beyond, on the side away from the median; at most 0.5.
    median : float
        Where the folded distribution peaks.
    n : int
        Number of pairs.
    scale : str
        As passed in.

    Examples
    --------
    >>> from agree import folded_distribution
    >>> folded_distribution([100, 200, 300], [101, 203, 302]).median
    2.0
    """

    error: FloatArray
    share: FloatArray
    median: float
    n: int
    scale: str

    def reach(self, share: float) -> tuple[float, float]:
        """Errors below and above which a `share` of all errors lies at most: (0.025) gives limits by counting."""
        checks.fraction(share, "share")
        wide = self.error[self.share > share]
        if wide.size == 0:
            return self.median, self.median
        return float(wide[0]), float(wide[-1])


@shared
def folded_distribution(
    reference: ArrayLike, device: ArrayLike, *, scale: LogScale = "difference", nan_policy: NanPolicy = "raise"
) -> FoldedDistribution:
    """Empirical distribution of the errors, folded at its median ("mountain plot").

    Use it to compare the tails of several devices at a glance: the peak shows the bias, the flanks the long errors that
    limits of agreement hide. It has no interval; ``.plot()`` draws it.

    Parameters
    ----------
    reference, device : (n,) array_like
        Paired readings in one unit, n >= 3.
    {log_scale, nan_policy}

    Returns
    -------
    FoldedDistribution
        ``.error``, ``.share`` (arrays), ``.median``, ``.reach(share)``.

    Raises
    ------
    InputError
        Bad options or readings.
    SampleSizeError
        Fewer than 3 pairs.

    See Also
    --------
    limits_of_agreement : Two numbers in place of a curve.
    quantile_limits : Limits for errors of any shape.

    Notes
    -----
    With F the share of errors at or below a value and G that at or above, the folded share is min(F, G, 0.5).

    References
    ----------
    Krouwer JS, Monti KL (1995) Eur J Clin Chem Clin Biochem 33:525-527 (citation from memory).

    Examples
    --------
    >>> from agree import folded_distribution
    >>> folded = folded_distribution([100, 200, 300, 400, 500], [101, 199, 303, 404, 502])
    >>> folded.error.tolist(), folded.share.tolist()
    ([-1.0, 1.0, 2.0, 3.0, 4.0], [0.2, 0.4, 0.5, 0.4, 0.2])
    """
    x, y, _ = checks.columns(reference, device, nan_policy=nan_policy)
    error = np.sort(errors_on_scale(x, y, scale))
    values, count = np.unique(error, return_counts=True)
    below = np.cumsum(count)
    above = error.size - below + count
    share = np.minimum(np.minimum(below, above) / error.size, 0.5)
    return FoldedDistribution(error=values, share=share, median=float(np.median(error)), n=error.size, scale=scale)
