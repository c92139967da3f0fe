"""Power of a climb from mass, grade, speed and losses, with the uncertainty that its coefficients leave."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields, replace

from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.result import Result
from agree.physics.gravity import STANDARD_GRAVITY
from agree.physics.stated import stated_estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Ride:
    """A steady climb; each value with its standard uncertainty (``u_...``).

    The uncertainties given by default are common practice, not measured: put in your own. Crr 0.003-0.006, drivetrain
    efficiency 0.96-0.985, and wheels' drag of 0.0044 m2 are those of Martin et al. (1998), from memory.

    Parameters
    ----------
    mass_kg : float
        Rider, bicycle, clothes and bottles.
    grade : float
        Rise over run, a fraction: 0.08 for 8 %.
    speed : float, m/s
    rolling : float
        Coefficient of rolling resistance.
    drag_area : float, m2
        Drag coefficient times area, wheels included.
    density : float, kg/m3
    head_wind : float, m/s
    efficiency : float
        Power at the wheel over power at the crank.
    bearings : tuple of float
        Loss in wheel bearings, v (a + b v), W.
    gravity : float, m/s2
    """

    mass_kg: float
    grade: float
    speed: float
    rolling: float = 0.005
    drag_area: float = 0.35
    density: float = 1.2
    head_wind: float = 0.0
    efficiency: float = 0.977
    bearings: tuple[float, float] = (0.091, 0.0087)
    gravity: float = STANDARD_GRAVITY
    u_mass_kg: float = 0.3
    u_grade: float = 0.0008
    u_speed: float = 0.01
    u_rolling: float = 0.0008
    u_drag_area: float = 0.03
    u_density: float = 0.01
    u_head_wind: float = 0.5
    u_efficiency: float = 0.007

    def __post_init__(self) -> None:
        for name, low, high in (("mass_kg", 30, 250), ("grade", -0.3, 0.3), ("speed", 0.5, 30), ("rolling", 0, 0.05),
                                ("drag_area", 0.05, 1.5), ("density", 0.6, 1.5), ("head_wind", -20, 20),
                                ("efficiency", 0.8, 1), ("gravity", 9.7, 9.9)):
            value = getattr(self, name)
            if not low <= value <= high:
                hint = "; write the grade as a fraction, 0.08 for 8 %" if name == "grade" else ""
                if name == "mass_kg" and low <= value / 1000 <= high:
                    hint = f"; in grams? {value:g} g are {value / 1000:g} kg"
                raise InputError(f"`{name}` must lie between {low} and {high}; got {value:g}{hint}", option=name)
        for name in (item.name for item in fields(self) if item.name.startswith("u_")):
            if not 0 <= getattr(self, name) < math.inf:
                raise InputError(f"`{name}` must be 0 or more; got {getattr(self, name):g}", option=name)

    def power(self) -> float:
        """Power at the crank, W (Martin et al. 1998, steady speed).

        Examples
        --------
        >>> from agree.physics.climb import Ride
        >>> round(Ride(mass_kg=80, grade=0.08, speed=4.5, density=1.1, rolling=0.005, drag_area=0.35).power(), 1)
        324.7
        """
        return math.fsum(self.parts().values())

    def parts(self) -> dict[str, float]:
        """What the power at the crank is spent on, W: "lift", "rolling", "air", "bearings", "drivetrain".

        Examples
        --------
        >>> from agree.physics.climb import Ride
        >>> {name: round(watts) for name, watts in Ride(mass_kg=80, grade=0.08, speed=4.5, density=1.1).parts().items()}
        {'lift': 282, 'rolling': 18, 'air': 18, 'bearings': 1, 'drivetrain': 7}
        """
        slope, v = math.atan(self.grade), self.speed
        weight, air = self.mass_kg * self.gravity, v + self.head_wind
        found = {"lift": weight * v * math.sin(slope), "rolling": weight * v * self.rolling * math.cos(slope),
                 "air": 0.5 * self.density * self.drag_area * air * abs(air) * v,
                 "bearings": v * (self.bearings[0] + self.bearings[1] * v)}
        return found | {"drivetrain": math.fsum(found.values()) * (1 / self.efficiency - 1)}


def power_can_be_judged(power_W: float, u_W: float) -> None:
    """Refuse a climb that asks for no power, and one of which everything is called exact.

    Raises
    ------
    InputError
        `power_W` of 0 or less, or `u_W` of 0.
    """
    if not power_W > 0:
        raise InputError(f"this climb asks for {power_W:.0f} W: no power of a rider can be judged where none is asked "
                         "for; give a steady climb, uphill or against the air", option="grade")
    if not u_W > 0:
        raise InputError("every standard uncertainty is 0: no climb is known exactly; state at least one that is not "
                         "0, such as that of the wind or the grade")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClimbPower(Result):
    """Power of a climb and what it can decide.

    Attributes
    ----------
    power_W : Estimate
    u_percent : float
        Standard uncertainty, per cent of the power.
    budget : tuple of (str, float)
        Share of each coefficient in the variance, the largest first.
    smallest_percent : float
        Least error of a device that one such climb shows, at the level: the half-width in per cent. A claim below it
        cannot be confirmed so.
    """

    power_W: Estimate
    u_percent: float
    budget: tuple[tuple[str, float], ...] = field(default=())
    smallest_percent: float = math.nan

    def can_confirm(self, claim_percent: float) -> bool:
        """Whether a device that reads exactly right could be shown to keep a claim in per cent."""
        return self.smallest_percent < claim_percent


def climb_power(ride: Ride, level: float = 0.95) -> ClimbPower:
    """Power of a climb with its uncertainty, each coefficient varied by its own.

    Parameters
    ----------
    ride : Ride
    level : float
        A fraction in (0, 1).

    Returns
    -------
    ClimbPower

    References
    ----------
    Martin JC, Milliken DL, Cobb JE, McFadden KL, Coggan AR (1998) Validation of a mathematical model for road cycling
    power. J Appl Biomech 14:276-291 (formula from memory). JCGM 100:2008, 5.1.2.

    Examples
    --------
    >>> from agree.physics.climb import Ride, climb_power
    >>> found = climb_power(Ride(mass_kg=80, grade=0.08, speed=4.5, density=1.1))
    >>> found.can_confirm(1.5), found.smallest_percent > 2
    (False, True)
    """
    power = ride.power()
    parts = {}
    for item in fields(ride):
        if item.name.startswith("u_"):
            name, u = item.name[2:], getattr(ride, item.name)
            ends = [replace(ride, **{name: getattr(ride, name) + sign * u}).power() for sign in (-1, 1)]
            parts[name] = abs(ends[1] - ends[0]) / 2
    u = math.hypot(*parts.values())
    power_can_be_judged(power, u)
    found = stated_estimate(power, u, level)
    return ClimbPower(
        power_W=found, u_percent=100 * u / power, smallest_percent=100 * (found.high - power) / power,
        budget=tuple(sorted(((name, (part / u) ** 2) for name, part in parts.items()), key=lambda item: -item[1])))


def two_gradients(mass_kg: float, speed: float, low_deg: float, high_deg: float, *, u_mass_kg: float = 0.3,
                  u_angle_deg: float = 0.05, gravity: float = STANDARD_GRAVITY, level: float = 0.95) -> Estimate:
    """Difference of power at the wheel between two gradients at one speed: m g v (sin b - sin a); drag cancels.

    Rolling resistance changes by 1 - cos alone; the drivetrain's loss does not cancel.

    Examples
    --------
    >>> from agree.physics.climb import two_gradients
    >>> round(two_gradients(80, 3.5, 1, 7).value, 1)
    286.7
    """
    if not low_deg < high_deg:
        raise InputError(f"`low_deg` must be below `high_deg`; got {low_deg:g} and {high_deg:g}", option="low_deg")
    low, high, u = math.radians(low_deg), math.radians(high_deg), math.radians(u_angle_deg)
    weight = mass_kg * gravity * speed
    value = weight * (math.sin(high) - math.sin(low))
    se = math.hypot(value * u_mass_kg / mass_kg, weight * u * math.hypot(math.cos(low), math.cos(high)))
    return stated_estimate(value, se, level)
