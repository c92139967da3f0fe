"""The static check as text: the answer first, at most 16 lines of 80 columns."""

from __future__ import annotations

import textwrap

from agree.core.interval.estimate import Estimate
from agree.core.results.words import number, summary
from agree.physics.static_check import StaticCheck, TorqueLevel

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
    for note in result.hints[:1]:
        slip = str(note.values["slip"])
        size = float(note.values["scale"])
        lines += _row("Look first", f"{SLIPS.get(slip, slip)} would explain a scale of {size:.4g}.")
    lines += _row("Main doubt", SOURCES[result.budget[0][0]] + ".")
    lines += _row("To enter", f"set the zero first; then multiply by {_span(result.factor, '', sign=False)}. Where the "
                              "device divides by a slope, multiply that slope by the scale instead.")
    lines += _row("Caution", "a static check has no cadence, filter, vibration or warmth in it. The maker's procedure "
                             "comes first. Hung masses fall: keep people and feet away.")
    return "\n".join(lines)
