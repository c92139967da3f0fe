"""A plan as text, and what the record sheet asks for: table of sessions, steps, blanks."""

from __future__ import annotations

import textwrap
from typing import NamedTuple

from agree.core.results.words import WIDTH, percent, summary, wrapped
from agree.planning.case import PlanCase
from agree.planning.plan import Plan
from agree.report.notes.sentence import note_text
from agree.verdict.rule import OPEN
from agree.verdict.settling.chance import LEAST_SESSIONS

MEANING_WORDS = {"average": "on average", "bands": "in every power band", "readings": "for single readings",
                 "next_session": "in the next session"}
MOST_ROWS = 12       # sessions that one sheet has lines for
MOST_BANDS = 10      # bands that are listed one by one
AS_LONG = "Every session as long: of unequal lengths fewer tests are settled than is foretold here."
CAUTION = ("the numbers are as good as these SDs. Fix claim, meaning and number of sessions beforehand and check once, "
           "after all of them: stopping at the first settled answer is wrong too often. The answer is for this unit "
           "against this reference.")


LOOKS_CAUTION = ("the numbers are as good as these SDs. Fix claim, meaning and looks beforehand and check at the looks "
                 "alone, with the same looks (agree check --looks or --declared). The answer is for this unit against "
                 "this reference.")


class Step(NamedTuple):
    """One thing to do, with a box to tick; `common` marks common practice, a fact of the trade."""

    text: str
    common: bool = False


EQUIPMENT = ("Maker and model", "Serial number, firmware", "Measuring point (pedal, crank, hub, trainer)",
             "Crank length entered / measured, mm", "Recorder, its firmware", "Last calibration, by whom")
LOG = ("No.", "Date, start", "Temp. °C start / end", "Reference zero before / after", "Device zero before / after",
       "Gear", "Remarks: tyre, chain, cuts, anything odd")


def columns(plan: Plan) -> tuple[list[float], list[float]]:
    """Return the true errors and the wanted chances, in order of appearance."""
    return list(dict.fromkeys(c.true_error for c in plan.cases)), list(dict.fromkeys(c.power for c in plan.cases))


def needed(plan: Plan, case: PlanCase) -> str:
    """Sessions of one case, with those for exactly the pilot's SD in brackets."""
    if case.sessions is None:
        return f"> {plan.most}" if case.possible else "none"
    if plan.session_sd.df != plan.session_sd.df:
        return str(case.sessions)
    return f"{case.sessions} ({'none' if case.expected is None else case.expected})"


def error_text(plan: Plan, error: float) -> str:
    """Return a true error in words."""
    unit = plan.claim.unit
    limit = plan.claim.percent if unit == "%" else plan.claim.watts
    share = {0.5: " (half)", 1.0: " (the limit)"}.get(round(abs(error) / limit, 9) if limit else 0, "")
    return f"{error:.3g} {unit}{share}"


def rows(plan: Plan) -> list[list[str]]:
    """Return the table of sessions: head, then one row for each true error."""
    errors, powers = columns(plan)
    plain = any(case.by_width for case in plan.cases)
    head = ["True error", "Right answer", *(f"{percent(p)} chance" for p in powers), *(["by width"] * plain)]
    table = [head]
    for error in errors:
        cases = [case for case in plan.cases if case.true_error == error]
        answer = "none" if cases[0].answer == OPEN else cases[0].answer
        width = cases[0].by_width
        table.append([error_text(plan, error), answer, *(needed(plan, case) for case in cases),
                      *([str(width) if width else "-"] * plain)])
    return table


def obstacles(plan: Plan) -> list[str]:
    """Why some cases have no number, each reason once."""
    found: dict[float, str] = {}
    for case in plan.cases:
        if case.because:  # of several chances the first, which asks least
            found.setdefault(case.true_error, note_text(case.because))
    return [f"{error_text(plan, error)}: {because}" for error, because in found.items()]


