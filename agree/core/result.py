"""Base of all results: frozen, holding read-only copies, JSON-safe, printable whatever they hold."""

from __future__ import annotations

import dataclasses
import importlib
import math
from typing import Any

import numpy as np


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


class Result:
    """What every estimator and check returns.

    Subclasses are frozen dataclasses. Arrays are copied and made read-only, so that neither the
    caller's array is frozen nor the result can change after the fact.
    """

    __slots__ = ()

    def __post_init__(self) -> None:
        for field in dataclasses.fields(self):  # type: ignore[arg-type]
            value = getattr(self, field.name)
            if isinstance(value, np.ndarray):
                value = value.copy()
                value.setflags(write=False)
                object.__setattr__(self, field.name, value)

    def to_dict(self) -> dict[str, Any]:
        """Return the stored numbers as plain JSON types; infinite limits become None."""
        result: dict[str, Any] = json_safe(self)
        return result

    def summary(self) -> str:
        """Return the result as text a reader can use without this package."""
        text: str = importlib.import_module("agree.report.text").summary(self)
        return text

    def plot(self, ax: Any = None) -> Any:
        """Draw the stored numbers on `ax` (a new figure if None) and return the axes."""
        return importlib.import_module("agree.report.figures.panels").plot(self, ax)

    def __str__(self) -> str:
        return self.summary()
