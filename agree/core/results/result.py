"""Base of all results: frozen, holding read-only copies, JSON-safe, printable whatever they hold."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np

from agree.core.results.seam import rendered

FIRST = ("verdict", "value", "answer")  # fields that a repr begins with
FEW = 8                # items of a sequence that a repr lists
LONGEST_FIELD = 300    # characters
LONGEST_REPR = 1_900   # characters, without the name of the class


def json_safe(value: Any) -> Any:
    """Turn a result, array or number into plain JSON types; non-finite numbers become None."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: json_safe(getattr(value, f.name)) for f in dataclasses.fields(value) if f.repr}
    if isinstance(value, dict):
        return {str(key): json_safe(item) for key, item in value.items()}
    if isinstance(value, np.ndarray | list | tuple):
        return [json_safe(item) for item in value]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return value if value is None or isinstance(value, str) else str(value)


def restored(cls: type[Result], values: tuple[Any, ...]) -> Result:
    """Make a result again from its fields, as pickle and deepcopy do; its arrays are read-only once more."""
    result = object.__new__(cls)
    for field, value in zip(dataclasses.fields(cls), values, strict=True):  # type: ignore[arg-type]
        if isinstance(value, np.ndarray):
            value.setflags(write=False)
        object.__setattr__(result, field.name, value)
    return result


def _brief(value: Any) -> str:
    if isinstance(value, np.ndarray):
        return f"<array {value.shape} {value.dtype}>"
    if isinstance(value, tuple | list) and len(value) > FEW:
        return f"<{len(value)} items>"
    if isinstance(value, dict) and len(value) > FEW:
        return f"<{len(value)} entries>"
    text = f"{value:.6g}" if isinstance(value, float | np.floating) else repr(value)
    return text if len(text) <= LONGEST_FIELD else text[:LONGEST_FIELD - 4] + " ..."


class Result:
    """What every estimator and check returns.

    Subclasses are frozen dataclasses. Arrays are copied and made read-only, so that neither the
    caller's array is frozen nor the result can change after the fact; arrays that are read-only already, as those of
    other results, are shared; copies and unpickled results
    have read-only arrays too.
    """

    __slots__ = ()

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        if "__repr__" not in vars(cls):  # else `dataclass` would make one that prints every array
            cls.__repr__ = Result.__repr__  # type: ignore[method-assign]

    def __post_init__(self) -> None:
        for field in dataclasses.fields(self):  # type: ignore[arg-type]
            value = getattr(self, field.name)
            if isinstance(value, np.ndarray) and (value.flags.writeable or not value.flags.owndata):
                value = value.copy()  # one that nobody can write is shared: results made of others hold theirs
                value.setflags(write=False)
                object.__setattr__(self, field.name, value)

    def __reduce__(self) -> tuple[Any, ...]:
        return restored, (type(self), tuple(getattr(self, f.name) for f in dataclasses.fields(self)))  # type: ignore[arg-type]

    def __repr__(self) -> str:
        """Return the fields in brief, verdict or value first, in fewer than 2,000 characters."""
        names = [f.name for f in dataclasses.fields(self) if f.repr]  # type: ignore[arg-type]
        names.sort(key=lambda name: name not in FIRST)
        text = ""
        for name in names:
            part = f"{', ' if text else ''}{name}={_brief(getattr(self, name, None))}"
            if len(text) + len(part) > LONGEST_REPR:
                text += ", ..."
                break
            text += part
        return f"{type(self).__name__}({text})"

    def _repr_html_(self) -> str:
        """Return the summary for a notebook."""
        text: str = rendered("html", self)
        return text

    def to_dict(self) -> dict[str, Any]:
        """Return the stored numbers as plain JSON types, with the result's kind; infinite limits become None."""
        stored: dict[str, Any] = json_safe(self)
        return {"kind": type(self).__name__} | stored

    def summary(self) -> str:
        """Return the result as text a reader can use without this package."""
        text: str = rendered("text", self)
        return text

    def __str__(self) -> str:
        return self.summary()
