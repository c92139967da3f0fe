"""A study as text: its answers counted, the fleet, and the units furthest out; at most 16 lines of 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections import Counter

from agree.core.interval.estimate import Estimate
from agree.core.results.words import number, summary
from agree.report.story.language.vocabulary import question
from agree.study.planning import StudyPlan, StudyPlanRow
from agree.study.running import Study
from agree.study.statistics.many_units import ManyUnits
from agree.study.tables import Line

WIDTH, LABEL, FURTHEST = 80, 14, 4
ANSWERS = ("holds", "does not hold", "not settled")
CAUTION = ("each unit was held against its reference alone. Have a published 'does not hold' checked by an accredited "
           "laboratory.")
WHY = {"too few units": "it takes 500 units to show it, or 20 that are assumed to be normal",
       "errors of units are not normal": "the units' errors are not normal"}


def _span(item: Estimate, unit: str, sign: bool = True) -> str:
    value, low, high = (number(x, item.low, item.high, sign=sign) for x in (item.value, item.low, item.high))
    return f"{value} ({low} to {high}) {unit}".rstrip()


def _counted(lines: tuple[Line, ...]) -> str:
    found = Counter(line.verdict for line in lines)
    parts = [f"{found[answer]} {answer}" for answer in ANSWERS if found[answer]]
    return ", ".join([*parts, *([f"{found['']} not checked"] if found[""] else [])])


def _unit(line: Line) -> str:
    text = f"{line.bias:+.1f}"
    return f"{line.labels['unit']} {text.lstrip('+-') if float(text) == 0 else text} {line.bias_unit}"


def _pair(line: Line) -> str:
    return f"{line.labels['unit'] or 'no unit'}, session {line.labels['session'] or '(none)'}"


def _spread(fleet: ManyUnits) -> str:
    if math.isfinite(fleet.sd.high):
        return _span(fleet.sd, fleet.unit, sign=False)
    return f"{fleet.sd.value:#.2g} {fleet.unit} (interval not known)"


def fleet_rows(fleet: ManyUnits) -> list[tuple[str, str]]:
    """Return what is said of all units, each with its label."""
    rows = [("All units", f"mean error {_span(fleet.mean, fleet.unit)}; SD between units "
                          f"{_spread(fleet)}.")]
    if fleet.share_within is not None:
        item = fleet.share_within
        share, low, high = (f"{100 * x:.0f}" for x in (item.value, item.low, item.high))
        rows.append(("Of this kind", f"{share} ({low} to {high}) % of such units lie within {fleet.limit:g} "
                                     f"{fleet.unit} on average."))
    rows += [("Of this kind", f"the share of such units within the claim is not known: {WHY[str(note.values['why'])]}.")
             for note in fleet.notes[:1]]
    if fleet.tolerance is not None:
        rows.append(("Tolerance", f"95 % of such units lie within ±{fleet.tolerance.high:.2g} {fleet.unit} on average "
                                  "(95 % confidence)."))
    many = f"{len(fleet.flagged)} unit{'s' if len(fleet.flagged) != 1 else ''}"
    rows.append(("Flagged", f"{many} with a mean error outside the claim; at most 5 % of such flags are false."))
    return rows


def headline(study: Study) -> str:
    """Return how many units, which claim in which meaning, and the answers counted."""
    units = len(study.units)
    own = any(line.labels.get("claim") for line in study.units)
    claim = "claims of their own" if own else f"claim {study.claim}"
    asked = str(study.options.get("meaning", "average"))
    meaning = OF_TRIALS[asked] if study.options.get("by") else question(asked, int(study.options.get("window_s", 30)))
    return f"{units} UNIT{'S' if units != 1 else ''}  {claim}, {meaning}: {_counted(study.units)}"


OF_TRIALS = {"average": "mean error", "mean_absolute": "mean absolute error", "levels": "error at both ends",
             "readings": "single trials", "next_subject": "the error of a new subject"}
OVER = {"athletes": "athletes' means", "sessions": "sessions", "trials": "table of trials",
        "recording": "one recording (nothing of other days)"}


def _over(study: Study) -> list[tuple[str, str]]:
    """Return what the units' answers count as independent, and of how many units."""
    counted = Counter(line.over for line in study.units)
    named = [name for name in OVER if counted[name]]
    if len(named) == 1:
        return [("Answers", f"each over the unit's {OVER[named[0]]}." if named != ["recording"] else
                 f"each over {OVER[named[0]]}.")]
    return [("Answers", "; ".join(f"over {OVER[name]}: {counted[name]}" for name in named) + ".")] if named else []


