"""A trail as text: the answer for the state judged with its doubt, the states, and what each adjustment did."""

from __future__ import annotations

import math
from collections.abc import Sequence

from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.words import summary
from agree.report.notes.sentence import note_sentences, note_text
from agree.report.plain_text.answer_rows import WIDTH, Row, set_rows
from agree.report.story.answer import claim_in_range
from agree.report.story.caveats import Caveat
from agree.report.story.language.digits import interval_text, shown
from agree.report.story.language.digits import plain as digits
from agree.report.story.language.names import short, upper_first
from agree.report.story.language.vocabulary import FAULTS, counted
from agree.report.story.tell import tell
from agree.trail.own_side import OwnSide
from agree.trail.states import Change, State
from agree.trail.trail import Trail

MOST, NAME = 5, 34  # states shown, characters of a state's name
MOST_WARNINGS = 3
BY_CHANCE = "readings that are low by chance rise by themselves"
CAUTION = f"{BY_CHANCE}: that an adjustment helped is shown only if it was not made because of them."


def change_text(item: Change) -> str:
    """Say what a change is, with both answers where its place was chosen after looking, and what was foretold."""
    text = f"{item.answer}, {points(item.change_percent)}"
    if item.if_declared is not None:
        text += (f" for a place chosen after looking; {item.answer_if_declared}, {points(item.if_declared)} had it "
                 "been declared beforehand")
    if math.isfinite(item.expected_percent):
        text += f"; expected {digits(item.expected_percent, 2, sign=True)}"
        text += "" if item.as_expected is None else ", as it did" if item.as_expected else ", which it did not do"
        text += " (not settled)" if item.as_expected is None and math.isfinite(item.change_percent.low) else ""
    return text


def points(item: Estimate) -> str:
    """A change in points; of one session in a state without limits."""
    if not math.isfinite(item.low):
        return f"{digits(item.value, 2, sign=True)} points"
    return interval_text(item, "points", 0.0)


def state_text(item: State, *, whole: bool, parts: bool) -> str:
    """The mean error of a state on how many sessions, and which of them moved slowly."""
    seen = shown(item.bias_percent)
    places = seen.places if math.isfinite(item.bias_percent.low) else 1
    text = f"{digits(round(item.bias_percent.value, places), places, sign=True)} %"
    if not parts:
        text += f", {counted(item.sessions, 'session')}"
    if whole and item.sessions > 1:
        text += f" ({digits(seen.low, places, sign=True)} to {digits(seen.high, places, sign=True)} between sessions)"
    return text + "".join(f"; {slow_text(note)}" for note in item.slow)


def slow_text(note: Note) -> str:
    """Say which session moved slowly."""
    return f"session {note.values['session']} {FAULTS[str(note.values['fault'])]}"


def judged_on(result: Trail) -> str:
    """What the answer is about."""
    claim = claim_in_range(result.check)
    if result.notes:
        return f"claim {claim}, judged on this recording {result.judged}"
    judged = next(item for item in reversed(result.states) if item.state == result.judged)
    return (f"claim {claim}, judged on {counted(judged.sessions, 'session')} in the state {result.judged!r}, not on a "
            "mixture")


def doubts(result: Trail) -> list[Row]:
    """The main doubt and the warnings of the check, those that change the answer first."""
    story = tell(result.check)
    first, *rest = story.doubt
    rows = [Row("Main doubt", upper_first(" ".join([first, *rest])), 3, upper_first(first), stays=True)]
    order = [Caveat(note.severity, note_text(note)) for note in result.order]
    heavy = sorted([*order, *story.caveats], key=lambda item: item.severity != "answer")
    several = "s" * (len(heavy) > 1)
    for k, item in enumerate(heavy):
        always = item.severity == "answer" and k < MOST_WARNINGS
        rows.append(Row(" " if k else f"Warning{several}", upper_first(item.text), 0 if always or not k else 8 + k))
    return rows


def to_record(result: Trail) -> str:
    """What to record next."""
    if result.notes:
        return "sessions on other days: one recording cannot show that a change lasts."
    if any(item.sessions == 1 for item in result.states):
        return "a second session in each state: one session cannot show a change."
    return " ".join(tell(result.check).record)


def rows_of(result: Trail, *, whole: bool = False) -> list[Row]:
    """Every row below the answer, for the terminal."""
    first = 0 if whole else max(len(result.states) - MOST, 0)
    rows = [Row("Earlier", f"{first} states: --details.", 5)] if first else []
    for k, item in enumerate(result.states[first:], first):
        change = f"; {change_text(result.changes[k - 1])}" if k else ""
        text = state_text(item, whole=whole, parts=bool(result.notes))
        older = 0 if k > len(result.states) - 3 else 2  # of the older ones the answer is enough where room is short
        said = f"; {result.changes[k - 1].answer}" if k else ""
        brief = f"{short(item.state, NAME)}: {text.partition(';')[0]}{said}."
        rows.append(Row(f"{k + 1}", f"{short(item.state, NAME)}: {text}{change}.", older, brief, stays=True))
    rows += [Row("Place", note_text(note), 1, note_sentences(note)[0], stays=True) for note in result.notes]
    return [*rows, *doubts(result), Row("To record", to_record(result), 6 if not result.notes else 0),
            Row("Caution", CAUTION, 4, f"{BY_CHANCE}.")]


def trail_text(result: Trail, *, width: int = WIDTH, details: bool = False, more: Sequence[Row] = ()) -> str:
    """Return the trail as text: at most 16 lines of 80 columns, or every row with `details`."""
    head = [Row("", f"{result.verdict.upper()}  {judged_on(result)}"), Row("", tell(result.check).sentence)]
    return set_rows([*head, *rows_of(result, whole=details), *more], width=width, details=details)


def answer_text(result: Trail, *, width: int = WIDTH) -> str:
    """Return the answer with the state it is of and the warnings that change it, and nothing else."""
    order = [note_text(note) for note in result.order]
    heavy = [*order, *(item.text for item in tell(result.check).caveats if item.severity == "answer")]
    rows = [Row(" " if k else "Warning" + "s" * (len(heavy) > 1), upper_first(text)) for k, text in enumerate(heavy)]
    return set_rows([Row("", f"{result.verdict.upper()}  {judged_on(result)}"), *rows], width=width, details=True)


@summary.register
def _(result: Trail) -> str:
    return trail_text(result)


def own_side_rows(result: OwnSide) -> list[Row]:
    """The device against twice the reference's own side, and what a difference of the answers means."""
    own = result.own
    figures = next(row.figures for row in tell(own).questions if row.asked)
    rows = [Row(f"{result.side.title()} side", f"{own.verdict.upper()} against twice the reference's own {result.side} "
                                               f"side: {figures}. The rider's asymmetry "
                                               f"makes {result.asymmetry_percent:+.1f} % of the answer above.")]
    if own.verdict == "holds" and result.verdict == "does not hold":
        rows.append(Row("That means", "the sensor keeps the claim; doubling one side of this rider does not. Another "
                                      "rider, or another day, has another asymmetry: no factor mends it."))
    return rows


@summary.register
def _(result: OwnSide) -> str:
    return set_rows(own_side_rows(result), details=True)
