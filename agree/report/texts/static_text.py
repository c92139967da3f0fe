"""The static check as text: the answer first, at most 16 lines of 80 columns."""

from __future__ import annotations

import math
from collections.abc import Sequence

from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.words import summary
from agree.physics.static_beside import BesideRides
from agree.physics.static_check import StaticCheck
from agree.physics.static_line import TorqueLevel, percent_limit
from agree.report.plain_text.answer_rows import WIDTH, Row, set_rows
from agree.report.plain_text.lines import LABEL
from agree.report.story.language.digits import interval_text, plain, plain_interval, shown
from agree.report.story.language.names import upper_first
from agree.verdict.claim import Claim
from agree.verdict.rule import FAILS, HOLDS

MOST_LEVELS = 6
CAUTION = "masses fall: keep people and feet away; the maker's procedure comes first."
KNOWS_NOT = "A static check knows no cadence, filter or warmth."
HANGS = "the hangs: readings, angles, single masses"
SOURCES = {"hangs": HANGS, "length": "the crank length", "gravity": "local gravity: give --latitude",
           "masses": "the scale that weighed the masses"}
SLIPS = {
    "sign": "the readings have the opposite sign",
    "one side is not counted": "half is read: one side is not counted",
    "one side is counted twice": "double is read: one side is counted twice",
}


def error_text(error: Estimate, claim: Claim | None, torque_Nm: float) -> str:
    """Print an error in per cent, with digits that show on which side of the claim its ends lie."""
    return interval_text(error, "%", math.nan if claim is None else percent_limit(claim, torque_Nm))


def slip_text(note: Note) -> str:
    """Say what may have been written down wrongly, or set wrongly in the device."""
    values = note.values
    if note.kind == "static_hang_slip":
        what = "the opposite sign" if values["slip"] == "sign" else "its decimal point moved"
        return (f"hang {values['hang']} ({values['mass_kg']:g} kg, {values['reading_Nm']:g} N m) seems to have {what}: "
                f"{values['meant_Nm']:g} N m lies on the line of the others. Mend it, and ask again.")
    if note.kind == "static_length":
        return (f"a crank length of {values['length_mm']:g} mm in the device's settings, where {values['own_mm']:g} is "
                "fitted, would explain the scale; no other usual length does.")
    if note.kind == "static_no_response":
        side = f"of the {values['side']} side " if values["side"] else ""
        return (f"the readings {side}do not follow the masses: the device may be asleep, hold its last value, or sense "
                "the other side alone.")
    slip = str(values["slip"])
    side = f"on the {values['side']} side, " if values["side"] else ""
    return f"{side}{SLIPS.get(slip, slip)}: it would explain a scale of {float(values['scale']):.4g}."


def enter_text(result: StaticCheck) -> str:
    """Say which factor to enter, or why none."""
    if any(note.values["written_wrongly"] for note in result.hints):
        return "nothing before that is cleared."
    if not result.one_factor:
        each = ", ".join(f"{item.side} {item.factor.value:.4f} ({item.factor.low:.4f} to {item.factor.high:.4f})"
                         for item in result.sides)
        return (f"no single factor sets both sides. Set the zero first; then, where the device takes a factor for each "
                f"side, {each}.")
    if result.factor.low <= 1 <= result.factor.high:
        return "nothing but the zero: the factor's interval " \
               f"({plain_interval(result.factor).partition('(')[2]} contains 1."
    if result.entered is None:
        return f"nothing: no factor in steps of {result.step_percent:g} % comes nearer than 1."
    value, low, high = (f"{x:.4f}" for x in (result.factor.value, result.factor.low, result.factor.high))
    return (f"set the zero first; then multiply by {result.entered:g} (found {value}, {low} to {high}). Where the "
            "device divides by a slope, multiply that slope by the scale instead.")


def headline(check: StaticCheck) -> str:
    """What the answer is about."""
    alone = f", {check.sides[0].side} side alone" if len(check.sides) == 1 else ""
    about = f"({len(check.mass_kg)} hangs{alone})"
    if check.claim is None:
        return f"no claim was given {about}"
    judged = "by each side under hung masses" if len(check.sides) == 2 else "by the mean torque error"
    return f"claim {check.claim.text}, judged {judged} {about}"


def sentence(check: StaticCheck) -> str:
    """Say how far off the device is: of two sides each, and what their mean hides; where single masses fail."""
    level = f"{100 * check.scale.level:g} % interval"
    torque = float(check.torque_Nm.mean())
    mean = error_text(check.error_percent, check.claim, torque)
    if len(check.sides) != 2:
        return f"The mean error is {mean} of the torque of the masses ({level}).{_failing(check)}"
    each = " and ".join(f"{item.side} {error_text(item.error_percent, check.claim, torque)}" for item in check.sides)
    if check.mean_verdict == HOLDS and check.verdict != HOLDS:
        return (f"{upper_first(each)}, each judged by itself ({level}s). Their mean, {mean}, holds only because the "
                "sides cancel: a rider whose legs do unlike work does not get it.")
    return f"{upper_first(each)}, each judged by itself ({level}s); the mean error is {mean}.{_failing(check)}"


def _failing(check: StaticCheck) -> str:
    """Name the masses that do not hold beside an answer that does."""
    bad = [item for item in check.levels if item.verdict == FAILS] if check.verdict == HOLDS else []
    if not bad:
        return ""
    return f" At {', '.join(f'{item.torque_Nm:.3g}' for item in bad)} N m the readings do not hold it."


