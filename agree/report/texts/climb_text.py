"""A climb as text: what it asks for, what the device read, and what it cannot confirm."""

from __future__ import annotations

import math

from agree.core.results.words import summary
from agree.physics.climb_check import ClimbCheck
from agree.report.plain_text.answer_rows import WIDTH, Row, set_rows
from agree.report.story.language.digits import interval_text, plain_interval
from agree.verdict.rule import FAILS, HOLDS

SOURCES = {"mass_kg": "mass", "grade": "grade", "speed": "speed", "rolling": "rolling resistance",
           "drag_area": "drag area", "density": "density of the air", "head_wind": "wind",
           "efficiency": "loss of the drivetrain"}
MOST_SOURCES = 4
CAUTION = ("a gust of 1 m/s on a slow climb is worth 2 to 3 %. A device at the hub is behind the drivetrain: give it "
           "an efficiency of 1.")


def headline(result: ClimbCheck) -> str:
    """What the climb can say, with the answer first."""
    what = "this climb" if len(result.climbs) == 1 else "the difference of two climbs"
    known = f"{what} is known to ±{result.smallest_percent:.2g} %"
    if result.claim is None:
        return f"CLIMB  {known}; no claim was given"
    if result.verdict in (HOLDS, FAILS):
        return f"{result.verdict.upper()}  claim {result.claim.text}: {known}"
    if not result.can_confirm:
        return f"CANNOT CONFIRM {result.claim.text}: {known}"
    return f"{'NOT SETTLED' if result.verdict else 'CAN CONFIRM'}  claim {result.claim.text}: {known}"


def error_text(result: ClimbCheck) -> str:
    """The device's error, with digits that show on which side of the claim its ends lie; "" without a reading."""
    limit = math.nan if result.claim is None else float(result.claim.percent or math.nan)
    return "" if result.error_percent is None else interval_text(result.error_percent, "%", limit)


def shares(result: ClimbCheck) -> list[tuple[str, float]]:
    """What the doubt comes from, by the words of a rider."""
    return [(SOURCES[name], share) for name, share in result.budget]


def rows_of(result: ClimbCheck) -> list[Row]:
    """Every row below the answer, for the terminal and for the page."""
    climbs = "; ".join(f"{100 * item.grade:.3g} % at {item.speed:.3g} m/s" for item in result.climbs)
    first = result.climbs[0]
    rows = [Row("Climb", f"{climbs}, {first.mass_kg:g} kg, rolling {first.rolling:g}, drag area {first.drag_area:.3g} "
                         f"m2, air {first.density:g} kg/m3, wind {first.head_wind:g} m/s, efficiency "
                         f"{first.efficiency:g}."),
            Row("Asks for", f"{plain_interval(result.power_W, 'W')} at the crank"
                            + (" from the one to the other." if len(result.climbs) == 2 else "."))]
    if result.error_percent is not None:
        shown = " and ".join(f"{reading:g}" for reading in result.readings_W)
        rows.append(Row("Device", f"read {shown} W: {error_text(result)}."))
    rows += [Row("Look first", f"{note.values['slip']}: it would explain the error. Mend it, and ask again.")
             for note in result.hints]
    short, whole = ("; ".join(f"{name} {100 * share:.0f} %" for name, share in shares(result)[:most]) + " of the "
                    "variance." for most in (MOST_SOURCES, len(SOURCES)))
    rows.append(Row("Main doubt", whole, 1, short))
    if result.can_confirm is False:
        better = "" if len(result.climbs) == 2 else ("the difference of two gradients at one speed is free of drag and "
                                                     "rolling; ")
        rows.append(Row("Instead", f"a climb shows errors of {result.smallest_percent:.2g} % or more. To confirm less, "
                                   f"{better}use a trusted device (agree check) or hung masses (agree static)."))
    return [*rows, Row("Caution", CAUTION)]


def climb_text(result: ClimbCheck, *, width: int = WIDTH, details: bool = False) -> str:
    """Return the check as text: the answer first, at most 16 lines of 80 columns, or every row with `details`."""
    return set_rows([Row("", headline(result)), *rows_of(result)], width=width, details=details)


@summary.register
def _(result: ClimbCheck) -> str:
    return climb_text(result)
