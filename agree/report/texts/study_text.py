"""A study as text: its answers counted, the fleet, and the units furthest out; at most 16 lines of 80 columns."""

from __future__ import annotations

import textwrap
from collections import Counter

from agree.core.interval.estimate import Estimate
from agree.core.results.words import number, summary
from agree.report.story.language.vocabulary import question
from agree.study.running import Study
from agree.study.statistics.many_units import ManyUnits
from agree.study.tables import Line

WIDTH, LABEL, FURTHEST = 80, 14, 4
ANSWERS = ("holds", "does not hold", "not settled")
WHY = {"too few units": "fewer than 100 units cannot show it",
       "errors of units are not normal": "the units' errors are not normal"}


def _span(item: Estimate, unit: str, sign: bool = True) -> str:
    value, low, high = (number(x, item.low, item.high, sign=sign) for x in (item.value, item.low, item.high))
    return f"{value} ({low} to {high}) {unit}".rstrip()


def _row(label: str, text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=f"{label:<{LABEL}}", subsequent_indent=" " * LABEL)


def _counted(lines: tuple[Line, ...]) -> str:
    found = Counter(line.verdict for line in lines)
    parts = [f"{found[answer]} {answer}" for answer in ANSWERS if found[answer]]
    return ", ".join([*parts, *([f"{found['']} not checked"] if found[""] else [])])


def _unit(line: Line) -> str:
    return f"{line.labels['unit']} {line.bias:+.1f} {line.bias_unit}"


def _pair(line: Line) -> str:
    return f"{line.labels['unit'] or 'no unit'}, session {line.labels['session'] or '(none)'}"


def _fleet(fleet: ManyUnits) -> list[str]:
    spread = _span(fleet.sd, fleet.unit, sign=False)
    lines = _row("All units", f"mean error {_span(fleet.mean, fleet.unit)}; SD between units {spread}.")
    if fleet.share_within is not None:
        item = fleet.share_within
        share, low, high = (f"{100 * x:.0f}" for x in (item.value, item.low, item.high))
        lines += _row("Of this kind", f"{share} ({low} to {high}) % of such units lie within {fleet.limit:g} "
                                      f"{fleet.unit} on average.")
    for note in fleet.notes[:1]:
        lines += _row("Of this kind", "the share of such units within the claim is not known: "
                                      f"{WHY[str(note.values['why'])]}.")
    if fleet.tolerance is not None:
        lines += _row("Tolerance", f"95 % of such units lie within ±{fleet.tolerance.high:.2g} {fleet.unit} on average "
                                   "(95 % confidence).")
    many = f"{len(fleet.flagged)} unit{'s' if len(fleet.flagged) != 1 else ''}"
    lines += _row("Flagged", f"{many} with a mean error outside the claim; at most 5 % of such flags are false.")
    return lines


@summary.register
def _(result: Study) -> str:
    units = len(result.units)
    own = any(line.labels.get("claim") for line in result.units)
    claim = "claims of their own" if own else f"claim {result.claim}"
    meaning = question(str(result.options.get("meaning", "average")), int(result.options.get("window_s", 30)))
    head = f"{units} UNIT{'S' if units != 1 else ''}  {claim}, {meaning}: {_counted(result.units)}"
    lines = textwrap.wrap(head, WIDTH)
    lines += _row("Pairs", f"{len(result.pairs)}: {_counted(result.pairs)}; {result.computed} checked now, "
                           f"{result.reused} found done.")
    if result.fleet is not None:
        lines += _fleet(result.fleet)
    known = sorted((line for line in result.units if line.bias is not None), key=lambda line: -abs(line.bias or 0.0))
    if known:
        lines += _row("Furthest", "on average " + ", ".join(_unit(line) for line in known[:FURTHEST]) + ".")
    twice = [line for line in result.pairs if line.repeats is not None]
    if twice:
        lines += _row("Counted once", f"{len(twice)} of the list's rows, given twice; the first is {_pair(twice[0])}.")
    errors = [line for line in result.pairs if line.error]
    if errors:
        lines += _row("Not checked", f"{_pair(errors[0])}: {textwrap.shorten(errors[0].error, 110)}"
                                     + (f" ({len(errors) - 1} more in pairs.csv)" if len(errors) > 1 else ""))
    lines += _row("Caution", "each unit was held against its reference alone. Have a published 'does not hold' "
                             "checked by an accredited laboratory.")
    return "\n".join(lines)
