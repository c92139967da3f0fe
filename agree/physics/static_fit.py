"""Numbers of the static check: checked hangs, least squares, and intervals of weighted sums of readings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError, SampleSizeError
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import STATIC_MISFIT_P
from agree.physics.torque import HEAVIEST_KG, HungMass

_SIDES = {"l": "left", "r": "right"}
LEAST_HANGS, LEAST_MASSES, LEAST_OF_SIDE = 4, 3, 3
METHOD = "t, residuals of the line, with what the hangs share"


class Hangs(NamedTuple):
    """Checked hangs: mass, angle, torque, reading; +-1/2 down or up; codes of sides and of masses."""

    mass: FloatArray
    angle: FloatArray
    torque: FloatArray
    reading: FloatArray
    down: FloatArray | None
    side: NDArray[np.intp] | None
    side_names: tuple[str, ...]
    label: NDArray[np.intp]


class Fitted(NamedTuple):
    """A least-squares fit: coefficients, their weights on readings (p, n), SD about the line and degrees of freedom.

    `repeat_sd`, `repeat_df`: of readings under one mass, where masses hung more than once; NaN and 0 otherwise.
    """

    values: FloatArray
    weights: FloatArray
    sd: float
    df: int
    repeat_sd: float
    repeat_df: int


def _residual(design: FloatArray, reading: FloatArray, floor: float) -> tuple[float, int]:
    df = reading.size - int(np.linalg.matrix_rank(design))
    if df < 1:
        return math.nan, 0
    rest = reading - design @ (np.linalg.pinv(design) @ reading)
    return max(math.sqrt(float(rest @ rest) / df), floor), df


def fitted(columns: Sequence[FloatArray], data: Hangs) -> Fitted:
    """Fit readings by least squares, and measure their scatter about the line and under one mass."""
    design = np.column_stack(columns)
    weights = np.asarray(np.linalg.pinv(design), dtype=np.float64)
    floor = rounding_sd(data.reading)
    masses = np.eye(int(data.label.max()) + 1)[data.label]
    repeat_sd, repeat_df = _residual(np.column_stack([design, masses]), data.reading, floor)
    return Fitted(weights @ data.reading, weights, *_residual(design, data.reading, floor), repeat_sd, repeat_df)


def interval(value: float, weights: FloatArray, fit: Fitted, data: Hangs, hang: HungMass, *, scale: float = 1.0,
             common: float = 0.0, level: float) -> Estimate:
    """Interval of a weighted sum of readings.

    The scatter about the line (t) holds readings, angles and masses where each mass hung once. Where masses hung more
    than once, the scatter under one mass (t) and the stated uncertainties (normal) are added in squares. If the scatter
    about the line is larger than these two explain (F test), the wider interval counts: masses are worse known than was
    stated, or the line is bent. `common` is what all hangs share.
    """
    length = float(np.linalg.norm(weights))
    own = np.where(data.mass > 0, hang.own_u(data.mass, data.angle)[0], 0.0)
    together = np.bincount(data.label, weights=weights * own * scale)
    within = bool(np.abs(np.bincount(data.label, weights=weights)).max() < 1e-9 * np.abs(weights).max())
    explained = math.hypot(fit.repeat_sd, scale * float(np.sqrt((own**2).mean()))) if fit.repeat_df else 0.0
    fits = bool(fit.repeat_df) and fit.sd <= explained * math.sqrt(
        float(special.fdtri(fit.df, fit.repeat_df, 1 - STATIC_MISFIT_P)))
    found = [] if fit.repeat_df and (within or fits) else [(fit.sd * length, fit.df, 0.0)]
    if fit.repeat_df:
        found.append((fit.repeat_sd * length, fit.repeat_df, float(np.linalg.norm(together))))
    half, se, df = max((math.hypot(t_quantile(level, df) * se, t_quantile(level, math.inf) * math.hypot(u, common)),
                        math.hypot(se, u, common), float(df)) for se, df, u in found)
    return Estimate(value=value, low=value - half, high=value + half, level=level, method=METHOD, standard_error=se,
                    df=df)


def _sides(side: ArrayLike, label: NDArray[np.intp]) -> tuple[NDArray[np.intp], tuple[str, ...]]:
    """Check sides: one or two, each with enough hangs for a line of its own."""
    checks.codes(side, label.size, "side", "hang")
    words = [_SIDES.get(str(item).strip().lower(), str(item).strip()) for item in np.asarray(side).tolist()]
    if not all(words):
        raise InputError(f"`side` must be given for each hang or for none; hang {words.index('') + 1} has none",
                         option="side")
    names = tuple(dict.fromkeys(words))
    if len(names) > 2:
        raise InputError(f"`side` must hold one or two sides; got {', '.join(map(repr, names))}: write each side in "
                         "one way", option="side")
    sides = np.array([names.index(word) for word in words], dtype=np.intp)
    for k, name in enumerate(names):
        hangs, masses = int((sides == k).sum()), np.unique(label[sides == k]).size
        if hangs < LEAST_OF_SIDE or masses < 2:
            raise SampleSizeError(f"side {name!r} has {hangs} hangs with {masses} masses; at least {LEAST_OF_SIDE} "
                                  "hangs with 2 masses are needed on each side; the sides are "
                                  f"{', '.join(map(repr, names))}: write each side in one way")
    return sides, names


def checked_hangs(mass: ArrayLike, reading: ArrayLike, hang: HungMass, angle: ArrayLike, side: ArrayLike | None,
                  direction: ArrayLike | None) -> Hangs:
    """Check masses, readings, angles, sides and directions, and compute the torques."""
    (m, y), _ = checks.table((mass, reading), ("mass_kg", "reading_Nm"), minimum=LEAST_HANGS)
    a = checks.vector(np.broadcast_to(np.asarray(angle, dtype=float), m.shape), "angle_deg")
    if (m < 0).any():
        raise InputError(f"`mass_kg` must be 0 or more; got {m.min():g}: the sign of a torque belongs to the reading",
                         option="mass_kg")
    if m.max() > HEAVIEST_KG:
        hint = f"; in grams? {m.max():g} g are {m.max() / 1000:g} kg" if m.max() <= 1000 * HEAVIEST_KG else ""
        raise InputError(f"`mass_kg` must be at most {HEAVIEST_KG:g} kg; got {m.max():g}{hint}", option="mass_kg")
    if (np.abs(a) > 60).any():
        raise InputError(f"`angle_deg` must lie within 60 degrees of the horizontal; got {a[np.abs(a).argmax()]:g}",
                         option="angle_deg")
    label = np.unique(m, return_inverse=True)[1]
    if label.max() + 1 < LEAST_MASSES:
        raise SampleSizeError(f"a static check needs at least {LEAST_MASSES} different masses, 0 kg among them if you "
                              f"like; got {label.max() + 1}")
    sides, names = (None, ()) if side is None else _sides(side, label)
    down = None
    if direction is not None:
        words = [str(item).strip().lower() for item in np.asarray(direction).tolist()]
        strange = sorted(set(words) - {"up", "down"})
        if strange or len(words) != m.size:
            raise InputError(f"`direction` must be 'up' or 'down' for each hang; got {strange or len(words)}",
                             option="direction")
        if len(set(words)) == 2:
            down = np.where(np.array(words) == "down", 0.5, -0.5)
    torque = hang.torque(m, a) * (1 - hang.mean_loss())
    return Hangs(m, a, torque, y, down, sides, names, label)


def rounding_sd(reading: FloatArray) -> float:
    """Least SD of a reading shown to so many decimals: a step over root 12."""
    decimals = next((k for k in range(7) if np.allclose(np.round(reading, k), reading, rtol=0, atol=1e-9)), 7)
    return 10.0**-decimals / math.sqrt(12)
