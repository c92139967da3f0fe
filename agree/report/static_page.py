"""The page of a static check: its answer, each side, the error at each mass, what to enter, what the doubt is."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from agree.core.results.words import percent
from agree.physics.static_beside import BesideRides
from agree.physics.static_check import StaticCheck
from agree.report.answer_file import write_sheet
from agree.report.figures.static_panels import draw_errors_by_mass, draw_off_the_line, draw_shares
from agree.report.page.answer_sheet import Panel, QuestionAsked, Sheet
from agree.report.story.language.names import short, upper_first
from agree.report.texts import static_text as told

CAUTION = (f"{upper_first(told.CAUTION)} {told.KNOWS_NOT} It speaks of this device on this day; it does not show that "
           "a model of device fails.")
SHORT = {"hangs": "the hangs", "length": "crank length", "gravity": "gravity", "masses": "scale of the masses"}
IN_PICTURES = ("Caution", "Main doubt")
PICTURED = "As read", "Read "


def sheet_of_static(check: StaticCheck, beside: BesideRides | None = None, source: str = "") -> Sheet:
    """Return what the page says and shows; `source` says where the readings are from."""
    level = percent(check.scale.level)
    texts = [(row.label or "", upper_first(row.text)) for row in told.rows_of(check)
             if row.label not in IN_PICTURES and not row.label.startswith(PICTURED)]
    texts += [(row.label, upper_first(row.text)) for row in ([] if beside is None else told.beside_rows(beside))]
    hang = check.hang
    data = (f"crank {hang.crank_length_mm:g} mm (±{hang.u_length_mm:g}), g = {hang.gravity:.4f} m/s² "
            f"(±{hang.u_gravity:g}), each mass ±{1000 * hang.u_mass_kg:g} g, their scale ±{hang.u_mass_percent:g} %, "
            f"angle ±{hang.u_angle_deg:g}° (standard uncertainties)")
    texts.append(("Rests on", f"{source}; {data}." if source else upper_first(f"{data}.")))
    panels = (
        Panel("Error of the readings at each mass", f"As they were read, with {level} intervals; disc inside the "
              "claim, diamond outside, circle not settled. Pale band: the claim.",
              partial(draw_errors_by_mass, check=check), wide=True),
        Panel("Off the straight line", "Each reading less the line of its side, joined in the order they were hung: a "
              "loop is lost on the way down, a bow is a bend.", partial(draw_off_the_line, check=check), beside=40.0),
        Panel("What the doubt of the scale comes from", "Shares of its variance.", partial(
            draw_shares, shares=[(SHORT[name], share) for name, share in check.budget]), beside=84.0))
    masses = sorted({float(mass) for mass in check.mass_kg})
    claim = "no claim was given" if check.claim is None else f"claim {check.claim.text}"
    return Sheet(check.verdict, f"Hung masses: {claim}",
                 f"{len(check.mass_kg)} hangs of {short(', '.join(f'{mass:g}' for mass in masses), 60)} kg",
                 told.sentence(check), _rows(check), texts, panels, CAUTION,
                 "The mean torque error, and each side by itself" if check.sides else "The mean torque error")


def _rows(check: StaticCheck) -> list[QuestionAsked]:
    two = len(check.sides) == 2
    rows = [QuestionAsked("Mean of all hangs", check.mean_verdict, told.error_text(
        check.error_percent, check.claim, float(check.torque_Nm.mean())), not two)]
    return rows + [QuestionAsked(f"{upper_first(item.side)} side, {item.hangs} hangs", item.verdict,
                                 told.error_text(
        item.error_percent, check.claim, float(check.torque_Nm.mean())), asked=True) for item in check.sides if two]


def write_static_page(check: StaticCheck, path: str | Path, *, beside: BesideRides | None = None,
                      source: str = "") -> None:
    """Write the page of a static check, whole or not at all.

    Parameters
    ----------
    check : StaticCheck
        The check.
    path : str or Path
        Where to; the suffix says the form: .pdf, .png, .svg or .html. An existing file is replaced.
    beside : BesideRides, optional
        Rides of the same device.
    source : str
        Where the readings are from: a file's name and digest.

    Raises
    ------
    InputError
        Another suffix, or a place that cannot be written.
    """
    more = {} if beside is None else {"beside_rides": beside.to_dict()}
    write_sheet(sheet_of_static(check, beside, source), path, check.to_dict() | more)