def _level_text(item: TorqueLevel, whole: bool) -> str:
    mark = {"holds": "", "does not hold": " out", "not settled": " open", "": ""}[item.verdict]
    error = interval_text(item.error_percent, "%") if whole else f"{_value(item.error_percent)} %"
    return f"{item.torque_Nm:.3g} N m {error}{mark}"


def _value(error: Estimate) -> str:
    seen = shown(error)
    return plain(seen.value, seen.places, sign=True)


def _levels(check: StaticCheck, whole: bool) -> list[tuple[str, str]]:
    """Error of the readings at each mass, a row for each side."""
    found = []
    for side in dict.fromkeys(item.side for item in check.levels):
        mine = [item for item in check.levels if item.side == side]
        picked = mine if whole or len(mine) <= MOST_LEVELS else [*mine[:3], *mine[-3:]]
        text = "; ".join(_level_text(item, whole) for item in picked) + "."
        found.append((f"Read {side}"[:LABEL - 1] if side else "As read", text if whole or not side else _range(mine)))
    return found


def _range(levels: Sequence[TorqueLevel]) -> str:
    """Errors of one side in one line."""
    low, high = (find(levels, key=lambda item: item.error_percent.value).error_percent
                 for find in (min, max))
    out = sum(item.verdict == FAILS for item in levels)
    return (f"{levels[0].torque_Nm:.3g} to {levels[-1].torque_Nm:.3g} N m: {_value(low)} to {_value(high)} %"
            + (f", {out} of {len(levels)} masses out." if out else "."))


def bent(check: StaticCheck) -> bool:
    """Whether the readings are shown to be no straight line."""
    return check.curvature_Nm is not None and not check.curvature_Nm.low <= 0 <= check.curvature_Nm.high


def rows_of(check: StaticCheck) -> list[Row]:
    """Every row below the answer, for the terminal and for the page."""
    rows = [Row("Scale", f"{plain_interval(check.scale)}; zero {interval_text(check.offset_Nm, 'N m')}.", 3)]
    rows += [Row(label, whole, 4, short) for (label, whole), (_, short) in zip(
        _levels(check, True), _levels(check, False), strict=True)]
    if check.hysteresis_Nm is not None:
        rows.append(Row("Down - up", f"{interval_text(check.hysteresis_Nm, 'N m', 0.0)}.", 5))
    if check.side_difference_percent is not None:
        first, second = (item.side for item in check.sides)
        apart = interval_text(check.side_difference_percent, "%", 0.0)
        rows.append(Row("Sides", f"{second} reads {apart} against {first}.", 6))
    if bent(check) and check.curvature_Nm is not None:
        rows.append(Row("Not straight", f"the middle lies {interval_text(check.curvature_Nm, 'N m', 0.0)} off the line "
                                        "through the ends: a factor sets the mean alone."))
    rows += [Row(" " if k else "Look first", slip_text(note), 7 if k > 1 else 0) for k, note in enumerate(check.hints)]
    rows += [Row("Main doubt", SOURCES[check.budget[0][0]] + "."), Row("To enter", enter_text(check)),
             Row("Caution", f"{CAUTION} {KNOWS_NOT}", 2, CAUTION)]
    return rows


def static_text(check: StaticCheck, beside: BesideRides | None = None, *, width: int = WIDTH,
                details: bool = False) -> str:
    """Return the check as text: the answer first, at most 16 lines of 80 columns, or every row with `details`."""
    word = check.verdict.upper() if check.claim is not None else "STATIC CHECK"
    head = [Row("", f"{word}  {headline(check)}"), Row("", sentence(check))]
    more = [] if beside is None else beside_rows(beside)
    return set_rows([*head, *rows_of(check), *more], width=width, details=details)


@summary.register
def _(result: StaticCheck) -> str:
    return static_text(result)


WHY_NOT = ("If both are right in themselves, the rides' reference reads {other} by the difference, or masses cannot "
           "show what is wrong: a filter or another cadence, warmth, a zero that moves, a loss between the two, a "
           "mass hung at another place than the foot. Zero both, ride warm, and weigh again before you blame one.")
ONE_ORIGIN = "one scale error explains both: the reference agrees with the masses, and a factor may be entered."


def beside_rows(result: BesideRides) -> list[Row]:
    """Whether rides and masses agree, and what then."""
    state = f" in the state {result.state!r}" if result.state else ""
    found = {"agree": "they agree", "differ": "they differ", "not settled": "whether they agree is not settled"}
    rows = [Row("Beside rides", f"{found[result.answer]}: the rides{state} found "
                                f"{interval_text(result.rides_percent, '%')}, the masses "
                                f"{interval_text(result.static_percent, '%')}; difference "
                                f"{interval_text(result.difference_percent, 'points')}.")]
    if result.answer == "differ":
        other = "low" if result.difference_percent.value > 0 else "high"
        rows.append(Row("What then", WHY_NOT.format(other=other)))
    elif result.answer == "agree":
        small = max(abs(result.static_percent.low), abs(result.static_percent.high)) < result.margin_percent
        rows.append(Row("What then", "nothing to enter: both find little error." if small else ONE_ORIGIN))
    else:
        rows.append(Row("What then", "more sessions, or masses hung more often, until the wider of the two is narrow."))
    return rows


@summary.register
def _(result: BesideRides) -> str:
    return set_rows(beside_rows(result), details=True)
