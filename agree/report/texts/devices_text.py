"""Several devices as text: who stands apart, factors and own errors; over sessions, who varies and who changed."""

from __future__ import annotations

from dataclasses import replace
from itertools import takewhile

from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.words import summary
from agree.devices.compare import Device, DeviceComparison
from agree.report.notes.sentence import note_text
from agree.report.plain_text.answer_rows import WIDTH, Row, set_rows
from agree.report.plain_text.lines import padded
from agree.report.story.language.digits import interval_text, plain, plain_interval, shown
from agree.report.story.language.names import columns, short
from agree.report.story.language.vocabulary import counted
from agree.report.texts.trail_text import points
from agree.trail.device_sessions import DeviceOverSessions, DeviceSessions

NAME, LEAST, FACTOR = 18, 6, 32  # columns of a name, at most and at least; of a factor
IN_NOTE = 60   # columns of one or several names in a note
MOST = 6       # devices whose rows always stand
SENTENCES = {
    "devices_lasting_errors": "errors last for minutes: own errors are known less well than their intervals say; "
                              "several sessions (--sessions) tell more.",
    "devices_two_cannot_tell": "two devices cannot tell which of them is wrong; record a third beside them.",
    "devices_shared_error_unseen": "an error that two of the three share is charged to the third: a fourth device "
                                   "would show it.",
}
UNKNOWN = "cannot be told"
FIRST = "the first device is not right because it is first."
CAUTION = f"{FIRST} Factors hold for this effort; own errors are those of window means, without a wrong scale."


def minded(note: Note) -> str:
    """Say what is to be minded."""
    values = {name: short(value, IN_NOTE) if isinstance(value, str) else value for name, value in note.values.items()}
    if note.kind == "devices_one_voice":
        return (f"{values['second']} repeats {values['first']} to rounding: one device through two links or settings "
                "is one witness.")
    if note.kind == "devices_no_closure":
        return (f"{values['devices']}: the three pairings do not close, by {values['percent']:+.2f} % and "
                f"{values['lag_s']:+.1f} s: one of them is wrong.")
    if note.kind == "devices_shared_error":
        return (f"one of {values['first']} shares an error with one of {values['second']}: do not trust own errors and "
                "who stands apart.")
    return SENTENCES.get(note.kind) or note_text(replace(note, values=values))


def headline(result: DeviceComparison) -> str:
    """Who stands apart, or whether devices differ, in one line."""
    apart = next((item.name for item in result.devices if item.stands_apart), None)
    differ = any(item.differs for item in result.differences)
    rest = max((abs(item.percent.value) for item in result.differences
                if item.differs and apart not in (item.first, item.second)), default=0.0)
    alike = f"which differ by {plain(rest, 2)} % at most" if rest else "which do not differ"
    head = (f"{apart} STANDS APART from the others, {alike}" if apart is not None else
            "THE DEVICES DIFFER" if differ else "NO DIFFERENCE was found between the devices")
    return f"{head} ({len(result.devices)} devices, {result.seconds / 60:.0f} min together, none trusted)"


def factor_text(factor: Estimate) -> str:
    """A factor with its interval; 1 for the first device."""
    return "1" if factor.low == factor.high == 1 else plain_interval(factor)


def own_text(sd: Estimate | None) -> str:
    """An own error with its interval, per cent; one whose variance comes out at 0 or below is none that was found."""
    if sd is None:
        return UNKNOWN
    return plain_interval(sd, "%") if sd.value > 0 else f"none found, below {plain(shown(sd).high, 2)} %"


def response_of(item: Device) -> str:
    """How a device follows changes beside the first; "" if alike."""
    return f"{item.response}, {item.response_s:.2g} s" if item.response else ""


def _table(head: tuple[str, str, str], rows: list[tuple[str, str, str]]) -> list[Row]:
    width = max(min(max(columns(row[0]) for row in rows), NAME), LEAST)
    lines = [f"{padded(short(name, width), width)}  {padded(factor, FACTOR)}  {own}".rstrip()
             for name, factor, own in (head, *rows)]
    words = ["", *(f"{name}: times {factor}; {head[2]} {own}." for name, factor, own in rows)]
    return [Row("", line, 7 if k > MOST else 0, text, plain=True)
            for k, (line, text) in enumerate(zip(lines, words, strict=True))]


def rows_of(result: DeviceComparison) -> list[Row]:
    """Every row below the answer."""
    rows = _table(("device", "multiply by, to read as the first", "own error"), [
        (item.name, factor_text(item.factor) if k else "1", own_text(item.error_sd))
        for k, item in enumerate(result.devices)])
    differ = sorted((item for item in result.differences if item.differs), key=lambda item: -abs(item.percent.value))
    for k, item in enumerate(differ):
        text = f"{short(item.second)} reads {interval_text(item.percent, '%', 0.0)} against {short(item.first)}."
        rows.append(Row(" " if k else "Furthest", text, 9 if k else 0))
    rows += [Row(" " if k else "Mind", minded(note), 8 if k > 1 else k) for k, note in enumerate(result.notes)]
    slow = [f"{short(item.name, NAME)} is {item.response} ({item.response_s:.2g} s)" for item in result.devices
            if item.response]
    if slow:
        rows.append(Row("Response", f"{'; '.join(slow)}; taken out before the comparison.", 3))
    return [*rows, Row("Caution", CAUTION, 4, FIRST)]


def devices_text(result: DeviceComparison | DeviceSessions, *, width: int = WIDTH, details: bool = False) -> str:
    """Return the comparison as text: at most 16 lines of 80 columns, or every row with `details`."""
    if isinstance(result, DeviceSessions):
        return set_rows([Row("", sessions_headline(result)), *session_rows(result)], width=width, details=details)
    return set_rows([Row("", headline(result)), *rows_of(result)], width=width, details=details)


@summary.register
def _(result: DeviceComparison) -> str:
    return devices_text(result)


def sessions_headline(result: DeviceSessions) -> str:
    """How many devices over how many sessions, and which state the factors are of."""
    last = len(list(takewhile(lambda item: item == result.states[-1], reversed(result.states))))
    where = ""
    if len(set(result.states)) > 1:
        where = f", factors of {counted(last, 'session')} in the state {result.states[-1]!r}"
    return f"{len(result.devices)} DEVICES over {counted(len(result.states), 'session')}, none trusted{where}"


def varies_text(item: DeviceOverSessions) -> str:
    """How much a device's own error varies from session to session."""
    return own_text(item.session_sd)


def change_rows(result: DeviceSessions) -> list[Row]:
    """What each change of state did to each device's reading against the first, the newest first."""
    rows: list[Row] = []
    for k in reversed(range(len(result.devices[0].changes))):
        for item in result.devices[1:]:
            change = item.changes[k]
            text = (f"{short(item.name)}, to {short(change.after)!r}: {change.answer}, "
                    f"{points(change.change_percent)} against {short(result.devices[0].name)}.")
            rows.append(Row("Change", text, min(3 + len(rows), 9)))
    return rows


def session_rows(result: DeviceSessions) -> list[Row]:
    """Every row below the headline."""
    rows = _table(("device", "multiply by, to read as the first", "varies by session"), [
        (item.name, factor_text(item.factor), varies_text(item)) for item in result.devices])
    rows += change_rows(result)
    return [*rows, *(Row(" " if k else "Mind", minded(note)) for k, note in enumerate(result.notes)),
            Row("Caution", FIRST, 2)]


@summary.register
def _(result: DeviceSessions) -> str:
    return devices_text(result)
