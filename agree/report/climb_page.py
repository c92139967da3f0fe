"""The page of a climb: its answer, the device's error beside what a climb can show, what the doubt comes from."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from agree.core.results.words import percent
from agree.physics.climb_check import EACH, ClimbCheck
from agree.report.answer_file import write_sheet
from agree.report.figures.climb_panels import draw_error_and_limit, draw_parts
from agree.report.figures.static_panels import draw_shares
from agree.report.page.answer_sheet import Panel, QuestionAsked, Sheet
from agree.report.story.language.names import upper_first
from agree.report.texts import climb_text as told

CAUTION = (f"{upper_first(told.CAUTION)} It speaks of this climb and this device; it does not show that a model of "
           "device fails.")
UNITS = {"mass_kg": " kg", "grade": " %", "speed": " m/s", "rolling": "", "drag_area": " m²", "density": " kg/m³",
         "head_wind": " m/s", "efficiency": ""}


def sheet_of_climb(check: ClimbCheck) -> Sheet:
    """Return what the page says and shows."""
    texts = [(row.label, upper_first(row.text)) for row in told.rows_of(check)
             if row.label not in ("Caution", "Main doubt")]
    texts.append(("Rests on", f"{_uncertain(check)} (standard uncertainties)."))
    two = len(check.climbs) == 2
    level = percent(check.power_W.level)
    panels = (
        Panel("What the device read, and what the climb can show", f"{level} intervals; pale band: the claim. Below: "
              "what such a climb would show of a device without error.", partial(draw_error_and_limit, check=check),
              wide=True),
        Panel("What the doubt comes from", "Shares of the variance.", partial(draw_shares, shares=told.shares(check)),
              beside=92.0),
        Panel("What the power is spent on", "On the steeper climb." if two else "At the crank.",
              partial(draw_parts, check=check), beside=56.0))
    what = "the difference of two climbs" if two else "a climb"
    claim = "no claim was given" if check.claim is None else f"claim {check.claim.text}"
    return Sheet(check.verdict, f"The power of {what}: {claim}",
                 "; ".join(f"{100 * item.grade:.3g} % at {3.6 * item.speed:.3g} km/h" for item in check.climbs),
                 _sentence(check), _rows(check), texts, panels, CAUTION, "The claim, and what a climb can confirm")


def _sentence(check: ClimbCheck) -> str:
    what = "The difference of these climbs" if len(check.climbs) == 2 else "This climb"
    known = f"{what} is known to ±{check.smallest_percent:.2g} %"
    if check.claim is None:
        return f"{known}."
    cannot = "" if check.can_confirm else f": it cannot confirm a claim of {check.claim.text}"
    error = f" The device's error is {told.error_text(check)}." if check.error_percent is not None else ""
    return f"{known}{cannot}.{error}"


def _rows(check: ClimbCheck) -> list[QuestionAsked]:
    if check.claim is None:
        return []
    rows = []
    if check.error_percent is not None:
        rows.append(QuestionAsked("The device on this effort", check.verdict, told.error_text(check), asked=True))
    can = "it can" if check.can_confirm else "it cannot"
    return [*rows, QuestionAsked("Can it confirm a device without error?", can,
                                 f"known to ±{check.smallest_percent:.2g} %", sign="holds" if check.can_confirm else
                                 "not settled")]


def _uncertain(check: ClimbCheck) -> str:
    found = []
    for name, unit in UNITS.items():
        each = check.climbs if name in EACH else check.climbs[:1]
        known = dict.fromkeys(float(getattr(climb, f"u_{name}")) * (100 if name == "grade" else 1) for climb in each)
        found.append(f"{told.SOURCES[name]} {' and '.join(f'±{u:g}' for u in known)}{unit}")
    return upper_first(", ".join(found))


def write_climb_page(check: ClimbCheck, path: str | Path) -> None:
    """Write the page of a climb, whole or not at all.

    Parameters
    ----------
    check : ClimbCheck
        The check.
    path : str or Path
        Where to; the suffix says the form: .pdf, .png, .svg or .html. An existing file is replaced.

    Raises
    ------
    InputError
        Another suffix, or a place that cannot be written.
    """
    write_sheet(sheet_of_climb(check), path, check.to_dict())
