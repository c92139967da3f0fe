"""A device's power on a climb against the power that mass, grade, speed and losses ask for."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

from agree.core import checks
from agree.core.errors import InputError
from agree.core.interval.engine import t_quantile
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.physics.climb import Ride, power_can_be_judged
from agree.physics.stated import stated_estimate
from agree.verdict.claim import Claim
from agree.verdict.rule import OPEN, three_way

EACH = ("grade", "speed")  # known for each climb by itself; all else is the same error in both
WIDEST_SLIP = 10.0         # per cent: a climb that is known worse tells no half from a device that is 40 % low
# Scale that a slip brings -> its name: a kilowatt, a metric and a mechanical horsepower (735.49875 and 745.69987 W).
SLIPS = ((0.5, "one side is not counted"), (2.0, "one side is counted twice"), (0.001, "reading in kW"),
         (1 / 735.49875, "reading in PS"), (1 / 745.69987, "reading in hp"))
LEAST_RATIO = 1.5          # of the steeper power over the other, below which a difference says nothing


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClimbCheck(Result):
    """What a climb, or the difference of two, says of a device.

    Attributes
    ----------
    verdict : str
        "holds", "does not hold" or "not settled"; "" without a claim or a reading.
    power_W : Estimate
        Power that the climb asks for, or the difference of two.
    error_percent : Estimate or None
        Of the device's reading; of two climbs, of the difference of its readings: a zero offset drops out.
    smallest_percent : float
        Half-width of what is known, per cent of the power.
    can_confirm : bool or None
        Whether a device without error could be shown to hold the claim; None without a claim.
    budget : tuple of (str, float)
        Share of each source in the variance, the largest first.
    hints : tuple of Note
        A unit or a side of tell-tale size that would explain the error; the answer stays open then.
    climbs : tuple of Ride
        One or two.
    readings_W : tuple of float
        The device's mean power on them.
    claim : Claim or None
    """

    verdict: str
    power_W: Estimate
    error_percent: Estimate | None
    smallest_percent: float
    can_confirm: bool | None
    budget: tuple[tuple[str, float], ...]
    climbs: tuple[Ride, ...]
    readings_W: tuple[float, ...]
    claim: Claim | None
    hints: tuple[Note, ...] = ()


def climb_check(
    *climbs: Ride, readings_W: tuple[float, ...] = (), claim: str | Claim | None = None, level: float = 0.95
) -> ClimbCheck:
    """Judge a device's power on one climb, or the difference of its power on two, against physics.

    Parameters
    ----------
    *climbs : Ride
        One steady climb, or two of one rider and bicycle: on the steeper one minus on the other, air and rolling drop
        out if the speeds are alike.
    readings_W : tuple of float, W, optional
        The device's mean power on each climb.
    claim : str or Claim, optional
        In per cent, such as "1.5%".
    level : float
        A fraction in (0, 1).

    Returns
    -------
    ClimbCheck
        An answer "holds" is possible only if `can_confirm`.

    Raises
    ------
    InputError
        No climb or more than two, other numbers of readings, two climbs of other coefficients or of like power, or a
        claim in W.

    See Also
    --------
    agree.physics.climb.Ride : the coefficients, their ranges and uncertainties.

    Notes
    -----
    Each coefficient is varied by its standard uncertainty, in both climbs at once where it is one and the same (mass,
    rolling resistance, drag, density, wind, efficiency), in each by itself for grade and speed (JCGM 100:2008, 5.1.2).
    The loss of the drivetrain does not drop out of a difference.

    References
    ----------
    Martin JC, Milliken DL, Cobb JE, McFadden KL, Coggan AR (1998) J Appl Biomech 14:276-291 (formula from memory).

    Examples
    --------
    >>> from agree.physics.climb import Ride
    >>> from agree.physics.climb_check import climb_check
    >>> found = climb_check(Ride(mass_kg=80, grade=0.08, speed=4.5, density=1.1), readings_W=(320.0,), claim="1.5%")
    >>> round(found.power_W.value, 1), found.verdict, found.can_confirm
    (324.7, 'not settled', False)
    """
    checks.fraction(level, "level")
    if len(climbs) not in (1, 2):
        raise InputError(f"one climb or two are needed; got {len(climbs)}")
    if len(readings_W) not in (0, len(climbs)):
        raise InputError(f"`readings_W` must hold one reading for each climb; got {len(readings_W)} for {len(climbs)}")
    if any(not 0 < reading < 3000 for reading in readings_W):
        raise InputError(f"`readings_W` must lie between 0 and 3000 W; got {', '.join(f'{x:g}' for x in readings_W)}",
                         option="readings_W")
    if len(readings_W) == 2 and readings_W[0] >= readings_W[1]:
        raise InputError(f"`readings_W` must be in the order of the climbs, the steeper one last; got "
                         f"{readings_W[0]:g} and {readings_W[1]:g} W", option="readings_W")
    limit = _limit(claim)
    _same_but_grade(climbs)
    power, parts = _power(climbs)
    u = math.hypot(*parts.values())
    for asked in (power, *(climb.power() for climb in climbs)):
        power_can_be_judged(asked, u)
    found = stated_estimate(power, u, level)
    smallest = 100 * t_quantile(level, math.inf) * u / abs(power)
    error = None
    if readings_W:
        shown = readings_W[0] if len(climbs) == 1 else readings_W[1] - readings_W[0]
        error = _error(shown, found)
    limit_percent = math.nan if limit is None else float(limit.percent or 0)
    verdict = "" if error is None or limit is None else three_way(error.low, error.high, limit_percent)
    slips = _slips(error, smallest)
    budget = sorted(((name, (part / u) ** 2) for name, part in parts.items()), key=lambda item: -item[1])
    return ClimbCheck(verdict=OPEN if slips and verdict else verdict, hints=slips,
                      power_W=found, error_percent=error, smallest_percent=smallest,
                      can_confirm=None if limit is None else smallest < limit_percent, budget=tuple(budget),
                      climbs=climbs, readings_W=tuple(map(float, readings_W)), claim=limit)


def _slips(error: Estimate | None, smallest_percent: float) -> tuple[Note, ...]:
    """Name a unit or a side whose size the error's interval holds, where the climb is known well enough to tell."""
    if error is None or smallest_percent > WIDEST_SLIP:
        return ()
    return tuple(Note(kind="climb_slip", severity="answer", values={"slip": name, "scale": size})
                 for size, name in SLIPS if error.low <= 100 * (size - 1) <= error.high)


