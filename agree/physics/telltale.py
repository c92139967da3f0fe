"""Scales of a tell-tale size: a unit, a side, a sign or a setting that explains them."""

from __future__ import annotations

from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note

# Scale that a slip brings -> its name. Units: exact factors of the units (kilogram-force: 9.80665 N; foot-pound:
# 1.3558179483 N m). A side that is not doubled reads half, one doubled twice reads double.
SLIPS = (
    (-1.0, "sign"), (0.5, "one side is not counted"), (2.0, "one side is counted twice"),
    (1 / 9.80665, "reading in kgf m"), (9.80665, "reading in N m, mass taken for a force in kgf"),
    (1 / 1.3558179483, "reading in lbf ft"), (100.0, "reading in N cm"), (1000.0, "reading in N mm"),
    (0.001, "reading in kN m, or mass in g"), (10.0 / 9.80665, "g taken as 10 m/s2"),
)
NEAR = 0.03  # share of a slip's size within which it explains a scale: devices err by less than 5 % (common practice)
NEAR_G = 0.001  # g taken as 10 differs from a plain scale of 1.02 only if the interval is narrow


def hints(scale: Estimate) -> tuple[Note, ...]:
    """Name the slips that explain a scale: those near its value, and for small ones inside a narrow interval."""
    found = []
    for size, name in SLIPS:
        far = abs(scale.value - size)
        narrow = scale.low <= size <= scale.high and scale.high - scale.low < 10 * NEAR_G and far < 2 * NEAR_G
        fits = narrow if abs(size - 1) < NEAR else far <= NEAR * abs(size)
        if fits:
            found.append(Note(kind="static_slip", severity="answer", values={"slip": name, "scale": size}))
    return tuple(found)
