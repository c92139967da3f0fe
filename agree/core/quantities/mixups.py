"""Units that were mixed up: two methods whose readings differ as two units of their dimension do."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from agree.core import thresholds
from agree.core.checks import FloatArray
from agree.core.quantities.units import KNOWN_UNITS, convert, unit_of

# Where no unit is known: pairs of units that are mixed up in practice, by their factor.
COMMON = (("cm", "m"), ("ms", "s"), ("km/h", "m/s"), ("lb", "kg"), ("in", "cm"), ("N", "kgf"), ("kJ", "kcal"))


class Mixup(NamedTuple):
    """One method's readings fit the other's if they are in `looks_like` rather than in `stated`.

    `role` is that method's, "reference" or "device"; "" where no unit is known, so that it may be either. `times` is
    the usual ratio of device to reference as they stand.
    """

    role: str
    stated: str
    looks_like: str
    times: float


def mixup(reference: FloatArray, device: FloatArray, unit: str) -> Mixup | None:
    """Return the likely mix-up of units, None if there is none.

    Readings that are taken to be in one unit are tried in every other unit of its dimension, the device's first. A
    mix-up is likely if the two methods differ by over a quarter as they stand (median over pairs), and by under 5 %
    with one in the other unit; of several the one that leaves least.

    Parameters
    ----------
    reference, device : (n,) array
        Pairs of readings in `unit`.
    unit : str
        What they are taken to be in; an unknown unit is tried against the usual mix-ups.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.core.quantities.mixups import mixup
    >>> plate = np.array([30.0, 35.0, 41.0])
    >>> mixup(plate, plate / 100, "cm")[:3]
    ('device', 'cm', 'm')
    >>> mixup(plate, 1.1 * plate, "cm") is None
    True
    """
    some = np.isfinite(reference) & np.isfinite(device) & (reference != 0)
    x, y = reference[some], device[some]
    if not x.size or _misfit(x, y) <= thresholds.MIXUP_APART:
        return None
    times = float(np.median(y / x))
    found: list[tuple[float, Mixup]] = []
    for role, own, other in _tried(unit):
        left = _misfit(convert(x, other, own), y) if role == "reference" else _misfit(x, convert(y, other, own))
        found.append((round(left, 9), Mixup(role, own, other, times)))
    found = [item for item in found if item[0] < thresholds.MIXUP_NEAR]
    return min(found, key=lambda item: item[0])[1] if found else None


def _misfit(x: FloatArray, y: FloatArray) -> float:
    with np.errstate(divide="ignore", invalid="ignore"):
        away = np.abs(y - x) / np.abs(x)
    return float(np.median(np.where(np.isfinite(away), away, np.inf)))


def _tried(unit: str) -> Iterator[tuple[str, str, str]]:
    """Role, what its readings are taken for, and what they may be in."""
    own = unit_of(unit)
    alike = [item.symbol for item in KNOWN_UNITS if item.dimension == own.dimension and item.symbol != own.symbol]
    if alike:
        yield from ((role, own.symbol, other) for role in ("device", "reference") for other in alike)
        return
    yield from (("", *pair) for one, two in COMMON for pair in ((one, two), (two, one)))


def mixup_text(found: Mixup, names: tuple[str, str]) -> str:
    """Return what was found and what to do, in the words of an error; `names` are those of reference and device."""
    said = f"readings of {names[1]} are {found.times:.3g} times those of {names[0]}"
    if found.role == "":
        return (f"{said}, as {found.looks_like} and {found.stated} differ: the units look mixed up; write the unit "
                "into each column's name, like 'height (cm)'")
    wrong = names[0 if found.role == "reference" else 1]
    return (f"{said}, as if {wrong} were in {found.looks_like}, not {found.stated}: the units look mixed up; write "
            f"the right unit into the column's name, like 'reading ({found.looks_like})'; if it is right, the device "
            "is far outside any claim")
