"""A trail as text: the answer for the state judged, then the states and what each adjustment did; at most 16 lines."""

from __future__ import annotations

import math
import textwrap

from agree.core.interval.estimate import Estimate
from agree.core.results.words import number, summary
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
    if math.isfinite(item.expected_percent):
        text += f"; expected {item.expected_percent:+.2g}"
        text += "" if item.as_expected is None else ", as it did" if item.as_expected else ", which it did not do"
    return text


def _sessions(count: int) -> str:
    return f"{count} session{'s' if count != 1 else ''}"


@summary.register
def _(result: Trail) -> str:
    check = result.check
    judged = next(item for item in reversed(result.states) if item.state == result.judged)
    lines = textwrap.wrap(f"{result.verdict.upper()}  claim {check.claim.text}, judged on {_sessions(judged.sessions)} "
                          f"in the state {result.judged!r}, not on a mixture", WIDTH)
    first = max(len(result.states) - MOST, 0)
    if first:
        lines += _row("Earlier", f"{first} states; see the JSON.")
    for k, item in enumerate(result.states[first:], first):
        mean = _span(item.bias_percent, "%")
        change = f"; {_changed(result.changes[k - 1])}" if k else ""
        name = textwrap.shorten(item.state, 34, placeholder="..")
        lines += _row(f"{k + 1}", f"{name}: {mean}, {_sessions(item.sessions)}{change}.")
    if any(item.sessions == 1 for item in result.states):
        lines += _row("To record", "a second session in each state: one session cannot show a change.")
    lines += _row("Caution", "whether an adjustment was tried because readings were low is not known here: "
                             "readings that are low by chance rise by themselves.")
    return "\n".join(lines)
