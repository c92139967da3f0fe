"""The one seam between results and their reports: `report/` imports results, results reach `report/` only here."""

from __future__ import annotations

import importlib
from typing import Any


def rendered(how: str, result: Any, *arguments: Any) -> Any:
    """Return a result as "text", "html" or "picture", made by `agree.report.registry`, which is loaded on first use."""
    return importlib.import_module("agree.report.registry").render(how, result, *arguments)
