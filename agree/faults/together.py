"""How much of each claim a slow trace bears out: all at once, since each shows there for as long as the next ones."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from agree.core.checks import FloatArray
from agree.estimators.response.kernels import Kernel

BLOCK, BESIDE = 120, 20  # claims that are weighed at once, and their neighbours on either side that count with them
NORMAL = 1.4826          # SD of a normal over its median absolute deviation
MOST_COLOUR = 0.98       # correlation of errors a second apart: beyond it their changes alone would count


def borne_out(rest: FloatArray, spans: Sequence[tuple[int, int]], lacks: FloatArray, by: Kernel,
              ) -> list[tuple[float, float]]:
    """Energy of each claim that the slow trace shows, and its standard error, W s.

    Parameters
    ----------
    rest : (n,) array, W
        The slow trace less what the sharp one foretells, as recorded, through the filter; NaN where unknown.
    spans : sequence of (start, stop)
        Seconds of the claims, in order of time.
    lacks : (n,) array, W
        What the sharp trace would lack in each of these seconds.
    by : Kernel
        The filter.

    Returns
    -------
    list of (float, float)
        Near what the seconds lack together where the claim is true, near 0 where it is not; and the standard error.

    Notes
    -----
    Least squares of `rest` on what each claim would make of it, all claims together. Errors that last are allowed for
    by one step of whitening, e(t) - r e(t - 1), with r the correlation of what is left a second apart (Cochrane &
    Orcutt 1949, J Am Stat Assoc 44:32; from memory).

    Examples
    --------
    >>> import numpy as np
    >>> from agree.estimators.response.kernels import Kernel
    >>> from agree.faults.together import borne_out
    >>> by, lacks = Kernel(0, np.full(20, 0.05)), np.full(300, 100.0)
    >>> rest = np.random.default_rng(1).normal(0, 1, 300)
    >>> rest[100:123] += np.convolve(lacks[100:104], by.weights)
    >>> [round(energy, -2) + 0.0 for energy, _ in borne_out(rest, [(100, 104), (150, 154)], lacks, by)]
    [400.0, 0.0]
    """
    shown = [np.convolve(lacks[start:stop], by.weights) for start, stop in spans]
    begins = [start + by.start for start, _ in spans]
    colour, value, error = 0.0, np.zeros(len(spans)), np.zeros(len(spans))
    for _ in range(2):
        left = rest.copy()
        for first in range(0, len(spans), BLOCK):
            low, high = max(first - BESIDE, 0), min(first + BLOCK + BESIDE, len(spans))
            own = slice(first - low, first - low + min(BLOCK, len(spans) - first))
            found = _least_squares(rest, shown[low:high], begins[low:high], colour)
            value[first:first + BLOCK], error[first:first + BLOCK] = (column[own] for column in found)
        for begin, row, share in zip(begins, shown, value, strict=True):
            at = slice(max(begin, 0), min(begin + row.size, rest.size))
            left[at] -= share * row[at.start - begin:at.stop - begin]
        known = np.isfinite(left)
        sd = NORMAL * float(np.median(np.abs(left[known]))) if known.any() else 0.0
        near = np.clip(np.nan_to_num(left), -4 * sd, 4 * sd)
        colour = float(np.clip(near[1:] @ near[:-1] / max(float(near @ near), 1e-300), 0.0, MOST_COLOUR))
    energy = [float(lacks[start:stop].sum()) for start, stop in spans]
    return [(float(share * whole), float(one * abs(whole)))
            for share, one, whole in zip(value, error, energy, strict=True)]


def _least_squares(rest: FloatArray, shown: list[FloatArray], begins: list[int], colour: float) -> tuple[
        FloatArray, FloatArray]:
    low = max(min(begins) - 1, 0)
    high = min(max(begin + row.size for begin, row in zip(begins, shown, strict=True)) + 1, rest.size)
    columns = np.zeros((high - low, len(shown)))
    for k, (begin, row) in enumerate(zip(begins, shown, strict=True)):
        at = slice(max(begin, low), min(begin + row.size, high))
        columns[at.start - low:at.stop - low, k] = row[at.start - begin:at.stop - begin]
    a, b = (part[1:] - colour * part[:-1] for part in (columns, rest[low:high]))
    known = np.isfinite(b)
    a, b = a[known], b[known]
    inverse = np.linalg.pinv(a.T @ a, rcond=1e-10, hermitian=True)
    value = inverse @ (a.T @ b)
    sd = NORMAL * float(np.median(np.abs(b - a @ value))) if b.size else 0.0
    return value, sd * np.sqrt(np.diag(inverse))
