"""Torque of a mass hung from a crank, and what each uncertain part of it brings."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.physics.gravity import STANDARD_GRAVITY

_LENGTH = re.compile(r"(\d+\.?\d*|\.\d+)\s*(mm|cm|m|in|)", re.IGNORECASE)
LONGEST_CRANK_MM, SHORTEST_CRANK_MM = 220.0, 80.0
HEAVIEST_KG = 60.0   # heavier masses hung near people are refused: they are dangerous and prove no more


@dataclass(frozen=True, slots=True, kw_only=True)
class HungMass:
    """What is known of how the masses hang, with standard uncertainties.

    Parameters
    ----------
    crank_length_mm : float, mm
        From the axle to where the mass hangs, between 80 and 220.
    gravity : float, m/s2
        Local acceleration of free fall.
    u_length_mm, u_gravity, u_mass_kg, u_mass_percent, u_angle_deg : float
        Standard uncertainties: of the length, of gravity, of each mass by itself, of all masses together (of the scale
        that weighed them), and of the angle of each hang.

    Raises
    ------
    InputError
        A length or gravity out of range: a length in m or cm, most often.

    Examples
    --------
    >>> from agree.physics.torque import HungMass
    >>> hang = HungMass(crank_length_mm=172.5)
    >>> round(float(hang.torque(20.0)), 2)
    33.83
    """

    crank_length_mm: float
    gravity: float = STANDARD_GRAVITY
    u_length_mm: float = 0.25
    u_gravity: float = 0.003
    u_mass_kg: float = 0.005
    u_mass_percent: float = 0.05
    u_angle_deg: float = 1.0

    def __post_init__(self) -> None:
        length = self.crank_length_mm
        if not SHORTEST_CRANK_MM <= length <= LONGEST_CRANK_MM:
            hint = next((f"; did you mean {length * factor:g} mm?" for factor in (10.0, 1000.0, 25.4)
                         if SHORTEST_CRANK_MM <= length * factor <= LONGEST_CRANK_MM), "")
            raise InputError(f"`crank_length_mm` must lie between {SHORTEST_CRANK_MM:g} and {LONGEST_CRANK_MM:g} mm; "
                             f"got {length:g}{hint}", option="crank_length_mm")
        if not 9.7 <= self.gravity <= 9.9:
            raise InputError(f"`gravity` must lie between 9.7 and 9.9 m/s2; got {self.gravity:g}", option="gravity")
        for name in ("u_length_mm", "u_gravity", "u_mass_kg", "u_mass_percent", "u_angle_deg"):
            if not 0 <= getattr(self, name) < math.inf:
                raise InputError(f"`{name}` must be 0 or more; got {getattr(self, name)}", option=name)

    def torque(self, mass_kg: FloatArray | float, angle_deg: FloatArray | float = 0.0) -> FloatArray:
        """Torque in N m of masses hung at angles from the horizontal: m g L cos(angle)."""
        lever = self.gravity * self.crank_length_mm / 1000
        result: FloatArray = np.asarray(mass_kg, dtype=float) * lever * np.cos(np.radians(angle_deg))
        return result

    def common_percent(self) -> dict[str, float]:
        """Standard uncertainties that all hangs share, in per cent of the torque, by name."""
        return {"length": 100 * self.u_length_mm / self.crank_length_mm, "gravity": 100 * self.u_gravity / self.gravity,
                "masses": self.u_mass_percent}

    def own_u(self, mass_kg: FloatArray, angle_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Standard uncertainties in N m of each hang's torque: from its mass, and from its angle.

        The angle enters by m g L (sin(angle) u + cos(angle) u^2 / sqrt 2): around the horizontal the second order is
        all there is (JCGM 100:2008, note to 5.1.2, normal errors).
        """
        lever = self.gravity * self.crank_length_mm / 1000
        angle, u = np.radians(angle_deg), math.radians(self.u_angle_deg)
        of_angle = mass_kg * lever * np.hypot(np.sin(angle) * u, np.cos(angle) * u**2 / math.sqrt(2))
        return lever * np.cos(angle) * self.u_mass_kg, of_angle

    def mean_loss(self) -> float:
        """Share of the torque that is lost on average since the crank is never quite at the angle: u^2 / 2."""
        return math.radians(self.u_angle_deg) ** 2 / 2


def length_mm(text: str | float) -> float:
    """Read a crank length: "172.5 mm", "17.25 cm", "0.1725 m", or a plain number of mm.

    Raises
    ------
    InputError
        Anything else.

    Examples
    --------
    >>> from agree.physics.torque import length_mm
    >>> length_mm("17.25 cm"), length_mm(170)
    (172.5, 170.0)
    """
    found = _LENGTH.fullmatch(str(text).strip().replace(",", "."))
    if found is None:
        raise InputError(f"crank length {text!r} is not understood; write it like '172.5 mm'")
    return round(float(found[1]) * {"mm": 1.0, "": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}[found[2].lower()], 6)
