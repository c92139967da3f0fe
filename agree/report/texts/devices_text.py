"""Several devices as text: who stands apart, factors and own errors; at most 16 lines for six devices."""

from __future__ import annotations

import textwrap

from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.words import number, summary
from agree.devices.compare import DeviceComparison

WIDTH, LABEL = 80, 14
SENTENCES = {
    "devices_two_cannot_tell": "two devices cannot tell which of them is wrong; record a third beside them.",
    "devices_shared_error_unseen": "an error that two of the three share is charged to the third: a fourth device "
                                   "would show it.",
}


def _span(item: Estimate, unit: str, sign: bool = False) -> str:
    value, low, high = (number(x, item.low, item.high, sign=sign) for x in (item.value, item.low, item.high))
    return f"{value} ({low} to {high}) {unit}".rstrip()


def _cut(name: str, width: int) -> str:
    """Cut a name to a width; what tells devices apart stands at the end of a name as often as at its start."""
    return name if len(name) <= width else f"{name[:width // 2 - 1]}..{name[len(name) - (width - width // 2 - 1):]}"


def _row(label: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=f"{label:<{LABEL}}", subsequent_indent=" " * LABEL)


def minded(note: Note) -> str:
    """Say what is to be minded."""
    values = note.values
    if note.kind == "devices_one_voice":
        return (f"{values['second']} repeats {values['first']} to rounding: one device through two links or settings "
                "is one witness.")
    if note.kind == "devices_no_closure":
        return (f"{values['devices']}: the three pairings do not close, by {values['percent']:+.2f} % and "
                f"{values['lag_s']:+.1f} s: one of them is wrong.")
    return SENTENCES.get(note.kind) or (f"one of {values.get('first')} share an error with one of "
                                        f"{values.get('second')}: do not trust own errors and who stands apart.")


def headline(result: DeviceComparison) -> str:
    """Who stands apart, or whether devices differ, in one line."""
    apart = next((item.name for item in result.devices if item.stands_apart), None)
    differ = any(item.differs for item in result.differences)
    head = (f"{apart} STANDS APART from the others, which do not differ" if apart is not None else
            "THE DEVICES DIFFER" if differ else "NO DIFFERENCE was found between the devices")
    return f"{head} ({len(result.devices)} devices, {result.seconds / 60:.0f} min together, none trusted)"


@summary.register
def _(result: DeviceComparison) -> str:
    differ = [item for item in result.differences if item.differs]
    lines = textwrap.wrap(headline(result), WIDTH)
    width = max(min(max(len(item.name) for item in result.devices), 18), 6)
    lines.append(f"{'device':<{width}}  multiply by, to read like the first   own error, % of power")
    for k, item in enumerate(result.devices):
        own = "cannot be told" if item.error_sd is None else _span(item.error_sd, "")
        factor = _span(item.factor, "") if k else "1"
        lines.append(f"{_cut(item.name, width):<{width}}  {factor:<36}  {own}")
    if differ:
        worst = max(differ, key=lambda item: abs(item.percent.value))
        lines += _row("Furthest", f"{worst.second} reads {_span(worst.percent, '%', sign=True)} against {worst.first}.")
    for note in result.notes[:2]:
        lines += _row("Mind", minded(note))
    slow = [item for item in result.devices if item.response]
    if slow:
        lines += _row("Response", "; ".join(f"{_cut(item.name, 18)} is {item.response} ({item.response_s:.2g} s)"
                                            for item in slow) + "; taken out before the comparison.")
    lines += _row("Caution", "the first device is not right because it is first. Factors hold for this effort; own "
                             "errors are those of window means, without a wrong scale.")
    return "\n".join(lines)
