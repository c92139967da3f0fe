"""What a stored result tells of the mean error, whatever its kind and schema."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.verdict.error_distribution import EXACT, KnownError

# Errors too slow for one recording ("because_slower") are not among them: the sessions of a study show them.
WITHHELD = ("because_gaps", "because_faults", "because_copy", "because_one_ride", "because_too_little",
            "because_not_followed", "because_programme", "because_days")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Told(Result):
    """Mean error of one result in the claim's unit.

    Attributes
    ----------
    own : Estimate
        As the data have it, without the reference's error.
    unit : str
    limit : float
        The claim there.
    known : KnownError
        What is known of the reference's error, in that unit.
    withheld : bool
        Whether "holds" was withheld for what is wrong with the recordings, whatever the figure says.
    """

    own: Estimate
    unit: str
    limit: float
    known: KnownError
    withheld: bool = False


def average_of(result: Mapping[str, Any]) -> Told | None:
    """Return the mean error of a stored result; None where it holds none that is a number."""
    item = next((item for item in result["readings"] if item["meaning"] == "average"), None)
    told = None if item is None else item.get("own") or item["estimate"]
    if item is None or told is None:
        return None
    value, low, high, error, df = (math.nan if told.get(name) is None else float(told[name])
                                   for name in ("value", "low", "high", "standard_error", "df"))
    own = Estimate(value=value, low=low, high=high, level=told["level"], method=told["method"], standard_error=error,
                   df=df)
    if not math.isfinite(value):
        return None
    known = item.get("known")
    because = item.get("because")
    why = because.get("kind") if isinstance(because, Mapping) else ""
    return Told(withheld=why in WITHHELD,
                own=own, unit=item["unit"], limit=math.nan if item["limit"] is None else float(item["limit"]),
                known=EXACT if known is None else KnownError(normal=float(known["normal"]),
                                                             rectangles=tuple(known["rectangles"])))
