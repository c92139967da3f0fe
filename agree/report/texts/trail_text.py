"""A trail as text: the answer for the state judged, then the states and what each adjustment did; at most 16 lines."""

from __future__ import annotations

import math
import textwrap

from agree.core.interval.estimate import Estimate
from agree.core.results.words import number, summary
from agree.report.notes.sentence import note_text
from agree.trail.own_side import OwnSide
from agree.trail.states import Change
from agree.trail.trail import Trail

WIDTH, LABEL, MOST = 80, 14, 5


def _span(item: Estimate, unit: str) -> str:
    value, low, high = (number(x, item.low, item.high, sign=True) for x in (item.value, item.low, item.high))
    if not math.isfinite(item.low):
        return f"{value} {unit}"
    return f"{value} ({low} to {high}) {unit}"


def _row(label: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=f"{label:<{LABEL}}", subsequent_indent=" " * LABEL)


def _changed(item: Change) -> str:
    text = f"{item.answer}, {_span(item.change_percent, 'points')}"
    if item.if_declared is not None:
        text += (f" for a place chosen after looking; {item.answer_if_declared}, "
                 f"{_span(item.if_declared, 'points')} had it been declared beforehand")
    if math.isfinite(item.expected_percent):
        text += f"; expected {item.expected_percent:+.2g}"
        text += "" if item.as_expected is None else ", as it did" if item.as_expected else ", which it did not do"
        text += " (not settled)" if item.as_expected is None and math.isfinite(item.change_percent.low) else ""
    return text


def _sessions(count: int) -> str:
    return f"{count} session{'s' if count != 1 else ''}"


def _headline(result: Trail) -> str:
    claim = result.check.claim.text
    if result.notes:
        return f"{result.verdict.upper()}  claim {claim}, judged on this recording {result.judged}"
    judged = next(item for item in reversed(result.states) if item.state == result.judged)
    return (f"{result.verdict.upper()}  claim {claim}, judged on {_sessions(judged.sessions)} in the state "
            f"{result.judged!r}, not on a mixture")


@summary.register
def _(result: Trail) -> str:
    lines = textwrap.wrap(_headline(result), WIDTH)
    first = max(len(result.states) - MOST, 0)
    if first:
        lines += _row("Earlier", f"{first} states; see the JSON.")
    for k, item in enumerate(result.states[first:], first):
        mean = _span(item.bias_percent, "%")
        change = f"; {_changed(result.changes[k - 1])}" if k else ""
        name = textwrap.shorten(item.state, 34, placeholder="..")
        count = "" if result.notes else f", {_sessions(item.sessions)}"
        lines += _row(f"{k + 1}", f"{name}: {mean}{count}{change}.")
    for note in result.notes:
        lines += _row("Place", note_text(note))
    if result.notes:
        lines += _row("To record", "sessions on other days: one recording cannot show that a change lasts.")
    elif any(item.sessions == 1 for item in result.states):
        lines += _row("To record", "a second session in each state: one session cannot show a change.")
    lines += _row("Caution", "whether an adjustment was tried because readings were low is not known here: "
                             "readings that are low by chance rise by themselves.")
    return "\n".join(lines)


@summary.register
def _(result: OwnSide) -> str:
    own = result.own
    lines = _row(f"{result.side.title()} side", f"{own.verdict.upper()} against twice the reference's own "
                                                f"{result.side} side: {_span(own.bias, '%')}. The rider's asymmetry "
                                                f"makes {result.asymmetry_percent:+.1f} % of the answer above.")
    if own.verdict == "holds" and result.verdict == "does not hold":
        lines += _row("That means", "the sensor keeps the claim; doubling one side of this rider does not. Another "
                                    "rider, or another day, has another asymmetry: no factor mends it.")
    return "\n".join(lines)
