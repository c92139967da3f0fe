"""Sessions on the first screen: a row each, several in a line, or a count, by the room there is."""

from __future__ import annotations

import math

from agree.assessment.claim_check import ClaimCheck
from agree.report.plain_text.lines import LABEL, labelled, padded
from agree.report.plain_text.ruler import ruler, span
from agree.report.story.answer import decisive
from agree.report.story.language.digits import interval_text, plain
from agree.report.story.language.names import columns, days, short
from agree.report.story.language.vocabulary import counted, duration
from agree.report.story.rows import SessionRow
from agree.report.story.tell import Story

ROW_EACH, SEVERAL_A_LINE = 4, 12  # most sessions shown in each form
CELL = 19                         # columns of one session where several stand in a line
NAME = 16


def overview(check: ClaimCheck, story: Story, width: int, form: int) -> list[str]:
    """Return a ruler for one session; for several a row each (form 0), several a line (1) or a count (2).

    Form 3 leaves the lines out.
    """
    if form > 2:
        return []
    if len(check.pairs) == 1:
        return _single(check, width)
    if form == 0 and len(check.pairs) <= ROW_EACH and width >= 80:
        return _row_each(check, story)
    if form <= 1 and len(check.pairs) <= SEVERAL_A_LINE:
        return [*_several(story, width), *_all(check, width)]
    return [*_count(check, story, width), *_all(check, width)]


def _single(check: ClaimCheck, width: int) -> list[str]:
    reading = check.reading
    item = decisive(reading, check.decision_rule)
    if item is None or reading.unit == "share" or not math.isfinite(reading.limit) or width < 60:
        return []
    half = span(reading.limit, [item])
    ends = [plain(sign * half, 1 if half < 100 else 0, sign=True) for sign in (-1, 1)]
    drawn = ruler(item, reading.limit, half, _odd(min(width, 80) - 26))
    return [f"  {ends[0]}  {drawn}  {ends[1]} {reading.unit}"]


def _odd(width: int) -> int:
    return width - 1 + width % 2


def _row_each(check: ClaimCheck, story: Story) -> list[str]:
    average = next(item for item in check.readings if item.meaning == "average")
    own = [row.estimate for row in story.sessions if row.estimate is not None]
    item = None if average.estimate is None else decisive(average, check.decision_rule)
    limit = average.limit
    half = span(limit, own if item is None else [*own, item]) if math.isfinite(limit) else math.nan
    lines = []
    for row in story.sessions:
        drawn = ruler(row.estimate, limit, half, 25, interval=False) if row.estimate and half > 0 else ""
        lines.append(f"{row.number:>2}  {row.date:<11}  {padded(short(row.device, NAME), NAME)}"
                     f"{duration(row.used_s):>7}  {row.error:>8}  {drawn}")
    if item is not None and half > 0:
        value = interval_text(item, average.unit, limit).split(" (")[0]
        lines.append(f"{f'all {len(story.sessions)}':<40}  {value:>8}  {ruler(item, limit, half, 25)}")
    return lines


def _several(story: Story, width: int) -> list[str]:
    cells = [f"{row.number:>3} {row.day:<6} {row.error:>8}" for row in story.sessions]
    each = max(min(width, 80) // CELL, 1)
    wide = max(CELL, *(columns(cell) for cell in cells))
    return ["".join(padded(cell, wide + 1) for cell in cells[k:k + each]) for k in range(0, len(cells), each)]


def _count(check: ClaimCheck, story: Story, width: int) -> list[str]:
    known: list[SessionRow] = [row for row in story.sessions if row.estimate is not None]
    if not known:
        return []
    low, high = (pick(known, key=_value) for pick in (min, max))
    when = f", {days(check)}" if days(check) else ""
    return labelled("Sessions", f"{counted(len(check.pairs), 'session')}{when}: {low.error} to {high.error}", width)


def _value(row: SessionRow) -> float:
    return row.estimate.value if row.estimate is not None else math.nan


def _all(check: ClaimCheck, width: int) -> list[str]:
    average = next(item for item in check.readings if item.meaning == "average")
    item = decisive(average, check.decision_rule)
    if item is None or not math.isfinite(average.limit) or width < 60:
        return []
    label = padded(f"all {len(check.pairs)}", LABEL)
    return [label + ruler(item, average.limit, span(average.limit, [item]), _odd(min(width, 80) - LABEL - 6))]
