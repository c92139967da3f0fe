"""The static check as text: the answer first, at most 16 lines of 80 columns."""

from __future__ import annotations

import textwrap

from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.words import number, summary
from agree.physics.static_beside import BesideRides
from agree.physics.static_check import StaticCheck
from agree.physics.static_line import TorqueLevel

WIDTH, LABEL, MOST_LEVELS = 80, 14, 6
HANGS = "the hangs: readings, angles, single masses"
SOURCES = {"hangs": HANGS, "length": "the crank length", "gravity": "local gravity: give --latitude",
           "masses": "the scale that weighed the masses"}
SLIPS = {
    "sign": "the readings have the opposite sign",
    "one side is not counted": "half is read: one side is not counted",
    "one side is counted twice": "double is read: one side is counted twice",
}


def _span(item: Estimate, unit: str, sign: bool = True) -> str:
    value, low, high = (number(x, item.low, item.high, sign=sign) for x in (item.value, item.low, item.high))
    return f"{value} ({low} to {high}){' ' if unit else ''}{unit}"


def _row(label: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=f"{label:<{LABEL}}", subsequent_indent=" " * LABEL)


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
    if result.factor.low <= 1 <= result.factor.high:
        return "nothing but the zero: the factor's interval " \
               f"({_span(result.factor, '', sign=False).partition('(')[2]} holds 1."
    if result.entered is None:
        return f"nothing: no factor in steps of {result.step_percent:g} % comes nearer than 1."
    value, low, high = (f"{x:.4f}" for x in (result.factor.value, result.factor.low, result.factor.high))
    return (f"set the zero first; then multiply by {result.entered:g} (found {value}, {low} to {high}). Where the "
            "device divides by a slope, multiply that slope by the scale instead.")


def _headline(check: StaticCheck) -> str:
    about = f"({len(check.mass_kg)} hangs)"
    if check.claim is None:
        return f"STATIC CHECK  no claim was given {about}"
    return f"{check.verdict.upper()}  claim {check.claim.text}, by the mean torque error {about}"


def _level_text(item: TorqueLevel) -> str:
    mark = {"holds": "", "does not hold": " out", "not settled": " open", "": ""}[item.verdict]
    error = item.error_percent
    return f"{item.torque_Nm:.3g} N m {number(error.value, error.low, error.high, sign=True)} %{mark}"


@summary.register
def _(result: StaticCheck) -> str:
    lines = textwrap.wrap(_headline(result), WIDTH)
    lines += textwrap.wrap(f"The mean error is {_span(result.error_percent, '%')} of the torque of the masses "
                           f"({100 * result.scale.level:g} % interval).", WIDTH)
    lines += _row("Scale", f"{_span(result.scale, '', sign=False)}; zero {_span(result.offset_Nm, 'N m')}.")
    shown = result.levels if len(result.levels) <= MOST_LEVELS else (*result.levels[:3], *result.levels[-3:])
    lines += _row("By torque", "; ".join(_level_text(item) for item in shown) + ".")
    if result.hysteresis_Nm is not None:
        lines += _row("Down - up", f"{_span(result.hysteresis_Nm, 'N m')}.")
    if result.side_difference_percent is not None:
        (first, _), (second, _) = result.sides
        lines += _row("Sides", f"{second} reads {_span(result.side_difference_percent, '%')} against {first}.")
    if result.curvature_Nm is not None and not result.curvature_Nm.low <= 0 <= result.curvature_Nm.high:
        lines += _row("Not straight", f"the middle lies {_span(result.curvature_Nm, 'N m')} off the line through the "
                                      "ends.")
    for note in result.hints[:2]:
        lines += _row("Look first", slip_text(note))
    lines += _row("Main doubt", SOURCES[result.budget[0][0]] + ".")
    lines += _row("To enter", enter_text(result))
    lines += _row("Caution", "masses fall: keep people and feet away; the maker's procedure comes first. A static "
                             "check knows no cadence, filter or warmth.")
    return "\n".join(lines)


WHY_NOT = ("If both are right in themselves, the rides' reference reads {other} by the difference, or masses cannot "
           "show what is wrong: a filter or another cadence, warmth, a zero that moves, a loss between the two, a "
           "mass hung at another place than the foot. Zero both, ride warm, and weigh again before you blame one.")
ONE_ORIGIN = "one scale error explains both: the reference agrees with the masses, and a factor may be entered."


@summary.register
def _(result: BesideRides) -> str:
    state = f" in the state {result.state!r}" if result.state else ""
    found = {"agree": "they agree", "differ": "they differ", "not settled": "whether they agree is not settled"}
    lines = _row("Beside rides", f"{found[result.answer]}: the rides{state} found {_span(result.rides_percent, '%')}, "
                                 f"the masses {_span(result.static_percent, '%')}; difference "
                                 f"{_span(result.difference_percent, 'points')}.")
    if result.answer == "differ":
        other = "low" if result.difference_percent.value > 0 else "high"
        lines += _row("What then", WHY_NOT.format(other=other))
    elif result.answer == "agree":
        small = max(abs(result.static_percent.low), abs(result.static_percent.high)) < result.margin_percent
        lines += _row("What then", "nothing to enter: both find little error." if small else ONE_ORIGIN)
    else:
        lines += _row("What then", "more sessions, or masses hung more often, until the wider of the two is narrow.")
    return "\n".join(lines)
