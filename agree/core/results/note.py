"""`Note`: one fact that the reader of a report may need, as fields; its sentence is made in report/ alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from agree.core.results.result import Result
from agree.core.shared_docs import made_by

Severity = Literal["answer", "trust", "detail"]


@made_by("look", "pair_recordings", "check_claim",
         references='The page "The page, part by part" of the documentation says which notes stand where.')
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Note(Result):
    """One fact about data or answer.

    Attributes
    ----------
    kind : str
        What the fact is, such as "clock_step" or "unit_assumed"; each kind has one sentence in report/.
    severity : {"answer", "trust", "detail"}
        It changes the answer; it changes how far the answer is to be trusted; it is for the details.
    role : str
        "reference", "device" or "" (both, or neither).
    values : mapping
        Numbers and names that the sentence needs, by name.

    Examples
    --------
    >>> from agree.core.results.note import Note
    >>> note = Note(kind="clock_step", role="device", values={"at_s": 610.0, "step_s": -12.0})
    >>> note.kind, note.severity, note.values["step_s"]
    ('clock_step', 'detail', -12.0)
    """

    kind: str
    severity: Severity = "detail"
    role: str = ""
    values: Mapping[str, float | int | str | bool] = field(default_factory=dict)
