"""Whether a device moves with the reference at all: a stuck one, or one of another ride, may be right in the mean."""

from __future__ import annotations

import math
from typing import NamedTuple

from agree.core.results.note import Note
from agree.core.thresholds import LEAST_FOLLOWED, LEAST_VARIED_SHARE
from agree.verdict.columns import Table
from agree.verdict.meanings import Reading, hold_back


class Followed(NamedTuple):
    """Correlation of the device with the reference over the used seconds; NaN where the reference hardly varies."""

    correlation: float

    @property
    def not_at_all(self) -> bool:
        """Whether the device does not move with the reference: then nothing is said of causes and corrections."""
        return self.correlation < LEAST_FOLLOWED

    def answers(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Leave the answers as they are, but for "holds"."""
        if not self.not_at_all:
            return readings
        why = Note(kind="because_not_followed")
        return hold_back(readings, why)

    def notes(self) -> tuple[Note, ...]:
        """Return that the device does not move with the reference."""
        return (Note(kind="used_not_followed", severity="answer", values={"correlation": self.correlation}),) * (
            self.not_at_all)


def followed(data: Table) -> Followed:
    """Return how well the device follows the reference."""
    x, y = data.reference - data.reference.mean(), data.device - data.device.mean()
    if float(x.std()) < LEAST_VARIED_SHARE * float(data.reference.mean()):
        return Followed(math.nan)
    size = math.sqrt(float(x @ x) * float(y @ y))
    return Followed(float(x @ y) / size if size > 0 else 0.0)