def title(plan: Plan) -> str:
    """One sentence: what is planned."""
    return (f"Plan to settle the claim of {plan.claim.text} {MEANING_WORDS[plan.meaning]}: sessions of "
            f"{plan.minutes:g} min, each on another day with a fresh zero")


def minutes_text(plan: Plan) -> str:
    """Return what minutes within a session are worth."""
    what = "band" if plan.meaning == "bands" else "session"
    text = f"the mean error of one {what} is uncertain by {plan.within:.2g} {plan.unit} from within the session"
    if plan.minutes_enough is None:
        return text
    return (f"{text}; from about {plan.minutes_enough:.0f} min a {what} on, more minutes hardly help (variance within "
            "below a quarter of that between sessions)")


def _minutes(plan: Plan) -> str:
    return f"{round(plan.minutes_per_band, 1):g}"


def bands_text(plan: Plan) -> str:
    """Return minutes by band."""
    if len(plan.bands) > MOST_BANDS + 1:
        return (f"{_minutes(plan)} min in each of {len(plan.bands) - 1} bands from {plan.bands[0]:g} to "
                f"{plan.bands[-1]:g} W")
    edges = ", ".join(f"{low:g}-{high:g}" for low, high in zip(plan.bands, plan.bands[1:], strict=False))
    return f"{_minutes(plan)} min in each of {edges} W"


@summary.register
def plan_text(plan: Plan) -> str:
    """Return the plan as text of at most 40 lines."""
    table = rows(plan)
    widths = [max(len(row[k]) for row in table) for k in range(len(table[0]))]
    lines = [textwrap.fill(title(plan) + ".", WIDTH), "",
             "Sessions needed, so that the claim is settled, and rightly, with this chance:", ""]
    for row in table:
        cells = [cell.ljust(w) if k < 2 else cell.rjust(w) for k, (cell, w) in enumerate(zip(row, widths, strict=True))]
        lines.append("   ".join(cells).rstrip())
    lines.append("")
    lines += [wrapped("None", text) for text in obstacles(plan)]
    if any(case.expected for case in plan.cases):
        lines.append(wrapped("Pilot", "the numbers hold up to the upper 80 % limit of the pilot's SD; those in "
                                      "brackets only if sessions differ by exactly that SD."))
    if any(case.by_width for case in plan.cases):
        lines.append(wrapped("Width", "sessions whose interval is as narrow as the margin, as simple tables count; "
                                      "that settles it in only about half of all trials."))
    lines += [wrapped("Rests on", "; ".join(plan.assumptions) + "."), wrapped("Minutes", minutes_text(plan) + "."),
              wrapped("Ride", f"{bands_text(plan)}. {AS_LONG}"), *_looks(plan), *_cadence(plan),
              wrapped("Caution", LOOKS_CAUTION if plan.looks else CAUTION)]
    return "\n".join(lines)


def cadence_text(plan: Plan) -> str:
    """Say which blocks tell an offset in W from one in N m, and with which chance; "" if none are planned."""
    item = plan.cadence
    if item is None:
        return ""
    order = " ".join(f"{rpm:g}" for rpm in item.order_rpm)
    return (f"{item.power_W:g} W, {item.minutes:g} min each at {order} rpm: an offset of {item.offset_W:.2g} W "
            f"({item.offset_Nm:.2g} N m) at the middle cadence is told to be one of W or of N m with a chance of "
            f"{percent(item.chance)}; {item.told_W:.2g} W with 80 %")


def _cadence(plan: Plan) -> list[str]:
    return [wrapped("Cadence", cadence_text(plan) + ".")] if plan.cadence is not None else []


def _looks(plan: Plan) -> list[str]:
    """Say when the claim is checked, and after how many sessions such tests end."""
    if not plan.looks:
        return []
    ends = {case.true_error: case.mean_sessions for case in plan.cases if case.mean_sessions == case.mean_sessions}
    means = "; ".join(f"at {error_text(plan, error)} after {mean:.1f}" for error, mean in ends.items())
    when = ", ".join(map(str, plan.looks))
    return [wrapped("Looks", f"after {when} sessions, the first settled answer counting; the numbers are the look by "
                             f"which it is settled. Tests end on average: {means} sessions.")]


