"""Calibration with a hung mass, both ways: what a wrong mass brings, and which mass would have brought no error."""

from __future__ import annotations

import math
from dataclasses import dataclass

from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.physics.gravity import STANDARD_GRAVITY
from agree.physics.stated import stated_estimate

WATER_KG_PER_L = 0.9982   # at 20 degrees C; CRC Handbook, from memory; 0.9970 at 25 degrees C


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MassError(Result):
    """What a device reads after a calibration in which another mass hung than was stated.

    Attributes
    ----------
    scale_error_percent : Estimate
        100 (stated / hung - 1), with local gravity over the gravity assumed: positive if less hung than was stated.
    hung_kg : float
        Everything that hung: the mass and what was not counted.
    stated_kg : float
    """

    scale_error_percent: Estimate
    hung_kg: float
    stated_kg: float


def wrong_mass(
    stated_kg: float, *, hung_kg: float | None = None, uncounted_kg: float = 0.0, u_kg: float = 0.0,
    gravity: float = STANDARD_GRAVITY, assumed_gravity: float = STANDARD_GRAVITY, u_gravity: float = 0.0,
    level: float = 0.95,
) -> MassError:
    """Scale error that a wrong, uncounted or misjudged calibration mass brings.

    Parameters
    ----------
    stated_kg : float, kg
        The mass the device was told of.
    hung_kg : float, kg, optional
        What the mass weighs in truth; `stated_kg` if not given.
    uncounted_kg : float, kg
        Hook, strap, bottle and whatever else hung and was not stated.
    u_kg, u_gravity : float
        Standard uncertainties of all that hung, kg, and of gravity, m/s2.
    gravity, assumed_gravity : float, m/s2
        Local, and that which the device reckons with.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    MassError

    Raises
    ------
    InputError
        A mass of 0 or less.

    Notes
    -----
    A calibration sets the device's scale so that the torque under the hung mass reads as that of the stated one:
    readings are too high by stated / hung. This says nothing about where on the crank it hung. A maker's procedure
    comes first; entering a factor changes less than calibrating anew. Masses near people are dangerous: hang no more
    than the procedure needs.

    Examples
    --------
    >>> from agree.physics.calibration_mass import wrong_mass
    >>> print(wrong_mass(20.0, uncounted_kg=0.2, u_kg=0.02).scale_error_percent)
    -0.99 [-1.18, -0.80]
    """
    hung = (stated_kg if hung_kg is None else hung_kg) + uncounted_kg
    if not stated_kg > 0 or not hung > 0:
        raise InputError(f"`stated_kg` and what hung must be above 0 kg; got {stated_kg:g} and {hung:g}",
                         option="stated_kg")
    ratio = stated_kg * assumed_gravity / (hung * gravity)
    u = ratio * math.hypot(u_kg / hung, u_gravity / gravity)
    error = stated_estimate(100 * (ratio - 1), 100 * u, level)
    return MassError(scale_error_percent=error, hung_kg=hung, stated_kg=stated_kg)


def mass_for_no_error(stated_kg: float, scale_error_percent: Estimate) -> Estimate:
    """Mass that should have hung, with `stated_kg` stated, for the device to read right.

    Parameters
    ----------
    stated_kg : float, kg
        What the device was told of when it was calibrated, with just this mass hung.
    scale_error_percent : Estimate
        Its error since, of a check against a trusted device or a static check; its interval is passed on.

    Returns
    -------
    Estimate
        In kg: stated (1 + error / 100). A device that reads 1 % high asks for 1 % more mass.

    Raises
    ------
    InputError
        A mass of 0 or less.

    Notes
    -----
    If the device was calibrated right and reads wrong, something else is wrong, and a wrong mass only hides it: this
    figure shows how large the error is in kilograms, so that a forgotten hook can be told from a fault.

    Examples
    --------
    >>> from agree import Estimate
    >>> from agree.physics.calibration_mass import mass_for_no_error
    >>> error = Estimate(value=1.0, low=0.5, high=1.5, level=0.95, method="t", standard_error=0.25, df=8)
    >>> print(mass_for_no_error(20.0, error))
    20.200 [20.100, 20.300]
    """
    if not stated_kg > 0:
        raise InputError(f"`stated_kg` must be above 0 kg; got {stated_kg:g}", option="stated_kg")
    item = scale_error_percent
    value, low, high = (stated_kg * (1 + x / 100) for x in (item.value, item.low, item.high))
    return Estimate(value=value, low=low, high=high, level=item.level, method=item.method,
                    standard_error=stated_kg * item.standard_error / 100, df=item.df)


def mass_of_water(litres: float, *, u_litres: float = 0.0, kg_per_l: float = WATER_KG_PER_L, u_density: float = 0.002,
                  level: float = 0.95) -> Estimate:
    """Mass of a liquid measured by its volume, in kg; its vessel is not in it.

    Examples
    --------
    >>> from agree.physics.calibration_mass import mass_of_water
    >>> print(mass_of_water(10, u_litres=0.1))
    9.98 [9.78, 10.18]
    """
    if not litres > 0:
        raise InputError(f"`litres` must be above 0; got {litres:g}", option="litres")
    value = litres * kg_per_l
    return stated_estimate(value, value * math.hypot(u_litres / litres, u_density / kg_per_l), level)

