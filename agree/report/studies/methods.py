"""The methods paragraph of a study, from what was done."""

from __future__ import annotations

import agree
from agree.core.results.note import Note
from agree.study.statistics.table import StudyTable

COUNTED = {"athletes": "athletes", "sessions": "sessions", "recording": "the recording alone"}


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def missing_line(table: StudyTable) -> str:
    """Return how many pairs are not in the table, and how many have no device, condition or athlete; empty if none."""
    return " ".join(_missing(note) for note in table.notes)


def _missing(note: Note) -> str:
    pairs = note.values["pairs"]
    if note.kind == "study_pairs_not_in_table":
        return (f"{pairs} of {note.values['of']} pairs are not in the table: they could not be checked, were given "
                "twice, or are of another quantity or unit.")
    then = {"athlete": "they count as of one athlete", "device": "no difference to them is shown",
            "condition": "no difference to them is shown"}[str(note.values["what"])]
    return f"{_count(int(pairs), 'pair')} {'has' if pairs == 1 else 'have'} no {note.values['column']}: {then}."


def methods_paragraph(table: StudyTable) -> str:
    """Return what a paper says of data and methods.

    It says nothing that was not done; citations are those of the methods in use.
    """
    devices = len(dict.fromkeys(item.device for item in table.cells))
    conditions = len(dict.fromkeys(item.condition for item in table.cells)) if table.condition else 0
    level = f"{100 * table.level:g} %"
    counted = sorted({"the trials of each table" if table.by and item.counted == "recording" else
                      COUNTED[item.counted] for item in table.cells})
    athletes = f" and {_count(table.athletes, 'athlete')}" if table.athletes else ""
    where = f" in {_count(conditions, 'condition')}" if conditions else ""
    parts = [f"{_count(devices, 'device')} {'was' if devices == 1 else 'were'} held against a reference{where} with "
             f"{_count(table.pairs, 'pair')} of {'tables of trials' if table.by else 'recordings'}{athletes}."]
    if table.overlap_s:
        used = 100 * table.used_s / table.overlap_s
        parts.append(f"Of {table.overlap_s / 3600:.1f} h in common, {used:.1f} % were used; coasting, missing and "
                     "faulty seconds were set aside under named rules.")
    unit = table.cells[0].unit
    if unit == "%":
        parts.append("The error of a pair is the sum of device minus reference over the sum of the reference.")
    parts.append(f"Mean errors have {level} t intervals over {' or '.join(counted)}, counted alike.")
    if any(item.sd is not None for item in table.cells):
        parts.append("Limits of agreement hold 95 % of single pairs' errors; SD and limits rest on unweighted sums of "
                     "squares (Thomas & Hultquist 1978) with intervals after Graybill & Wang (1980).")
    if any(item.typical is not None for item in table.cells):
        parts.append("The typical error is the SD of a pair within an athlete, with chi-square limits."
                     if table.athletes > 1 else "The typical error is the SD between pairs, with chi-square limits.")
    if table.contrasts:
        many = _count(len(table.contrasts), "difference")
        parts.append(f"The {many} of cell means rest on {table.clusters} as clusters with bias-reduced variances and "
                     "Satterthwaite's degrees of freedom (Bell & McCaffrey 2002; "
                     "Pustejovsky & Tipton 2018); their intervals are not adjusted for their number.")
    stated = (f"The reference's uncertainty ({table.reference}) is in the mean errors; it is shared by both sides of a "
              "difference and left out there." if table.reference else "The reference was taken as exact.")
    inside = ("the whole interval of the mean error lies within it, does not hold where it lies wholly outside"
              if table.rule == "interval" else f"the mean error does by the rule '{table.rule}', does not hold where "
              "it is outside by that rule")
    parts.append(f"A claim ({table.claim}) holds where {inside}, and is not settled otherwise. {stated}")
    parts.append(f"Software: agree {agree.__version__}.")
    return " ".join(parts)