def _limit(claim: str | Claim | None) -> Claim | None:
    made = Claim.parse(claim) if isinstance(claim, str) else claim
    if made is not None and not made.percent:
        raise InputError(f"claim {made.text!r}: a climb is judged in per cent; write the claim like 1.5%")
    return made


def _same_but_grade(climbs: tuple[Ride, ...]) -> None:
    if len(climbs) == 1:
        return
    other = [item.name for item in fields(Ride) if item.name not in EACH
             and getattr(climbs[0], item.name) != getattr(climbs[1], item.name)]
    if other:
        raise InputError(f"two climbs are of one rider and bicycle: they must differ in grade and speed alone; got "
                         f"other {', '.join(other)}")
    low, high = (climb.power() for climb in climbs)
    if not high > LEAST_RATIO * low:
        raise InputError(f"the second climb must ask for at least {LEAST_RATIO:g} times the power of the first; got "
                         f"{low:.0f} and {high:.0f} W: give the steeper one last")


def _total(climbs: tuple[Ride, ...]) -> float:
    return climbs[0].power() if len(climbs) == 1 else climbs[1].power() - climbs[0].power()


def _power(climbs: tuple[Ride, ...]) -> tuple[float, dict[str, float]]:
    """Return the power, or the difference, and what each coefficient's standard uncertainty makes of it, W."""
    parts = {}
    for name in (item.name[2:] for item in fields(Ride) if item.name.startswith("u_")):
        chosen = [tuple(range(len(climbs)))] if name not in EACH else [(k,) for k in range(len(climbs))]
        moved = []
        for which in chosen:
            ends = [_total(tuple(_moved(climb, name, sign) if k in which else climb for k, climb in enumerate(climbs)))
                    for sign in _signs(climbs[0], name)]
            moved.append(abs(ends[1] - ends[0]) / 2 if len(ends) == 2 else abs(ends[0] - _total(climbs)))
        parts[name] = math.hypot(*moved)
    return _total(climbs), parts


