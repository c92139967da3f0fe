"""One unit of a study, checked whole: for its own page, with everything that `agree check` shows."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from agree.core.errors import AgreeWarning, InputError
from agree.core.results.note import Note
from agree.study.contents import contents_of, options_of, path_of
from agree.study.kinds import check_together, read_pair, refuse_unknown
from agree.study.listing import StudyRow, read_list
from agree.study.statistics.readings import column_of, over_athletes, readings_of
from agree.study.tables import pair_line


def check_unit(source: str | Path | Iterable[Mapping[str, Any]] | Any, unit: str, claim: str, *,
               athlete: str | None = None, **options: Any) -> Any:
    """Check one unit of a list over its sessions.

    Parameters
    ----------
    source : path, mappings or data frame
        The list, as for `run`.
    unit : str
        As the list names it.
    claim : str
        For rows without one of their own.
    athlete : str, optional
        The column that tells athletes apart, as for `run`. Where one rode several of the sessions, a note of the check
        says what the answer is over the athletes, which is that of the study.
    **options
        As for `run`.

    Returns
    -------
    ClaimCheck, QuantityCheck or TrialsCheck
        The result that `run` stores for the unit, with what its page needs.

    Raises
    ------
    InputError
        No such unit, one with several claims or quantities, or a pair that cannot be checked.

    See Also
    --------
    agree.study.run, agree.write_page

    Examples
    --------
    >>> from agree.study import check_unit
    >>> check_unit([{"unit": "7", "session": "1", "reference": "r.csv", "device": "d.csv"}], "8", "1.5 %")
    Traceback (most recent call last):
    ...
    agree.core.errors.InputError: the list has no unit '8'; expected one of 7
    """
    refuse_unknown(options)
    rows, folder = read_list(source)
    own = [row for row in rows if row.unit == unit]
    if not own:
        names = list(dict.fromkeys(row.unit for row in rows if row.unit))
        more = f" and {len(names) - 10} more" if len(names) > 10 else ""
        raise InputError(f"the list has no unit {unit!r}; expected one of {', '.join(names[:10])}{more}")
    asked = {(row.claim or claim, row.quantity) for row in own}
    if len(asked) > 1:
        raise InputError(f"unit {unit!r} has {len(asked)} claims or quantities in the list; expected one: give the "
                         "rows of one of them")
    contents = contents_of(own, folder, claim, options)
    broken = next((item.error for item in contents if item.error), "")
    if broken:
        raise InputError(broken)
    own_options = options_of(own[0], options)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # the result says the same
        kept = [row for row, item in zip(own, contents, strict=True) if item.repeats is None]
        pairs = [read_pair([path_of(folder, row.reference), path_of(folder, row.device)], own_options, named=True)
                 for row in kept]
        asked_claim = own[0].claim or claim
        made = check_together(pairs, asked_claim, own_options)
        who = column_of("athlete", athlete, dict.fromkeys(name for row in rows for name in row.factors))
        return _with_athletes(made, kept, who, lambda k: check_together([pairs[k]], asked_claim, own_options).to_dict())


def _with_athletes(made: Any, rows: Sequence[StudyRow], who: str, alone: Callable[[int], dict[str, Any]]) -> Any:
    """Say on the check of a unit what its answer is over athletes; `alone` gives the result of one session."""
    from agree.assessment.claim_check import ClaimCheck
    from agree.quantities.check import QuantityCheck

    athletes = len({row.factors.get(who) for row in rows})
    power = isinstance(made, ClaimCheck)
    if not (power or isinstance(made, QuantityCheck)) or made.meaning != "average" or not (
            who and 1 < athletes < len(rows)):
        return made
    records = [{"result": alone(k)} for k in range(len(rows))]
    lines = [pair_line(row, record) for row, record in zip(rows, records, strict=True)]
    readings = readings_of(lines, records, {"device": "unit", "condition": "", "athlete": who})
    cell = over_athletes(readings, made.level, made.decision_rule if power else "interval")
    if cell is None:
        return made
    note = Note(kind="sessions_of_athletes", severity=(
        "answer" if power and cell.verdict != made.verdict else "trust"), values={
        "sessions": len(rows), "athletes": athletes, "verdict": cell.verdict, "low": cell.bias.low,
        "high": cell.bias.high, "unit": cell.unit})
    return replace(made, notes=(*made.notes, note))
