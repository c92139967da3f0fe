"""Acceleration of free fall by latitude and height."""

from __future__ import annotations

import math

from agree.core.errors import InputError

STANDARD_GRAVITY = 9.80665  # m/s2, exact by definition (3rd CGPM 1901)
# WGS 84, NIMA TR8350.2 (3rd edition, 1997), tables 3.1 to 3.4, quoted from memory.
EQUATOR = 9.7803253359      # m/s2 on the ellipsoid
SOMIGLIANA = 0.00193185265241
ECCENTRICITY_SQUARED = 0.00669437999014
SEMI_MAJOR_M = 6_378_137.0
FLATTENING = 1 / 298.257223563
CENTRIFUGAL = 0.00344978650684  # ratio of centrifugal to gravitational acceleration at the equator
ANOMALY = 5e-4              # m/s2; local anomalies are of this size (50 mGal), more near mountains: 0.005 %


def local_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """Acceleration of free fall on the WGS 84 ellipsoid, corrected for height.

    Parameters
    ----------
    latitude_deg : float, degrees
        From -90 to 90.
    height_m : float, m
        Above the ellipsoid, from -500 to 9,000; height above the sea serves, the difference is below 0.003 %.

    Returns
    -------
    float
        In m/s2. Local anomalies of up to some 0.0005 m/s2 (0.005 %) are not in it.

    Raises
    ------
    InputError
        A latitude or height out of range.

    Notes
    -----
    Somigliana's closed form with the free-air series to second order in height (NIMA TR8350.2, equations 4-1 and 4-3,
    from memory).

    References
    ----------
    National Imagery and Mapping Agency (1997) TR8350.2, 3rd edition.

    Examples
    --------
    >>> from agree.physics.gravity import local_gravity
    >>> round(local_gravity(0), 5), round(local_gravity(45), 5), round(local_gravity(90), 5)
    (9.78033, 9.8062, 9.83218)
    >>> round(local_gravity(45, 1000) - local_gravity(45), 5)
    -0.00308
    """
    if not -90 <= latitude_deg <= 90:
        raise InputError(f"`latitude_deg` must lie between -90 and 90 degrees; got {latitude_deg}",
                         option="latitude_deg")
    if not -500 <= height_m <= 9_000:
        raise InputError(f"`height_m` must lie between -500 and 9000 m; got {height_m}", option="height_m")
    square = math.sin(math.radians(latitude_deg)) ** 2
    surface = EQUATOR * (1 + SOMIGLIANA * square) / math.sqrt(1 - ECCENTRICITY_SQUARED * square)
    first = 2 / SEMI_MAJOR_M * (1 + FLATTENING + CENTRIFUGAL - 2 * FLATTENING * square)
    return surface * (1 - first * height_m + 3 * height_m**2 / SEMI_MAJOR_M**2)
