"""Every figure of a check, in sections, for `--details`."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from agree.assessment.claim_check import ClaimCheck
from agree.core.data.matched import Matched
from agree.core.data.pairs import Pairs
from agree.core.results.note import Note
from agree.core.results.words import clock_of, percent
from agree.estimators.response.difference import Response
from agree.report.notes.sentence import note_text
from agree.report.plain_text.lines import WIDEST, padded, terminal, wrap
from agree.report.story.cause import told_causes
from agree.report.story.cause_evidence import against, amount, evidence
from agree.report.story.clocks import clock_words
from agree.report.story.doubt import SESSIONS, WITHIN, stated
from agree.report.story.language.digits import interval_text, plain
from agree.report.story.language.names import columns, printable, short, upper_first, whole_parts
from agree.report.story.language.vocabulary import LONG_CAUTION, REASONS, counted, duration, fault
from agree.report.story.provenance import ridden_text
from agree.report.story.tell import Story

LEAST_CELL = 8  # columns below which no name of a table is cut
LEAST_LAST = 24  # columns below which the last column of a table is not set on several lines
MOST_NOTE = 1000  # columns of a note
NORMAL_MEANS = (" Limits over sessions take the sessions' means as normal: where these are skewed, or one lies far "
                "off, they are likely too near.")
SOURCES = {SESSIONS: "how far the sessions differ", WITHIN: "scatter within the ride", "reference": "the reference"}


class Rows(NamedTuple):
    """Rows of cells to set in columns: which of these are set to the right, and which hold names that may be cut."""

    cells: Sequence[Sequence[str]]
    right: Sequence[int] = ()
    names: Sequence[int] = ()


def table(rows: Rows, width: int) -> list[str]:
    """Set rows in columns; where room is short names give way, then the last column goes on below itself.

    Where that will not do either each row is a paragraph.
    """
    cells = [list(row) for row in rows.cells]
    widths = [max(columns(row[k]) for row in cells) for k in range(len(cells[0]))]
    while sum(widths) + 2 * len(widths) > width and max((widths[k] for k in rows.names), default=0) > LEAST_CELL:
        widths[max(rows.names, key=lambda k: widths[k])] -= 1
    last = len(widths) - 1
    if last not in (*rows.right, *rows.names):
        widths[last] = min(widths[last], max(width - sum(widths[:last]) - 2 * len(widths), LEAST_LAST))
    if sum(widths) + 2 * len(widths) > width:
        told = [[f"{cells[0][k]} {cell}" if k in rows.right else cell for k, cell in enumerate(row)]
                for row in cells[1:]]
        marked = [([" ".join(row[:2])] if row[0] == ">" else row[:2]) + row[2:] for row in told]
        return [f"  {line}" for row in marked for line in wrap(", ".join(cell for cell in row if cell), width - 2)]
    lines = []
    for row in cells:
        below = wrap(row[last], widths[last]) if last not in (*rows.right, *rows.names) else [row[last]]
        for deep, end in enumerate(below):
            parts = [*(row[:last] if not deep else [""] * last), end]
            lines.append("  " + "  ".join(
                " " * (w - columns(part)) + part if k in rows.right else padded(short(part, w), w)
                for k, (part, w) in enumerate(zip(parts, widths, strict=True))))
    return lines


def details(check: ClaimCheck, story: Story, *, width: int = 80) -> str:
    """Return all figures in sections, at most 100 wide."""
    wide = min(width, WIDEST)
    lines: list[str] = []
    for title, parts in _sections(check, story):
        lines += ["", *wrap(title.upper(), wide)]
        for part in parts:
            lines += table(part, wide) if isinstance(part, Rows) else [f"  {line}" for line in wrap(part, wide - 2)]
    return terminal(lines[1:])


def _sections(check: ClaimCheck, story: Story) -> Iterator[tuple[str, Sequence[str | Rows]]]:
    name = percent(check.level)
    yield "The four questions, mild to strict", [
        Rows([["", "question", "answer", f"error ({name} interval that decides)"],
              *([">" if row.asked else "", row.words, row.verdict, row.figures] for row in story.questions)]),
        f"Claim {check.claim.text}. > marks the question that was asked."]
    if story.bands:
        yield "By power band", [
            Rows([["band", "seconds", "error, %", "limit", "answer"],
                  *([row.name, f"{row.seconds:,}", row.figures, row.limit, row.place] for row in story.bands)], (1,)),
            "The interval of each band is the one that decides: all bands hold at once."]
    yield "By session", _sessions(check, story)
    yield "Where the uncertainty comes from", _uncertainty(check)
    yield "Seconds used and set aside", _seconds(check)
    yield "Clocks", [line for item in check.pairs for line in _clock(check, item)]
    yield "Scatter", _scatter(check)
    yield "Likely causes", _causes(check) or [f"{upper_first(story.no_cause)}."]
    yield "To enter", [upper_first(" ".join(story.enter))]
    if len(story.caveats):
        yield "Warnings", [upper_first(item.text) for item in story.caveats]
    noted = _noted(check)
    if noted:
        yield "As noted while reading and matching", noted
    yield "What this is not", [LONG_CAUTION]


def _sessions(check: ClaimCheck, story: Story) -> list[str | Rows]:
    rows = [["", "date", "reference", "device", "used", "faulty", "error"]]
    rows += [[str(row.number) + ("!" if row.odd else ""), row.date, row.reference, row.device, duration(row.used_s),
              f"{row.faulty_s} s", row.error] for row in story.sessions]
    lines: list[str | Rows] = [Rows(rows, (4, 5, 6), (2, 3))]
    if any(row.odd for row in story.sessions):
        lines.append("! marks a session far from the others.")
    if check.effects is not None:
        following = next(row for row in story.questions if row.meaning == "next_session")
        lines.append(f"The next session is expected at {following.figures}.")
    return lines


def _uncertainty(check: ClaimCheck) -> list[str | Rows]:
    rows = [["from", "share"], *([SOURCES.get(term.name, term.name), f"{100 * term.share:.0f} %"]
                                 for term in check.budget)]
    known = stated(check) or "taken as exact, since no ± was stated"
    return [*([Rows(rows, (1,))] if check.budget else []),
            f"Shares of the squared uncertainty of the mean error. The reference: {known}."]


def _seconds(check: ClaimCheck) -> list[str | Rows]:
    seconds = check.seconds()
    rows = [["set aside", "seconds"],
            *([fault(reason), f"{count:,}"] for reason, count in seconds["set_aside"].items() if count)]
    lines: list[str | Rows] = [
        f"{seconds['used']:,} of {seconds['overlap']:,} s were used ({duration(seconds['used'])})."
        f"{ridden_text(check)}"]
    lines += [Rows(rows, (1,))] if len(rows) > 1 else []
    for item in check.pairs:
        for row in item.fault_table():
            more = ", ..." if row.events > len(row.first_s) else ""
            where = ", ".join(clock_of(start) for start in row.first_s) + more
            session = f"Session {item.session}: " if len(check.pairs) > 1 else ""
            kept = "" if row.handling == "set aside" else " These seconds were used."
            what = session + upper_first(fault(row.kind))
            lines.append(f"{what}: {counted(row.events, 'time')} at {where}; the mean error is "
                         f"{plain(row.bias_without, 2, sign=True)} % without these seconds, "
                         f"{plain(row.bias_with, 2, sign=True)} % with them.{kept}")
    if any(count for reason, count in seconds["set_aside"].items() if reason not in REASONS):
        lines.append(f"With all faulty seconds counted in, the mean error is "
                     f"{interval_text(check.bias_with_faults, '%')}.")
    return lines


def _clock(check: ClaimCheck, item: Pairs) -> list[str]:
    session = f"Session {item.session}: " if len(check.pairs) > 1 else ""
    return [session + clock_words(item.alignment)]


def _scatter(check: ClaimCheck) -> list[str]:
    lines = []
    limits = check.limits
    if limits is not None:
        lines.append(f"{percent(limits.coverage)} of the {check.window_s}-s readings lie between "
                     f"{interval_text(limits.lower, '%')} and {interval_text(limits.upper, '%')}, if their errors are "
                     "normal; their plain mean is "
                     f"{interval_text(limits.bias, '%')}. That mean counts every reading of a session alike; the mean "
                     "error above is the sum of all errors over the sum of the reference, so that high readings count "
                     "more." + (NORMAL_MEANS if limits.sampling == "sessions" else ""))
    for number, item in enumerate(check.response, 1):
        session = f"Session {number}: " if len(check.response) > 1 else ""
        bent = bent_words(check.pairs[number - 1].matched) if len(check.pairs) == len(check.response) else ""
        lines.append(session + (bent or response_words(item)))
    for pairs in check.pairs:
        session = f"Session {pairs.session}: " if len(check.pairs) > 1 else ""
        lines += [session + words for words in repeated_words(pairs.matched)]
    return lines or ["Too few readings to say."]


SIZE_OF_BOTH = " A size told above is of its averaging and this together."


def repeated_words(made: Matched | None) -> list[str]:
    """Say which traces have a reading every few seconds, and what cannot be told beside them."""
    if made is None:
        return []
    return [
        f"The {role} has a new reading every {every} s: it is compared where one comes. Not tellable, and so used: a "
        f"reading that it holds while power hardly changes; whether a 0 of the {other} between two of them is a stop."
        f"{SIZE_OF_BOTH if made.smoother == role and math.isfinite(made.size_s) else ''}"
        for role, other, every in (("reference", "device", made.reference_every_s),
                                   ("device", "reference", made.device_every_s)) if every > 1]


def bent_words(made: Matched | None) -> str:
    """Say how a trace responds that no linear filter describes; "" of any other."""
    if made is None or not (made.held_s or made.kind == "uneven"):
        return ""
    role = made.smoother or "device"
    if made.held_s:
        return f"The {role} goes on with its last reading for {made.held_s} s after pedalling ends."
    return (f"The {role} lags with a time constant of {made.size_s:.1f} s ({made.size_low_s:.1f} to "
            f"{made.size_high_s:.1f}) to more power, and of {made.down_s:.1f} s ({made.down_low_s:.1f} to "
            f"{made.down_high_s:.1f}) to less, compared with the other.")


def response_words(item: Response | None) -> str:
    """Say which trace is the smoother, by how much, and what that explains."""
    size = None if item is None else item.width_s or item.time_constant_s
    if item is None:
        return "How fast the two respond was not compared: too few seconds, or too little change."
    if not item.fits:
        who = f"The {item.smoother} is the smoother, but no" if item.smoother and size is not None else "No"
        return (f"{who} kind of response that was tried (a running mean, a lag, two in a row, or none) fits how the "
                "two differ: no size is told.")
    if item.between_s and item.kind == "none":
        return _between(item)
    if size is None or item.explained is None:
        if not item.alike:
            return "No difference in how fast the two respond was found."
        return ("Whether the two respond equally fast cannot be told from these readings: not excluded are "
                f"{listed(item.alike)}.")
    if item.down_constant_s is not None:
        return (f"The {item.smoother} lags with a time constant of {amount(size, 's')} to more power, and of "
                f"{amount(item.down_constant_s, 's')} to less, compared with the other.")
    what = "averages over" if item.width_s is not None else "lags with a time constant of"
    after = item.time_constant_s if item.width_s is not None else item.second_constant_s
    in_a_row = "" if after is None else (
        f" and, in a row, lags with a time constant of {amount(after, 's')}" if item.width_s is not None else
        f" and, in a row, with one of {amount(after, 's')}")
    doubt = f" (or {', '.join(item.alike)})" if item.alike else ""
    return (f"The {item.smoother} {what} {amount(size, 's')}{in_a_row}{doubt}, compared with the other; this explains "
            f"{100 * item.explained.value:.0f} % of the scatter from second to second.")


def _between(item: Response) -> str:
    """Say that a part of a second is all by which the two differ, and what would look the same."""
    late = item.delay_s.value - math.floor(item.delay_s.value)
    words = ("No difference in how fast the two respond was found, but a part of a second, which is taken out: "
             f"readings of the device lie {late:.2f} s after whole seconds of the reference.")
    return words + (f" Not told from that: {listed(item.alike)}." if item.alike else "")


def listed(items: Sequence[str]) -> str:
    """List some as in a sentence: "a, b and c"."""
    return " and ".join([", ".join(items[:-1]), items[-1]] if len(items) > 1 else items)


def _causes(check: ClaimCheck) -> list[str]:
    lines = []
    for number, (item, words) in enumerate(told_causes(check), 1):
        supported, doubted = ("; ".join(texts) for texts in (evidence(item), against(item)))
        told = f" For it: {supported}." if supported else ""
        told += f" Against: {doubted}." if doubted else ""
        lines.append(printable(f"{number}. {upper_first(words)}.{told}"))
    return lines


def _noted(check: ClaimCheck) -> list[str]:
    lines: list[str] = []
    for item in check.pairs:
        session = f"Session {item.session}, " if len(check.pairs) > 1 else ""
        for note in item.notes:
            role = f"{note.role}: " if isinstance(note, Note) and note.role else ""
            lines.append(f"{session}{whole_parts(role + note_text(note), MOST_NOTE)}")
    return lines