def study_rows(study: Study) -> list[tuple[str, str]]:
    """Return what is said below the headline, each with its label."""
    done = f"{study.computed} tried now, {study.reused} found done"
    rows = [("Pairs", f"{len(study.pairs)}: {_counted(study.pairs)}; {done}."), *_over(study)]
    if study.fleet is not None:
        rows += fleet_rows(study.fleet)
    known = sorted((line for line in study.units if line.bias is not None), key=lambda line: -abs(line.bias or 0.0))
    if known:
        rows.append(("Furthest", "on average " + ", ".join(_unit(line) for line in known[:FURTHEST]) + "."))
    twice = [line for line in study.pairs if line.repeats is not None]
    if twice:
        rows.append(("Counted once", f"{len(twice)} of the list's rows, given twice; the first is {_pair(twice[0])}."))
    errors = [line for line in study.pairs if line.error]
    if errors:
        more = f" ({len(errors) - 1} more in pairs.csv)" if len(errors) > 1 else ""
        rows.append(("Not checked", f"{_pair(errors[0])}: {textwrap.shorten(errors[0].error, 110)}{more}"))
    return [*rows, ("Caution", CAUTION)]


QUESTIONS = {"device in a condition": "a device's mean error in one condition", "difference": "a difference of two",
             "mean of the units": "the mean of all units"}


def _planned(row: StudyPlanRow) -> str:
    who = "units" if row.question == "mean of the units" else "athletes"
    each = f"{row.sessions} session{'s' if row.sessions > 1 else ''} each"
    if row.number is None:
        return f"more than 1000 {who} with {each}"
    return f"{row.number} {who} with {each} ({row.pairs} pairs)"


@summary.register
def _(result: StudyPlan) -> str:
    """Say what each question needs, and on what it rests."""
    lines = textwrap.wrap(f"STUDY  claim {result.claim.text}: for a chance of {100 * result.chance:g} % to find that "
                          "it holds, or the difference", WIDTH)
    for question_name, words in QUESTIONS.items():
        rows = [row for row in result.rows if row.question == question_name]
        if rows:
            lines += textwrap.wrap(f"{words}: " + "; ".join(_planned(row) for row in rows) + ".", WIDTH,
                                   subsequent_indent="  ")
    if math.isfinite(result.unit_sd):
        lines += textwrap.wrap(f"share of such units within the claim: {result.share_units} units that look normal, or "
                               f"{result.share_units_assumed} that are assumed to be; a limit that holds 95 % of them: "
                               f"{result.tolerance_units}.", WIDTH, subsequent_indent="  ")
    given = {"between athletes": result.athlete_sd, "between units": result.unit_sd,
             "between sessions": result.session_sd}
    told = ", ".join(f"{value:g} % {name}" for name, value in given.items() if math.isfinite(value))
    found = f", difference {result.difference:g} %" if math.isfinite(result.difference) else ""
    lines += textwrap.wrap(f"Assumed: SD {told}; true error {result.true_error:g} %{found}. Real SDs may differ: look "
                           "at the first pairs before you fix the numbers.", WIDTH, subsequent_indent="  ")
    return "\n".join(lines)


@summary.register
def _(result: Study) -> str:
    lines = textwrap.wrap(headline(result), WIDTH)
    for label, text in study_rows(result):
        lines += textwrap.wrap(text, WIDTH, initial_indent=f"{label:<{LABEL}}", subsequent_indent=" " * LABEL)
    return "\n".join(lines)
