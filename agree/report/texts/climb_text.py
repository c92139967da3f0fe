"""A climb as text: what it asks for, what the device read, and what it cannot confirm."""

from __future__ import annotations

import textwrap

from agree.core.interval.estimate import Estimate
from agree.core.results.words import number, summary
from agree.physics.climb_check import ClimbCheck

WIDTH, LABEL = 80, 14
SOURCES = {"mass_kg": "mass", "grade": "grade", "speed": "speed", "rolling": "rolling resistance",
           "drag_area": "drag area", "density": "density of the air", "head_wind": "wind",
           "efficiency": "loss of the drivetrain"}


def _span(item: Estimate, unit: str, sign: bool = False) -> str:
    value, low, high = (number(x, item.low, item.high, sign=sign) for x in (item.value, item.low, item.high))
    return f"{value} ({low} to {high}) {unit}"


def _row(label: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=f"{label:<{LABEL}}", subsequent_indent=" " * LABEL)


def _headline(result: ClimbCheck) -> str:
    what = "this climb" if len(result.climbs) == 1 else "the difference of two climbs"
    known = f"{what} is known to ±{result.smallest_percent:.2g} %"
    if result.claim is None:
        return f"CLIMB  {known}; no claim was given"
    if result.verdict in ("holds", "does not hold"):
        return f"{result.verdict.upper()}  claim {result.claim.text}: {known}"
    if not result.can_confirm:
        return f"CANNOT CONFIRM {result.claim.text}: {known}"
    return f"{'NOT SETTLED' if result.verdict else 'CAN CONFIRM'}  claim {result.claim.text}: {known}"


@summary.register
def _(result: ClimbCheck) -> str:
    lines = textwrap.wrap(_headline(result), WIDTH)
    climbs = "; ".join(f"{100 * item.grade:.3g} % at {item.speed:.3g} m/s" for item in result.climbs)
    first = result.climbs[0]
    lines += _row("Climb", f"{climbs}, {first.mass_kg:g} kg, rolling {first.rolling:g}, drag area "
                           f"{first.drag_area:.3g} m2, air {first.density:g} kg/m3, wind {first.head_wind:g} m/s, "
                           f"efficiency {first.efficiency:g}.")
    lines += _row("Asks for", f"{_span(result.power_W, 'W')} at the crank"
                              + (" from the one to the other." if len(result.climbs) == 2 else "."))
    if result.error_percent is not None:
        shown = " and ".join(f"{reading:g}" for reading in result.readings_W)
        lines += _row("Device", f"read {shown} W: {_span(result.error_percent, '%', sign=True)}.")
    shares = "; ".join(f"{SOURCES[name]} {100 * share:.0f} %" for name, share in result.budget[:4])
    lines += _row("Main doubt", f"{shares} of the variance.")
    if result.can_confirm is False:
        better = "" if len(result.climbs) == 2 else ("the difference of two gradients at one speed is free of drag and "
                                                     "rolling; ")
        lines += _row("Instead", f"a climb shows errors of {result.smallest_percent:.2g} % or more. To confirm less, "
                                 f"{better}use a trusted device (agree check) or hung masses (agree static).")
    lines += _row("Caution", "a gust of 1 m/s on a slow climb is worth 2 to 3 %. A device at the hub is behind the "
                             "drivetrain: give it an efficiency of 1.")
    return "\n".join(lines)
