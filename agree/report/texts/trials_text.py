"""Checks and plans of trials as text: the answer first, at most 16 lines of 80 columns, or as much in narrower ones."""

from __future__ import annotations

import math
import textwrap

from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.words import estimate_text, number, summary
from agree.report.notes.sentence import note_text
from agree.report.notes.trials import SENTENCES
from agree.trials.check import TrialsCheck
from agree.trials.meanings import TrialMeaning
from agree.trials.planning import TrialPlan
from agree.trials.trials import SetAside, Trials

WIDTH, MOST_LINES, INDENT = 79, 16, "  "
ASSUMED = {
    "means_near_normal": "subjects' mean errors that are not far from normal",
    "errors_normal": "normal errors",
    "shape_margin": "errors that are not wilder than skewness 4",
    "any_shape": "no shape of the errors: trials are counted",
    "line": "an error that changes with the level along a line",
    "constant_truth": "a true value that stays the same within a subject"}
OF_SUBJECTS = ("trials_subjects_left_out", "trials_subjects_nearly")  # who counts as one: all rests on it
REASONS = {
    "only_in_reference": "without a partner in the device's table", "only_in_device": "without one in the reference's",
    "no_reading": "without a reading", "blank_key": "with a blank key", "copied": "that are copies of others",
    "outside_claim": "below the level of the claim"}


def plural(count: int, word: str) -> str:
    """Return "1 trial" or "3 trials"."""
    return f"{count} {word}{'' if count == 1 else 's'}"


def share_text(item: Estimate | None) -> str:
    """Return a share as "60 [31, 84] %"."""
    if item is None or math.isnan(item.value):
        return "-"
    return f"{100 * item.value:.0f} [{100 * item.low:.0f}, {100 * item.high:.0f}] %"


def meant(item: TrialMeaning, check: TrialsCheck) -> str:
    """Return what a meaning asks, in a few words."""
    mean_of = check.mean_of
    return {"average": "mean error", "levels": "error at both ends", "readings": "95 % of single trials",
            "mean_absolute": "mean absolute error",
            "next_subject": f"95 % of means of {mean_of}" if mean_of > 1 else "95 % of new subjects"}[item.meaning]


def found(item: TrialMeaning, check: TrialsCheck) -> str:
    """Return what was found for a meaning."""
    if item.unit == "share":
        if item.estimate is not None:
            return share_text(item.estimate) + " within"
        return "needs repeated trials"
    if item.estimate is None:
        return "too few subjects"
    at = item.ground.values.get("worst_level")
    where = f" at {float(at):.3g}" if at is not None else ""
    return estimate_text(item.estimate, check.unit, sign=item.meaning != "mean_absolute") + where


def headline(check: TrialsCheck) -> str:
    """Return the answer in one sentence."""
    return f"{check.verdict.upper()}: {answer_words(check)}"


def answer_words(check: TrialsCheck) -> str:
    """Return what was asked of which device, and whether it is so."""
    said = {"average": "the mean error", "mean_absolute": "the mean absolute error",
            "levels": "the error at both ends of the range", "readings": "the error of single trials",
            "next_subject": "the error of a new subject"}[check.meaning]
    ends = {"holds": f"lies within {check.claim.text}", "does not hold": f"lies outside {check.claim.text}",
            "not settled": f"may lie inside or outside {check.claim.text}"}
    if check.answer.unit == "share":
        ends = {"holds": f"is within {check.claim.text} in at least 95 %",
                "does not hold": f"is within {check.claim.text} in fewer than 95 %",
                "not settled": f"may or may not be within {check.claim.text} in 95 %"}
    return f"{check.trials.device_name}: {said} {ends[check.verdict]}."


def lines_of(width: int) -> int:
    """Return how many lines of a width hold what 16 hold in 79 columns."""
    return math.ceil(MOST_LINES * WIDTH / min(width, WIDTH))


def table(check: TrialsCheck, width: int = WIDTH) -> list[str]:
    """Return the four meanings, one a line; the one that the verdict is given in is marked."""
    rows = [(("> " if item.meaning == check.meaning else "  ") + meant(item, check), item.verdict, found(item, check))
            for item in check.meanings]
    wide = max(len(row[0]) for row in rows)
    lines = []
    for name, verdict, what in rows:
        line = f"{name:<{wide}}  {verdict:<13}  {what}"
        lines += [line] if len(line) <= width else [
            *textwrap.wrap(f"{name:<{wide}}  {verdict}" if wide + 2 + len(verdict) <= width else f"{name}: {verdict}",
                           width, subsequent_indent=2 * INDENT, drop_whitespace=True),
            *textwrap.wrap(what, width, initial_indent=2 * INDENT, subsequent_indent=2 * INDENT)]
    return lines


def set_aside_text(items: tuple[SetAside, ...]) -> str:
    """Return what is not used, with the first of each kind."""
    return "; ".join(f"{item.count} {REASONS[item.reason]} (first: {item.first[0]})" for item in items)


