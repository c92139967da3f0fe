"""A trail as text: the answer for the state judged, then the states and what each adjustment did; at most 16 lines."""

from __future__ import annotations

import math
import textwrap

from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.words import number, summary
from agree.report.notes.sentence import note_text
from agree.trail.device_sessions import DeviceOverSessions, DeviceSessions
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
    for told in result.check.notes:
        if isinstance(told, Note) and told.kind == "declared_otherwise":
            lines += _row("Warning", note_text(told))
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


def _device_row(item: DeviceOverSessions, width: int) -> str:
    value, low, high = (number(x, item.factor.low, item.factor.high) for x in (
        item.factor.value, item.factor.low, item.factor.high))
    sd = "cannot be told"
    if item.session_sd is not None:
        sd = " ".join((number(item.session_sd.value, item.session_sd.low, item.session_sd.high),
                       f"({number(item.session_sd.low, item.session_sd.low, item.session_sd.high)} to "
                       f"{number(item.session_sd.high, item.session_sd.low, item.session_sd.high)})"))
    factor = "1" if low == high else f"{value} ({low} to {high})"
    return f"{textwrap.shorten(item.name, width, placeholder='..'):<{width}}  {factor:<30}  {sd}"


@summary.register
def _(result: DeviceSessions) -> str:
    last = sum(1 for item in result.states if item == result.states[-1])
    several = len(set(result.states)) > 1
    where = f", factors of {_sessions(last)} in the state {result.states[-1]!r}" if several else ""
    head = f"{len(result.devices)} DEVICES over {_sessions(len(result.states))}, none trusted{where}"
    lines = textwrap.wrap(head, WIDTH)
    width = max(min(max(len(item.name) for item in result.devices), 18), 6)
    lines.append(f"{'device':<{width}}  {'multiply by, to read as first':<30}  varies by session, %")
    lines += [_device_row(item, width) for item in result.devices]
    for item in result.devices[1:5]:
        for change in item.changes[-2:]:
            lines += _row("Change", f"{item.name}, to {change.after!r}: {change.answer}, "
                                    f"{_span(change.change_percent, 'points')} against {result.devices[0].name}.")
    for note in result.notes:
        lines += _row("Mind", note_text(note))
    return "\n".join(lines)
