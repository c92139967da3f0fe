"""Reasons of seconds, held as small numbers: masks and copies cost a thirtieth of those of names."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from agree.core.data.fault import REASONS
from agree.core.errors import InputError

NAMES = ("", *REASONS)
NUMBERS = {name: number for number, name in enumerate(NAMES)}
USED = NUMBERS[""]
NAMED = np.array(NAMES)

Codes = NDArray[np.int8]
Class = TypeVar("Class")


def codes_of(reason: NDArray[np.str_]) -> Codes:
    """Return each second's place in `NAMES`.

    Raises
    ------
    InputError
        A name that is not there, or more than one column.
    """
    if reason.ndim != 1:
        raise InputError(f"`reason` must be one column; got {reason.ndim} dimensions", option="reason")
    if not reason.size:
        return np.zeros(0, np.int8)
    starts = np.flatnonzero(np.r_[True, reason[1:] != reason[:-1]])
    names = [str(name) for name in reason[starts]]
    unknown = sorted(set(names) - set(NAMES))
    if unknown:
        raise InputError(f"`reason` must be one of {', '.join(REASONS)} or ''; got {unknown}", option="reason")
    codes: Codes = np.repeat(np.array([NUMBERS[name] for name in names], np.int8), np.diff(np.r_[starts, reason.size]))
    codes.setflags(write=False)
    return codes


def among(codes: Codes, names: Iterable[str]) -> NDArray[np.bool_]:
    """Return the mask of seconds whose reason is one of some."""
    mask = np.zeros(codes.shape, bool)
    for name in names:
        mask |= codes == NUMBERS.get(name, -1)
    return mask


class _HeldAsCodes:
    """A field of names that holds their codes in the field `_codes`; it is given and read as names.

    The names of a thousand hours take 290 MB, their codes 4.
    """

    def __get__(self, item: Any, kind: type | None = None) -> Any:
        if item is None:
            return self
        if item._codes is None:
            return None
        names = NAMED[item._codes]
        names.setflags(write=False)
        return names

    def __set__(self, item: Any, value: Any) -> None:
        object.__setattr__(item, "_codes", None if value is None else codes_of(np.asarray(value, dtype=str)))


def reasons_held_as_codes(cls: type[Class]) -> type[Class]:
    """Make a data class hold its field `reason` as codes; it stands above `dataclass`, which makes fields anew."""
    type.__setattr__(cls, "reason", _HeldAsCodes())
    return cls