def data_text(trials: Trials) -> str:
    """Return how much was used and what was set aside."""
    sizes = trials.sizes
    each = f"{sizes.min()} each" if sizes.min() == sizes.max() else f"{sizes.min()} to {sizes.max()} each"
    text = f"{plural(len(trials.subjects), 'subject')}, {plural(trials.count, 'trial')} ({each})"
    aside = set_aside_text(trials.set_aside)
    return text + (f". Set aside: {aside}." if aside else "; nothing set aside.")


def spread_text(check: TrialsCheck) -> str:
    """Return the limits of agreement and the typical errors."""
    beside, unit = check.side_by_side, check.trials.quantity.difference_unit
    lower, upper = (estimate_text(item, sign=True) for item in (check.lower, check.upper))
    normal = any(note.kind == "trials_limits_normal" for note in check.notes)
    text = f"{'95 % limits if normal' if normal else 'Limits of agreement'}: {lower} to {upper} {check.unit}."
    if beside.reference_error is None or beside.device_error is None:
        return text
    first, second = (number(item.value, item.low, item.high) for item in (beside.reference_error, beside.device_error))
    ratio = "" if beside.ratio is None else f", ratio {estimate_text(beside.ratio)}"
    return f"{text} Typical error: reference {first}, device {second} {unit}{ratio}."


def rests_on(check: TrialsCheck) -> str:
    """Return what the answer takes for granted."""
    assumed = " and ".join(ASSUMED[key] for key in check.answer.assumes)
    return f"Rests on independent subjects like these, and on {assumed}."


def asides(check: TrialsCheck) -> list[Note]:
    """Notes in the order of their weight: trials far apart first, since one may turn the answer, then its ground."""
    order = {"answer": 1, "trust": 2, "detail": 3}
    ground = check.answer.ground
    told = ground.kind == "trials_readings_small" or (check.verdict == "not settled" and ground.kind in SENTENCES)
    far = [note for note in check.notes if note.kind == "trials_far_off"]
    rest = [note for note in check.notes if note not in far and not (told and note.kind == ground.kind)]
    return far + ([ground] if told else []) + sorted(
        rest, key=lambda note: 0 if note.kind in OF_SUBJECTS else order[note.severity])


@summary.register
def check_text(check: TrialsCheck, width: int = WIDTH) -> str:
    """Return a check of trials as text."""
    lines = textwrap.wrap(headline(check), width)
    lines += ["", *table(check, width), ""]
    for text in (spread_text(check), data_text(check.trials), rests_on(check)):
        lines += textwrap.wrap(text, width, subsequent_indent=INDENT)
    room = lines_of(width) - len(lines)
    for note in asides(check):
        wrapped = textwrap.wrap(f"Mind: {note_text(note)}", width, subsequent_indent=INDENT)
        if len(wrapped) <= room:
            lines += wrapped
            room -= len(wrapped)
    return "\n".join(lines)


@summary.register
def trials_text(trials: Trials) -> str:
    """Return what was joined."""
    return textwrap.fill(f"{trials.device_name} against {trials.reference_name}: {data_text(trials)}", WIDTH)


PLANNED = {"average": "mean error", "readings": "95 % of single trials", "next_subject": "95 % of new subjects' means"}
RULES = {"t": "", "counted": "counted", "normal": "if normal"}


def _subjects(count: int | None, most: int) -> str:
    return f"> {most}" if count is None else str(count)


@summary.register
def plan_text(plan: TrialPlan, width: int = WIDTH) -> str:
    """Return a plan of trials as text: subjects needed by the rule that will decide, and the other price."""
    unit = plan.claim.unit
    lines = textwrap.wrap(
        f"SUBJECTS NEEDED for a chance of {100 * plan.chance:g} % that {plan.claim.text} is found to hold, if errors "
        f"differ by SD {plan.subject_sd:g} {unit} between subjects and {plan.trial_sd:g} {unit} between trials"
        + (f", and u of the reference is {plan.reference_u:.3g} {unit}:" if plan.reference_u else ":"), width)
    lines.append("")
    for row in plan.rows:
        rule = f" {RULES[row.rule]}" if RULES[row.rule] else ""
        other = f"  ({RULES[row.other_rule]}: {_subjects(row.other_subjects, plan.most)})" if row.other_rule else ""
        line = (f"{plural(row.trials, 'trial'):<9} {PLANNED[row.meaning]:<29} "
                f"{_subjects(row.subjects, plan.most):>5}{rule}{other}")
        lines += [line] if len(line) <= width else textwrap.wrap(" ".join(line.split()), width,
                                                                 subsequent_indent=INDENT)
    lines += ["", *textwrap.wrap("Never fewer than 8: below, intervals cannot be relied on.", width)]
    return "\n".join(lines)
