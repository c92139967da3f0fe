"""Every input check, one wording: what came, what is allowed, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from agree.errors import InputError, SampleSizeError

FloatArray = NDArray[np.float64]
SAMPLINGS = ("independent", "serial", "sessions")


class Columns(NamedTuple):
    """Checked pairs: equal lengths, finite, at least the asked number."""

    reference: FloatArray
    device: FloatArray
    session: NDArray[Any] | None


def vector(values: ArrayLike, name: str) -> FloatArray:
    """Return `values` as a one-dimensional float array."""
    try:
        array = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as exc:
        raise InputError(f"`{name}` must hold numbers; {exc}") from None
    if array.ndim != 1:
        raise InputError(f"`{name}` must be one-dimensional; got shape {array.shape}")
    return array


def _first(mask: NDArray[np.bool_]) -> str:
    where = np.flatnonzero(mask)
    return ", ".join(map(str, where[:5])) + (", ..." if where.size > 5 else "")


def columns(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    session: ArrayLike | None = None,
    sampling: str = "independent",
    nan_policy: str = "raise",
    minimum: int = 3,
) -> Columns:
    """Check a pair of columns, and the session labels if the sampling needs them."""
    choice(sampling, "sampling", SAMPLINGS)
    choice(nan_policy, "nan_policy", ("raise", "omit"))
    x, y = vector(reference, "reference"), vector(device, "device")
    if x.size != y.size:
        raise InputError(f"`reference` and `device` must have equal lengths; got {x.size} and {y.size}")
    labels = None
    if sampling == "sessions":
        if session is None:
            raise InputError("`session` is needed with sampling='sessions': one label for each pair")
        labels = np.asarray(session)
        if labels.shape != x.shape:
            raise InputError(f"`session` must have one label for each pair; got shape {labels.shape} "
                             f"for {x.size} pairs")
    keep = np.ones(x.size, bool)
    for name, column in (("reference", x), ("device", y)):
        infinite = np.isinf(column)
        if infinite.any():
            raise InputError(f"`{name}` holds {infinite.sum()} infinite value(s), first at index "
                             f"{_first(infinite)}; remove them")
        bad = np.isnan(column)
        if bad.any() and nan_policy == "raise":
            raise InputError(f"`{name}` holds {bad.sum()} NaN, first at index {_first(bad)}; remove them "
                             "or pass nan_policy='omit'")
        keep &= ~bad
    if not keep.all():
        x, y = x[keep], y[keep]
        labels = None if labels is None else labels[keep]
    if x.size < minimum:
        raise SampleSizeError(f"at least {minimum} pairs are needed; got {x.size}")
    if labels is not None and np.unique(labels).size < 2:
        raise SampleSizeError("sampling='sessions' needs at least 2 sessions; got 1: record another, "
                              "or use sampling='serial' and speak of this recording only")
    return Columns(x, y, labels)


def fraction(value: float, name: str) -> float:
    """Return `value` if it lies strictly between 0 and 1."""
    if not isinstance(value, int | float | np.number) or not 0 < float(value) < 1:
        hint = f"; did you mean {float(value) / 100:g}?" if isinstance(value, int | float) and 1 < value < 100 else ""
        raise InputError(f"`{name}` must be a fraction between 0 and 1, such as 0.95; got {value!r}{hint}")
    return float(value)


def choice(value: str, name: str, allowed: Sequence[str]) -> str:
    """Return `value` if it is one of `allowed`."""
    if value not in allowed:
        raise InputError(f"`{name}` must be one of {', '.join(map(repr, allowed))}; got {value!r}")
    return value


def positive(value: float, name: str) -> float:
    """Return `value` if it is a positive finite number."""
    if not isinstance(value, int | float | np.number) or not 0 < float(value) < np.inf:
        raise InputError(f"`{name}` must be a positive number; got {value!r}")
    return float(value)


def edges(values: ArrayLike) -> FloatArray:
    """Return band edges: at least two, finite or infinite, strictly increasing."""
    array = vector(values, "edges")
    if array.size < 2 or np.isnan(array).any() or not (np.diff(array) > 0).all():
        raise InputError(f"`edges` must be at least two increasing numbers; got {array.tolist()}")
    return array
