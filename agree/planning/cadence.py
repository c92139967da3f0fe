"""Equal power at two or three cadences: tells an offset in W from one in N m, with the chance that it does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from agree.core import checks
from agree.core.errors import InputError
from agree.core.interval.engine import t_quantile
from agree.core.results.result import Result

MOST_REPEATS = 8          # blocks of each cadence in a session: more take hours
WANTED = 0.8              # chance from which a protocol is advised, as plans of sessions have it
LOWEST_RPM, HIGHEST_RPM = 40.0, 130.0
LEAST_RATIO = 1.2         # of the highest cadence over the lowest: below, W and N m look alike
WATT_PER_NM_RPM = 2 * math.pi / 60


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CadenceProtocol(Result):
    """Blocks of equal power at two or three cadences.

    Attributes
    ----------
    cadences_rpm : tuple of float
    power_W, minutes : float
        Of every block.
    repeats : int
        Blocks of each cadence.
    order_rpm : tuple of float
        Cadence of each block: there and back, so that a drift cancels.
    offset_W : float
        The offset to be told, at the middle cadence.
    offset_Nm : float
        The same as a torque.
    change_W : float
        By how much its error in W changes from the lowest to the highest cadence if it is one of torque; else by 0.
    se_W : float
        Standard error of that change.
    chance : float
        That the change's interval leaves out the wrong one of the two.
    told_W : float
        The least offset that these blocks tell with a chance of 80 %, W at the middle cadence.
    """

    cadences_rpm: tuple[float, ...]
    power_W: float
    minutes: float
    repeats: int
    order_rpm: tuple[float, ...]
    offset_W: float
    offset_Nm: float
    change_W: float
    se_W: float
    chance: float
    told_W: float


def cadence_protocol(
    offset_W: float, *, long_run_W: float, cadences_rpm: Sequence[float] = (60.0, 100.0), power_W: float = 100.0,
    minutes: float = 4.0, level: float = 0.95,
) -> CadenceProtocol:
    """Plan blocks of equal power at two or three cadences that tell an offset in W from one in N m.

    Parameters
    ----------
    offset_W : float, W
        The offset to be told, at the middle cadence.
    long_run_W : float, W root(s)
        SD of the mean error over t seconds, times root t.
    cadences_rpm : sequence of float, rev/min
        Two or three, from 40 to 130, the highest at least 1.2 times the lowest.
    power_W : float, W
        Low power: there an offset is large beside errors in per cent.
    minutes : float, min
        Of a block.
    level : float
        A fraction in (0, 1).

    Returns
    -------
    CadenceProtocol
        With the fewest blocks whose chance is 80 % or more, or 8 of each cadence.

    Raises
    ------
    InputError
        Cadences, minutes or an offset that cannot be ridden or told.

    Notes
    -----
    At one power an offset in W is the same at every cadence, and one in N m grows in proportion to it: by
    offset (highest - lowest) / middle. A wrong scale is the same at every cadence, as an offset in W is. Means of
    blocks are fitted by a line on cadence, t with blocks - 2 degrees of freedom; the chance is of the noncentral t.

    Examples
    --------
    >>> from agree.planning.cadence import cadence_protocol
    >>> made = cadence_protocol(5.0, long_run_W=20.0)
    >>> made.repeats, made.order_rpm[:4], made.chance > 0.8, round(made.offset_Nm, 2)
    (6, (60.0, 100.0, 100.0, 60.0), True, 0.6)
    """
    cadences = tuple(sorted(float(item) for item in cadences_rpm))
    if len(set(cadences)) not in (2, 3) or len(set(cadences)) != len(cadences) or not (
            cadences[0] >= LOWEST_RPM and cadences[-1] <= HIGHEST_RPM):
        raise InputError(f"`cadences_rpm` must hold two or three different cadences from {LOWEST_RPM:g} to "
                         f"{HIGHEST_RPM:g} rpm; got {', '.join(f'{item:g}' for item in cadences) or 'none'}",
                         option="cadences_rpm")
    if cadences[-1] < LEAST_RATIO * cadences[0]:
        raise InputError(f"`cadences_rpm` must differ by a fifth or more to tell W from N m; got {cadences[0]:g} to "
                         f"{cadences[-1]:g} rpm", option="cadences_rpm")
    for name, value in (("offset_W", offset_W), ("long_run_W", long_run_W), ("power_W", power_W), ("minutes", minutes)):
        checks.positive(value, name)
    checks.fraction(level, "level")
    middle = (cadences[0] + cadences[-1]) / 2
    change = offset_W * (cadences[-1] - cadences[0]) / middle
    block = long_run_W / math.sqrt(60 * minutes)
    for repeats in range(2, MOST_REPEATS + 1):
        se = _standard_error(cadences, repeats, block)
        df = len(cadences) * repeats - 2
        chance = _chance(change / se, df, level)
        if chance >= WANTED:
            break
    order = [*cadences, *cadences[::-1]] * (repeats // 2) + list(cadences) * (repeats % 2)
    return CadenceProtocol(
        cadences_rpm=cadences, power_W=float(power_W), minutes=float(minutes), repeats=repeats, order_rpm=tuple(order),
        offset_W=float(offset_W), offset_Nm=offset_W / (WATT_PER_NM_RPM * middle), change_W=change, se_W=se,
        chance=chance, told_W=offset_W * _told(df, level) * se / change)


def _standard_error(cadences: Sequence[float], repeats: int, block: float) -> float:
    """Of the fitted change from the lowest to the highest cadence, with blocks of this standard error."""
    spread = float(((np.array(cadences) - np.mean(cadences)) ** 2).sum())
    return block * (cadences[-1] - cadences[0]) / math.sqrt(repeats * spread)


def _chance(ratio: float, df: int, level: float) -> float:
    """Chance that a change of so many standard errors is told from none: noncentral t."""
    return 1 - float(special.nctdtr(df, ratio, t_quantile(level, df)))


def _told(df: int, level: float) -> float:
    """Change in standard errors that is told with a chance of 80 %."""
    low, high = 0.0, 100.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _chance(middle, df, level) < WANTED else (low, middle)
    return high
