"""The page of a check of trials, or of a quantity other than power: what its sheet says and shows."""

from __future__ import annotations

from functools import partial, singledispatch
from pathlib import Path

from agree.core.results.words import percent
from agree.quantities.check import QuantityCheck
from agree.report.answer_file import write_sheet
from agree.report.figures import quantity_panels, trials_panels
from agree.report.notes.sentence import note_text
from agree.report.page.answer_sheet import Panel, QuestionAsked, Sheet
from agree.report.story.language.names import short, upper_first
from agree.report.texts import quantity_text, trials_text
from agree.trials.check import TrialsCheck

CAUTION = ("It speaks of this device against this reference and of subjects like these; it does not show that a model "
           "of device fails, and is no basis for medical decisions.")
OF_SESSIONS = ("It speaks of this device against this reference in these sessions; it says nothing of other wearers, "
               "does not show that a model of device fails, and is no basis for medical decisions.")
LONGEST = 34  # columns of a name


@singledispatch
def sheet_of(check: TrialsCheck | QuantityCheck) -> Sheet:
    """Return what the page of a check says and shows."""
    raise TypeError(f"no page is known for {type(check).__name__}")


@sheet_of.register
def _(check: TrialsCheck) -> Sheet:
    draw = trials_panels
    level = percent(check.level)
    panels = (
        Panel("Error against level", "Dots: single trials. Lines: mean error and, broken, limits of agreement, their "
              f"{level} intervals at the right; grey: mean error at low and high levels. Blue area: allowed.",
              partial(draw.errors_against_level, check=check)),
        Panel("Subjects' mean errors", "Sorted. Beneath: where 95 % of others are foretold, if errors are normal.",
              partial(draw.subjects_sorted, check=check)),
        Panel("Share of single trials within a limit", f"Line: counted, with its {level} interval; broken: if normal. "
              "Upright: the limit claimed.", partial(draw.share_against_limit, check=check)),
        Panel("Typical error of each method", f"Standard deviation of a subject's trials, with its {level} interval.",
              partial(draw.typical_errors, check=check)))
    questions = [QuestionAsked(trials_text.meant(item, check), item.verdict, trials_text.found(item, check),
                               item.meaning == check.meaning) for item in check.meanings]
    texts = [("Spread", trials_text.spread_text(check)), ("Data", trials_text.data_text(check.trials)),
             ("Assumed", trials_text.rests_on(check)),
             *(("Mind", upper_first(note_text(note))) for note in trials_text.asides(check))]
    names = f"{short(check.trials.device_name, LONGEST)} against {short(check.trials.reference_name, LONGEST)}"
    return Sheet(check.verdict, f"Claim {check.claim.text}, on a table of trials", names,
                 trials_text.answer_words(check), questions, texts, panels, CAUTION,
                 f"The claim asked in {'four' if len(questions) == 4 else 'five'} ways")


@sheet_of.register
def _(check: QuantityCheck) -> Sheet:
    first = check.overlays[0]
    others = " of the first session" if len(check.overlays) > 1 else ""
    panels = (
        Panel("Both traces", f"Grey: {short(first.reference_name, LONGEST)}; blue: {short(first.device_name, LONGEST)}"
              f"{others}. Shaded: faults; with a reading they count.",
              partial(quantity_panels.traces, check=check), wide=True),
        Panel(f"Errors of {check.window_s}-s means", "Rings: as recorded"
              + ("; diamonds: with the delay taken out" if check.taken_out is not None else "") + f"{others}. Arrow "
              "heads: beyond the frame.", partial(quantity_panels.errors_both_ways, check=check), wide=True))
    texts = [*quantity_text.told(check),
             *((quantity_text.label_of(note), upper_first(note_text(note)))
               for note in quantity_text.minded_of(check))]
    names = f"{short(first.device_name, LONGEST)} against {short(first.reference_name, LONGEST)}"
    return Sheet(check.verdict, f"Claim {check.claim.text}, {check.quantity.label}", names,
                 quantity_text.answer_words(check), _quantity_rows(check), texts, panels, OF_SESSIONS,
                 "As recorded, and with the delay taken out")


def _quantity_rows(check: QuantityCheck) -> list[QuestionAsked]:
    rows = []
    for name, words in quantity_text.asked(check):
        for answer, how in ((check.as_recorded, "as recorded"), (check.taken_out, "delay taken out")):
            if answer is not None:
                item = answer.of(name)
                rows.append(QuestionAsked(f"{words}, {how}", item.verdict, quantity_text.figure(item),
                                          name == check.meaning and answer is check.decides))
    return rows


def write_other_page(check: TrialsCheck | QuantityCheck, path: str | Path) -> None:
    """Write the page, whole or not at all; the suffix tells the format.

    Raises
    ------
    InputError
        Another suffix than .pdf, .png, .svg or .html, or a place that cannot be written.
    """
    write_sheet(sheet_of(check), path, check.to_dict())