def _signs(climb: Ride, name: str) -> tuple[int, ...]:
    """Ways in which a coefficient can go: rolling resistance does not go below 0, nor efficiency above 1."""
    at, u = getattr(climb, name), getattr(climb, f"u_{name}")
    return tuple(sign for sign in (-1, 1) if (name != "rolling" or at + sign * u >= 0)
                 and (name != "efficiency" or at + sign * u <= 1))


def _moved(climb: Ride, name: str, sign: int) -> Ride:
    return replace(climb, **{name: getattr(climb, name) + sign * getattr(climb, f"u_{name}")})


def _error(shown: float, power: Estimate) -> Estimate:
    """Error of a reading in per cent; the power's limits turned round."""
    low, high = (100 * (shown / limit - 1) if limit > 0 else math.inf for limit in (power.high, power.low))
    return Estimate(value=100 * (shown / power.value - 1), low=low, high=high, level=power.level, method=power.method)


def drag_area_from_coasting(ride: Ride, *, grade_down: float, speed: float, u_grade: float = 0.0008,
                            u_speed: float = 0.1, level: float = 0.95) -> Estimate:
    """Drag area from a steady coast downhill: weight drives, air, rolling and bearings brake.

    Parameters
    ----------
    ride : Ride
        Mass, rolling resistance, density, wind and bearings, with their uncertainties.
    grade_down : float
        How steep it goes down, a fraction: 0.05 for 5 %.
    speed : float, m/s
        The speed that stays the same without pedalling.
    u_grade, u_speed : float
        Their standard uncertainties.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    Estimate
        In m2, for `Ride.drag_area` and `u_drag_area`, in the same position on the bicycle.

    Raises
    ------
    InputError
        A grade at which rolling alone would hold the bicycle, or a speed below the wind.

    Examples
    --------
    >>> from agree.physics.climb import Ride
    >>> from agree.physics.climb_check import drag_area_from_coasting
    >>> ride = Ride(mass_kg=80, grade=0.08, speed=4.5)
    >>> round(drag_area_from_coasting(ride, grade_down=0.05, speed=12.9).value, 2)
    0.35
    """
    if not 0.005 <= grade_down <= 0.3 or not 3 <= speed <= 30:
        raise InputError(f"`grade_down` must lie between 0.005 and 0.3 and `speed` between 3 and 30 m/s; got "
                         f"{grade_down:g} and {speed:g}; write the grade as a fraction, 0.05 for 5 %",
                         option="grade_down")
    value = _drag_area(ride, grade_down, speed)
    moved = [_drag_area(_moved(ride, name, 1), grade_down, speed) - value
             for name in ("mass_kg", "rolling", "density", "head_wind")]
    moved.append(_drag_area(ride, grade_down + u_grade, speed) - value)
    moved.append(_drag_area(ride, grade_down, speed + u_speed) - value)
    return stated_estimate(value, math.hypot(*moved), level)


def _drag_area(ride: Ride, grade_down: float, speed: float) -> float:
    slope, air = math.atan(grade_down), speed + ride.head_wind
    drive = ride.mass_kg * ride.gravity * (math.sin(slope) - ride.rolling * math.cos(slope))
    left = drive - (ride.bearings[0] + ride.bearings[1] * speed)
    if left <= 0 or air <= 0:
        raise InputError("nothing is left for the air: rolling resistance alone holds the bicycle on this grade, or "
                         "the wind comes from behind faster than the bicycle; check grade, wind and `rolling`")
    return left / (0.5 * ride.density * air * air)
