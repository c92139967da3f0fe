"""`Trials`: readings of two methods by subject and trial, with what was set aside and why."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from agree.core import checks
from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.core.results.result import Result, json_safe
from agree.core.shared_docs import made_by

Aside = Literal["only_in_reference", "only_in_device", "no_reading", "blank_key", "copied", "outside_claim"]
ASIDE: tuple[Aside, ...] = ("only_in_reference", "only_in_device", "no_reading", "blank_key", "copied",
                            "outside_claim")
FIRST_SHOWN = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SetAside(Result):
    """Trials that are not used, under one reason.

    Attributes
    ----------
    reason : str
        One of "only_in_reference", "only_in_device" (no partner in the other file), "no_reading" (a blank cell),
        "blank_key" (a row whose subject or trial is not named), "copied" (every trial is there several times),
        "outside_claim" (below the level that the claim is made for).
    count : int
        How many.
    first : tuple of str
        The first of them, as "subject 7, trial 2" or "row 12".
    """

    reason: Aside
    count: int
    first: tuple[str, ...]


@made_by("pair_trials", also=("TrialsCheck",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trials(Result):
    """Readings of two methods, by subject.

    Parameters
    ----------
    reference, device : (n,) array
        Readings in `quantity.computed_in`, finite; of one length where `paired`.
    subject : (n,) array of int
        Subject of each reading of the reference, numbered from 0.
    device_subject : (m,) array of int, optional
        The same for the device; `subject` where paired.
    subjects : tuple of str
        Names of the subjects.
    quantity : Quantity
        What is measured.
    by : tuple of str
        Names of the key's columns: the subject's first.
    paired : bool
        Whether a reading of one method and one of the other are of the same trial.
    reference_name, device_name : str
        What the two are called in reports.
    device_column : str
        Column of the device's readings, for messages.
    set_aside : tuple of SetAside
        What is not used.
    notes : tuple of Note
        How the table was read.
    inputs : tuple of dict
        Name, bytes and SHA-256 of each file.
    unread : (k,) array
        Readings of the reference in trials in which the device has none, in `quantity.computed_in`; where unpaired, the
        mean of the subject.

    Raises
    ------
    InputError
        Columns of unequal length, readings that are not finite.

    Examples
    --------
    >>> from agree import Trials
    >>> from agree.core.quantities.known import quantity
    >>> trials = Trials(reference=[30, 31, 40, 41], device=[31, 32, 40, 42], subject=[0, 0, 1, 1],
    ...                 subjects=("A", "B"), quantity=quantity("cm"))
    >>> trials.count, trials.sizes.tolist()
    (4, [2, 2])
    """

    reference: FloatArray
    device: FloatArray
    subject: NDArray[np.intp]
    device_subject: NDArray[np.intp] = None  # type: ignore[assignment]
    subjects: tuple[str, ...]
    quantity: Quantity
    by: tuple[str, ...] = ("subject", "trial")
    paired: bool = True
    reference_name: str = "reference"
    device_name: str = "device"
    device_column: str = ""
    set_aside: tuple[SetAside, ...] = ()
    notes: tuple[Note, ...] = ()
    inputs: tuple[dict[str, Any], ...] = ()
    unread: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        x, y = checks.vector(self.reference, "reference"), checks.vector(self.device, "device")
        if self.paired and x.size != y.size:
            raise InputError(f"`reference` and `device` must have equal lengths; got {x.size} and {y.size}",
                             option="reference")
        if not (np.isfinite(x).all() and np.isfinite(y).all()):
            raise InputError("`reference` and `device` must hold finite readings; leave out trials without one",
                             option="reference")
        subject = np.asarray(self.subject, dtype=np.intp)
        other = subject if self.device_subject is None else np.asarray(self.device_subject, dtype=np.intp)
        if subject.shape != x.shape or other.shape != y.shape:
            raise InputError("`subject` must have one number for each reading; got "
                             f"{subject.size} for {x.size} and {other.size} for {y.size}", option="subject")
        unread = np.asarray(self.unread, dtype=float)
        for name, value in (("reference", x), ("device", y), ("subject", subject), ("device_subject", other),
                            ("unread", unread)):
            object.__setattr__(self, name, value)
        Result.__post_init__(self)

    @property
    def count(self) -> int:
        """Number of trials; where unpaired, of the method that has fewer."""
        return int(min(self.reference.size, self.device.size))

    @property
    def sizes(self) -> NDArray[np.intp]:
        """(S,) number of trials of each subject by the reference."""
        return np.bincount(self.subject, minlength=len(self.subjects))

    def to_dict(self) -> dict[str, Any]:
        """Return what was joined and set aside, without the readings."""
        result: dict[str, Any] = json_safe({
            "quantity": self.quantity.name, "unit": self.quantity.unit, "by": self.by, "paired": self.paired,
            "reference": self.reference_name, "device": self.device_name, "subjects": len(self.subjects),
            "trials": self.count, "set_aside": self.set_aside, "notes": self.notes, "inputs": self.inputs})
        return result
