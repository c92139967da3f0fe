"""Every input check, one wording: what came, what is allowed, what to do."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from agree.core.choices import Sampling
from agree.core.errors import AssumptionWarning, InputError, SampleSizeError
from agree.core.thresholds import ALIKE_P, LEAST_ALIKE, LEAST_LEVEL

FloatArray = NDArray[np.float64]
LARGEST = 1e300
SMALL = 1e-24  # of squares of readings of size 1: what rounding alone leaves
SAMPLINGS = ("independent", "serial", "sessions")


class Columns(NamedTuple):
    """Checked pairs: equal lengths, finite, at least the asked number."""

    reference: FloatArray
    device: FloatArray
    session: NDArray[np.intp] | None


def vector(values: ArrayLike, name: str, ndim: int = 1) -> FloatArray:
    """Return `values` as a float array of one dimension, or as many as asked; masked values become NaN."""
    try:
        mask = np.ma.getmaskarray(values) if isinstance(values, np.ma.MaskedArray) else None
        dtype = getattr(values, "dtype", None)  # other libraries have dtypes of their own, without a kind
        if getattr(dtype, "kind", "f") in "cmM":
            raise TypeError(f"got {dtype} values")
        array = np.array(values, dtype=np.float64)
        if mask is not None:
            array[mask] = np.nan
    except (TypeError, ValueError, OverflowError) as exc:
        raise InputError(f"`{name}` must hold numbers; {exc}", option=name) from None
    if array.ndim != ndim:
        raise InputError(f"`{name}` must be {('one', 'two')[ndim - 1]}-dimensional; got shape {array.shape}",
                         option=name)
    return array


def shared_vector(values: ArrayLike, name: str) -> FloatArray:
    """As `vector`, but a column of another result, which nobody can write, is returned itself: sessions are large."""
    if isinstance(values, np.ndarray) and not isinstance(values, np.ma.MaskedArray):
        array: FloatArray = values
        if array.dtype == np.float64 and array.ndim == 1 and array.flags.owndata and not array.flags.writeable:
            return array
    return vector(values, name)


def same_labels(values: Sequence[object], names: Sequence[str]) -> None:
    """Refuse labelled columns whose labels differ: by position they would be paired wrongly.

    Labels are those of a pandas Series, its index; lists, arrays and Series of other libraries have none.
    """
    labelled = [(name, np.asarray(value.index)) for name, value in zip(names, values, strict=True)
                if hasattr(value, "index") and hasattr(value, "reindex")]
    for name, labels in labelled[1:]:
        first, expected = labelled[0]
        if labels.shape != expected.shape:
            continue  # unequal lengths are refused in their own words
        odd = np.flatnonzero(labels != expected)
        if odd.size:
            raise InputError(f"`{first}` and `{name}` are labelled differently: {odd.size} of {labels.size} labels, "
                             f"first {expected[odd[0]]!s} and {labels[odd[0]]!s}; line them up with {name}.reindex("
                             f"{first}.index), or pass .to_numpy() of each to pair them by position", option=first)


def codes(labels: ArrayLike, count: int, name: str = "session", of: str = "pair") -> NDArray[np.intp]:
    """Number labels of any hashable kind in order of appearance."""
    # Of a list, 1 and "1" stay two labels; numpy would make both text.
    raw = np.asarray(labels, dtype=object if isinstance(labels, list | tuple) else None)
    if raw.shape != (count,):
        raise InputError(f"`{name}` must have one label for each {of}; got shape {raw.shape} for {count} {of}s",
                         option=name)
    seen: dict[Any, int] = {}
    try:
        numbered = np.array([seen.setdefault(label, len(seen)) for label in raw.tolist()], dtype=np.intp)
    except TypeError:
        raise InputError(f"`{name}` must hold labels such as numbers or text", option=name) from None
    if any(label is None or label != label for label in seen):
        raise InputError(f"`{name}` must have a label for each {of}; got None or NaN", option=name)
    return numbered


def _first(mask: NDArray[np.bool_]) -> str:
    where = np.flatnonzero(mask)
    return ", ".join(map(str, where[:5])) + (", ..." if where.size > 5 else "")


def sampling_of(sampling: Sampling | None, session: ArrayLike | None) -> Sampling:
    """Return the sampling asked for; of labels alone "sessions", so that no interval leaves out labels unseen."""
    if sampling is None:
        return "independent" if session is None else "sessions"
    choice(sampling, "sampling", SAMPLINGS)
    return sampling


def _warn_of_left_out(error: FloatArray, labels: NDArray[np.intp], sampling: str) -> None:
    """Warn if sessions left out of an interval on demand differ in their errors: F test of their means."""
    sizes = np.bincount(labels)
    sizes = sizes[sizes > 0]
    between, within = sizes.size - 1, labels.size - sizes.size
    size = float(np.abs(error).max())
    if labels.size < LEAST_ALIKE or between < 1 or within < 1 or size == 0:
        return
    error = error / size - float((error / size).mean())
    means = np.bincount(labels, weights=error)[np.unique(labels)] / sizes
    explained = float(sizes @ np.square(means))
    rest = max(float(error @ error) - explained, 0.0)
    if explained > SMALL * error.size and special.fdtrc(between, within, explained / between * within / (
            rest or SMALL)) < ALIKE_P:
        warnings.warn(f"the errors differ between sessions, and the interval leaves that out: with `session`, leave "
                      f"sampling={sampling!r} away or use sampling='sessions'", AssumptionWarning, stacklevel=5)


def present(values: FloatArray, name: str, nan_policy: str) -> NDArray[np.bool_]:
    """Where `values` are numbers; an error if they are infinite, too large, or NaN when that is not allowed."""
    choice(nan_policy, "nan_policy", ("raise", "omit"))
    if values.size and values.min() >= -LARGEST and values.max() <= LARGEST:  # not so with NaN
        return np.ones(values.size, np.bool_)
    bad, infinite = np.isnan(values), np.isinf(values)
    if infinite.any():
        raise InputError(f"`{name}` holds {infinite.sum()} infinite value(s), first at index "
                         f"{_first(infinite)}; remove them", option=name)
    if (np.abs(values) > LARGEST).any():
        raise InputError(f"`{name}` holds readings beyond {LARGEST:g}, too large to square; change the unit",
                         option=name)
    if bad.any() and nan_policy == "raise":
        raise InputError(f"`{name}` holds {bad.sum()} NaN, first at index {_first(bad)}; remove them "
                         "or pass nan_policy='omit'", option=name)
    return ~bad


def columns(
    reference: ArrayLike,
    device: ArrayLike,
    *,
    session: ArrayLike | None = None,
    sampling: str = "independent",
    nan_policy: str = "raise",
    minimum: int = 3,
    names: tuple[str, str] = ("reference", "device"),
) -> Columns:
    """Check a pair of columns, and the session labels if the sampling needs them; `names` are for the messages."""
    (x, y), labels = table((reference, device), names, session=session, sampling=sampling, nan_policy=nan_policy,
                           minimum=minimum)
    return Columns(x, y, labels)


def _listed(items: Iterable[object]) -> str:
    *first, last = map(str, items)
    return f"{', '.join(first)} and {last}"


def table(
    values: Sequence[ArrayLike],
    names: Sequence[str],
    *,
    session: ArrayLike | None = None,
    sampling: str = "independent",
    nan_policy: str = "raise",
    minimum: int = 3,
) -> tuple[list[FloatArray], NDArray[np.intp] | None]:
    """Check two or more columns of equal lengths, and the session labels if the sampling needs them."""
    choice(sampling, "sampling", SAMPLINGS)
    same_labels([*values, session], [*names, "session"])
    found = [vector(column, name) for column, name in zip(values, names, strict=True)]
    n = found[0].size
    if any(column.size != n for column in found):
        raise InputError(f"{_listed(f'`{name}`' for name in names)} must have equal lengths; got "
                         f"{_listed(column.size for column in found)}")
    labels = None
    if sampling == "sessions":
        if session is None:
            raise InputError("`session` is needed with sampling='sessions': one label for each pair", option="session")
        labels = codes(session, n)
    keep = np.all([present(column, name, nan_policy) for name, column in zip(names, found, strict=True)], axis=0)
    if not keep.all():
        found = [column[keep] for column in found]
        labels = None if labels is None else labels[keep]
    if sampling != "sessions" and session is not None:
        _warn_of_left_out(found[1] - found[0], codes(session, n)[keep], sampling)
    if found[0].size < minimum:
        raise SampleSizeError(f"at least {minimum} pairs are needed; got {found[0].size}")
    if labels is not None and np.unique(labels).size < 2:
        raise SampleSizeError("sampling='sessions' needs at least 2 sessions; got 1: record another, "
                              "or use sampling='serial' and speak of this recording only")
    return found, labels


def fraction(value: float, name: str) -> float:
    """Return `value` if it lies strictly between 0 and 1."""
    number = isinstance(value, int | float | np.number)
    if not number or not 0 < float(value) < 1:
        hint = f"; did you mean {float(value) / 100:g}?" if number and 1 < value < 100 else ""
        shown = value.item() if isinstance(value, np.generic) else value
        raise InputError(f"`{name}` must be a fraction between 0 and 1, such as 0.95; got {shown!r}{hint}", option=name)
    return float(value)


def interval_level(value: float) -> float:
    """Return `value` if it is a level at which an answer may be given: 0.5 or more, below 1."""
    found = fraction(value, "level")
    if found < LEAST_LEVEL:
        raise InputError(f"`level` must be {LEAST_LEVEL:g} or more, such as 0.95, since an interval that misses more "
                         f"often than it holds settles nothing; got {found:g} (= {100 * found:g} %)", option="level")
    return found


def choice(value: str, name: str, allowed: Sequence[str]) -> str:
    """Return `value` if it is one of `allowed`."""
    if not isinstance(value, str) or value not in allowed:
        raise InputError(f"`{name}` must be one of {', '.join(map(repr, allowed))}; got {value!r}", option=name)
    return value


def positive(value: float, name: str) -> float:
    """Return `value` if it is a positive finite number."""
    if not isinstance(value, int | float | np.number) or not 0 < float(value) < np.inf:
        raise InputError(f"`{name}` must be a positive number; got {value!r}", option=name)
    return float(value)


def window_seconds(value: int) -> int:
    """Return `window_s` if it is a whole number of seconds from 1 to 600."""
    if isinstance(value, bool) or not isinstance(value, int | np.integer) or not 1 <= value <= 600:
        raise InputError(f"`window_s` must be a whole number of seconds from 1 to 600; got {value!r}",
                         option="window_s")
    return int(value)


def edges(values: ArrayLike) -> FloatArray:
    """Return band edges: at least two, finite or infinite, strictly increasing."""
    array = vector(values, "edges")
    if array.size < 2 or np.isnan(array).any() or not (np.diff(array) > 0).all():
        raise InputError(f"`edges` must be at least two increasing numbers; got {array.tolist()}", option="edges")
    return array
