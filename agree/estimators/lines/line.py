"""`Line`: device = intercept + slope * reference, as every line estimator returns it."""

from __future__ import annotations

from dataclasses import dataclass, field

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.core.results.drawn import Drawn
from agree.core.shared_docs import made_by


@made_by("deming", "passing_bablok", also=("YorkLine",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line(Drawn):
    """A fitted line, device = intercept + slope * reference.

    Attributes
    ----------
    slope, intercept : Estimate
        Coefficients with intervals.
    n : int
        Number of pairs.
    kind : str
        Estimator, such as ``"Deming"`` or ``"Passing-Bablok"``.
    sampling : str
        How pairs were taken to depend on each other.
    n_slopes : int
        Passing-Bablok: number of pairwise slopes the median was taken of; 0 for other lines.
    reference, device : (n,) array or None
        The pairs, for `plot`; they are not part of `to_dict`.

    Examples
    --------
    >>> from agree import deming
    >>> line = deming([100, 200, 300, 400], [98, 201, 297, 399])
    >>> line.kind, round(line.slope.value, 3)
    ('Deming', 0.999)
    """

    slope: Estimate
    intercept: Estimate
    n: int
    kind: str
    sampling: str
    n_slopes: int = 0
    reference: FloatArray | None = field(default=None, repr=False)
    device: FloatArray | None = field(default=None, repr=False)