def steps(plan: Plan) -> list[tuple[str, list[Step]]]:
    """Return what to do in each session, in order, under headings."""
    ride = [Step(f"{low:g}-{high:g} W: {_minutes(plan)} min in all")
            for low, high in zip(plan.bands, plan.bands[1:], strict=False)]
    if len(ride) > MOST_BANDS:
        ride = [Step(f"{_minutes(plan)} min in each of {len(ride)} bands, {plan.bands[0]:g}-{plan.bands[-1]:g} W")]
    return [
        ("Set up", [
            Step("Both recorders: one reading every second, clocks set, zeros recorded while coasting"),
            Step("Automatic zero switched off, or noted that it cannot be", True),
            Step("Crank length and any factor in both devices as on this sheet, nothing changed since last time"),
            Step("Same measuring points and drivetrain, chain clean; gear noted"),
            Step("Warm-up 10-15 min, until the sensors have the temperature of the room", True),
            Step("Zero BOTH, no foot on the pedals, crank as the maker asks; write the values and the temperature down",
                 True)]),
        ("Mark the clocks", [
            Step("Start both; 3 times: sprint 8-10 s, coast 20 s. Unequal gaps, so that the match is unmistakable")]),
        (f"Ride {plan.minutes:g} min, half upward, half downward", [
            *ride, *([Step(f"Once, in one of the sessions: {cadence_text(plan)}")] if plan.cadence is not None else []),
            Step("Blocks of 3 min and more at steady power; change cadence between blocks (70-100 rpm)", True),
            Step("No zeroing, no pause of one recorder alone; every session as long as this")]),
        ("End", [
            Step("Sprint and coast 3 times again: shows whether the clocks drift"),
            Step("Read the zero of BOTH again and write it down; do not store it", True),
            Step("Save both files as they are, never edited; name: date, session, device")]),
    ]


def sessions_shown(plan: Plan) -> int:
    """Return the sessions of the first case, or the fewest to plan for if no number is known."""
    return plan.sessions or LEAST_SESSIONS


def decided(plan: Plan) -> list[str]:
    """Return what is fixed before the first ride."""
    count = (f"{plan.sessions} sessions: they settle it with {percent(plan.cases[0].power)} chance if the true error "
             f"is {error_text(plan, plan.cases[0].true_error)}" if plan.sessions else
             "no number of sessions is known to settle it")
    return [f"Claim {plan.claim.text}, meant {MEANING_WORDS[plan.meaning]}; level {percent(plan.level)}; "
            f"reference {plan.reference_uncertainty.text or 'taken as exact'}",
            f"{count}; " + (f"checked after {', '.join(map(str, plan.looks))} sessions and at no other time"
                            if plan.looks else "one check after all of them, none before")]


def sheet_text(plan: Plan) -> str:
    """Return the record sheet as text with boxes to tick and blanks to fill in."""
    blank = "_" * 17
    lines = ["RECORD SHEET", "", *(textwrap.fill(line, WIDTH) for line in decided(plan)),
             f"Fixed before the first ride by {blank} on {blank}", "",
             f"{'EQUIPMENT':<44} {'Reference':<17} Device", *(f"{name:<44} {blank} {blank}" for name in EQUIPMENT)]
    for number, (heading, items) in enumerate(steps(plan), 1):
        lines += ["", f"{number}. {heading.upper()}"]
        lines += [wrapped("   [ ]", f"{item.text}{'°' if item.common else ''}") for item in items]
    lines += ["", "SESSIONS", *textwrap.wrap(" | ".join(LOG), WIDTH)]
    lines += [f"{k:>3} | {'_' * (WIDTH - 6)}" for k in range(1, sessions_shown(plan) + 1)]
    return "\n".join([*lines, "", "° common practice, not measured here", ""])
