"""A plan of hung masses as text, and what its record sheet asks for."""

from __future__ import annotations

import textwrap

from agree.core.results.words import summary
from agree.physics.static_plan import StaticDesign, StaticPlan
from agree.report.plain_text.answer_rows import WIDTH, Row, set_rows

EQUIPMENT = ("Device, serial number, firmware", "Crank length set in the device, mm", "Crank length measured, mm",
             "Scale that weighed the masses", "Place: latitude, height", "Temperature, °C; date")
STEPS = (
    "Read the maker's procedure first: it comes before this sheet. Lock the wheel; use the same chainring for all.",
    "Weigh every mass with its hook and strap, and write the weights down.",
    "Let the device reach the temperature of the room; set its zero with nothing on the crank.",
    "Hold the crank level with a spirit level at every hang: 2° off cost 0.06 %, 5° cost 0.4 %.",
    "Hang the masses in the order of the table, going up and coming down; wait until the reading rests.",
    "Do the same with the other side; write the sign down as it is shown.",
    "Read the zero again at the end, and write down anything odd.",
)
CAUTION = ("Hung masses fall: keep feet, hands and people away, and hang no more than the table says. Entering a "
           "factor is safer than calibrating a device anew.")
NEXT = ("Type the readings into a table with the columns mass_kg, reading_Nm, side and direction, one row for each "
        "hang, and ask: agree static TABLE.csv with the same crank length and claim.")


def masses_text(design: StaticDesign) -> str:
    """Say which masses are hung how often."""
    often = {1: "once", 2: "twice", 3: "three times"}[design.rounds]
    return f"{', '.join(f'{mass:g}' for mass in design.masses_kg)} kg, {often} up and down"


def advice(plan: StaticPlan) -> str:
    """Say which masses settle the claim, or that none of the sets does."""
    if plan.chosen is not None:
        item = plan.chosen
        return (f"{masses_text(item)}: the mean torque error is then known to about ±{item.half_percent:.2g} %. A "
                f"device without error is found to hold the claim in {100 * item.holds:.0f} % of such checks; one off "
                f"by twice the claim is found not to hold it in {100 * item.fails:.0f} %.")
    best = plan.designs[-1]
    why = (f" ±{plan.shared_percent:.2g} % are left however many are hung, from the crank length, gravity and the "
           "scale: measure these better.")
    return (f"none of the sets settles it: {masses_text(best)} leave ±{best.half_percent:.2g} %."
            + (why if plan.shared_percent > best.half_percent / 2 else " Read to more decimals, or hang more masses."))


def plan_rows(result: StaticPlan) -> list[Row]:
    """Every row of the plan."""
    length, gravity = result.hang.crank_length_mm, result.hang.gravity
    rows = [Row("", f"HUNG MASSES for the claim {result.claim.text}, crank {length:g} mm, g = {gravity:.4f} m/s2"),
            Row("Hang", advice(result)),
            Row("", f"{'masses, kg':<34}{'error to':>9}{'right: holds':>14}{'2 x claim: fails':>18}", plain=True)]
    for item in result.designs:
        error, holds, fails = f"±{item.half_percent:.2g} %", f"{100 * item.holds:.0f} %", f"{100 * item.fails:.0f} %"
        name = textwrap.shorten(masses_text(item).replace(" and down", "/down"), 33, placeholder="..")
        words = (f"{masses_text(item)}: error to {error}; right: holds in {holds}; off by 2 x the claim: fails in "
                 f"{fails}.")
        rows.append(Row("", f"{name:<34}{error:>9}{holds:>14}{fails:>18}", 0, words, plain=True))
    torques = "; ".join(f"{item.mass_kg:g} kg {item.torque_Nm:.2f} N m" for item in result.torques)
    return [*rows, Row("Torque", f"{torques}."),
            Row("Rests on", f"one side; of two, each is judged by itself. Readings that scatter by "
                            f"{result.reading_sd_Nm:g} N m, length to {result.hang.u_length_mm:g} mm, masses to "
                            f"{1000 * result.hang.u_mass_kg:g} g, angle to {result.hang.u_angle_deg:g}° (all SD)."),
            Row("Caution", CAUTION)]


def static_plan_text(result: StaticPlan, *, width: int = WIDTH) -> str:
    """Return the plan as text of so many columns."""
    return set_rows(plan_rows(result), width=width, details=True)


@summary.register
def _(result: StaticPlan) -> str:
    return static_plan_text(result)


def order(plan: StaticPlan) -> list[tuple[float, str, float, float, float]]:
    """Mass, direction, torque and the readings within the claim, in the order of hanging."""
    rounds = (plan.chosen or plan.designs[-1]).rounds
    return [(item.mass_kg, way, item.torque_Nm, item.low_Nm, item.high_Nm)
            for _ in range(rounds) for way, items in (("up", plan.torques), ("down", plan.torques[::-1]))
            for item in items]


def sheet_text(plan: StaticPlan) -> str:
    """Return the record sheet as plain text."""
    lines = ["RECORD SHEET: HUNG MASSES", "", plan.summary(), "", "EQUIPMENT"]
    lines += [f"{name:<40} {'_' * 38}" for name in EQUIPMENT]
    lines += ["", "STEPS"]
    for k, text in enumerate(STEPS, 1):
        lines += textwrap.wrap(text, WIDTH, initial_indent=f"[ ] {k}. ", subsequent_indent=" " * 7)
    lines += ["", f"{'No.':<4}{'mass kg':>8}{'way':>6}{'torque':>9}{'within the claim':>19}{'left':>12}{'right':>12}"]
    for k, (mass, way, torque, low, high) in enumerate(order(plan), 1):
        lines.append(f"{k:<4}{mass:>8g}{way:>6}{torque:>9.2f}{f'{low:.2f} to {high:.2f}':>19}  {'_' * 10}  {'_' * 10}")
    return "\n".join([*lines, "", *textwrap.wrap(NEXT, WIDTH), "", *textwrap.wrap(f"Caution: {CAUTION}", WIDTH), ""])
