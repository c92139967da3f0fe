"""Refuse tables that compare a method with itself, or methods in units that were mixed up."""

from __future__ import annotations

import numpy as np

from agree.core import thresholds
from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.core.quantities.mixups import mixup, mixup_text
from agree.core.quantity import Quantity
from agree.files.table import shown

LEAST_WHOLE = 8  # distinct whole numbers that two methods may agree in by chance: counts often do
LEAST_BROKEN = 3  # the same for readings with decimals


def refuse_same(reference: FloatArray, device: FloatArray, names: tuple[str, str]) -> None:
    """Refuse a method that is compared with itself: all readings equal, in any unit.

    Raises
    ------
    InputError
        Naming both columns, or files.
    """
    if reference.size != device.size or not np.allclose(reference, device, rtol=1e-9, atol=0.0):
        return
    distinct = np.unique(reference)
    whole = bool((distinct == np.round(distinct)).all())
    if distinct.size >= (LEAST_WHOLE if whole else LEAST_BROKEN):
        raise InputError(f"{names[0]} and {names[1]} hold the same readings in all {reference.size} trials: a method "
                         "was compared with itself; name the device's own readings with `device_column`")


def refuse_mixup(reference: FloatArray, device: FloatArray, quantity: Quantity, columns: tuple[str, str]) -> None:
    """Refuse pairs of readings whose ratio is that of two units.

    Raises
    ------
    InputError
        Naming the column and the unit that its readings seem to be in.
    """
    found = mixup(reference, device, quantity.computed_in)
    if found is not None:
        raise InputError(mixup_text(found, (shown(columns[0]), shown(columns[1]))))


def refuse_large_limit(reference: FloatArray, limit: float | None, quantity: Quantity) -> None:
    """Refuse a limit beside which the readings are small, where the unit was taken from the claim.

    Raises
    ------
    InputError
        With the usual reading and the limit.
    """
    usual = float(np.median(np.abs(reference)))
    if limit is None or quantity.scale != "ratio" or (reference < 0).any():
        return
    if limit > thresholds.TRIALS_LIMIT_OF_READINGS * usual:
        raise InputError(f"`claim` allows {limit:g} {quantity.unit}, and the usual reading is {usual:.3g}: no column "
                         f"names a unit, and readings so small are hardly in {quantity.unit}; state the readings' unit "
                         "with `unit`", option="claim")
