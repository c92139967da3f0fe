"""The page of several devices, on one effort or over sessions: who stands apart, factors, own errors, changes."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from agree.core.results.words import percent
from agree.devices.compare import Device, DeviceComparison
from agree.report.answer_file import write_sheet
from agree.report.figures.devices_panels import (
    draw_by_session,
    draw_differences,
    draw_own_errors,
    draw_session_sds,
)
from agree.report.page.answer_sheet import Panel, QuestionAsked, Sheet
from agree.report.story.language.names import short, upper_first
from agree.report.story.language.vocabulary import counted
from agree.report.texts import devices_text as told
from agree.trail.device_sessions import DeviceSessions

MOST = 15           # pairs drawn
NAMES, PAIRS = 110.0, 170.0  # room for names, and for those of two devices, pt
CAUTION = ("The first device is not right because it is first, and two that agree may err together. Factors hold for "
           "these efforts; own errors are those of window means, without a wrong scale.")


def sheet_of_devices(result: DeviceComparison | DeviceSessions) -> Sheet:
    """Return what the page says and shows."""
    return _sessions(result) if isinstance(result, DeviceSessions) else _effort(result)


def _effort(result: DeviceComparison) -> Sheet:
    differences = sorted(result.differences, key=lambda item: -abs(item.percent.value))
    level = percent(result.differences[0].percent.level)
    more = f" The {MOST} furthest of {len(differences)}." if len(differences) > MOST else ""
    panels = [Panel("How each two differ", f"{level} intervals. Diamond: they differ, all comparisons at once; disc: "
                    f"no difference was found.{more}", partial(draw_differences, differences=differences[:MOST]),
                    wide=True, beside=PAIRS)]
    if any(item.error_sd is not None for item in result.devices):
        panels.append(Panel("Own error of each", "Split from the differences; right if no two devices share a source "
                            "of error.", partial(draw_own_errors, result=result), wide=True, beside=NAMES))
    texts = [(" " if k else "Mind", upper_first(told.minded(note))) for k, note in enumerate(result.notes)]
    return Sheet("", "Several devices on one effort, none trusted",
                 f"{counted(len(result.devices), 'device')}, {result.seconds / 60:.0f} min together, {result.windows} "
                 "windows", told.headline(result).rpartition(" (")[0] + ".",
                 [_row(item, first=not k) for k, item in enumerate(result.devices)], texts, panels, CAUTION,
                 "Each device, and what to multiply it by to read as the first")


def _row(item: Device, *, first: bool) -> QuestionAsked:
    said, sign = "", ""
    if item.stands_apart:
        said, sign = "stands apart", "does not hold"
    elif item.voice_of:
        said, sign = f"repeats {short(item.voice_of, 16)}", "not settled"
    own = "own error cannot be told" if item.error_sd is None else f"own error {told.own_text(item.error_sd)}"
    clock = "" if first else f"; clock {item.lag_s:+.1f} s"
    response = told.response_of(item)
    return QuestionAsked(item.name, said, f"times {'1' if first else told.factor_text(item.factor)}; {own}{clock}"
                         + (f"; {response}" if response else ""), item.stands_apart, sign)


def _sessions(result: DeviceSessions) -> Sheet:
    first = result.devices[0].name
    panels = [Panel(f"Reading against {short(first)}, by session", "Each session with its own interval; uprights: a "
                    "change of state.", partial(draw_by_session, result=result), wide=True)]
    if any(item.session_sd is not None for item in result.devices):
        panels.append(Panel("What varies from session to session", "Own error of each device from day to day, SD, "
                            "split from the differences; right if no two devices share a source of it.",
                            partial(draw_session_sds, result=result), wide=True, beside=NAMES))
    rows = [QuestionAsked(item.name, "", f"times {told.factor_text(item.factor)}; varies by session: "
                          f"{told.varies_text(item)}") for item in result.devices]
    texts = [(" " if k else "Changes", upper_first(row.text)) for k, row in enumerate(told.change_rows(result)[:8])]
    texts += [(" " if k else "Mind", upper_first(told.minded(note))) for k, note in enumerate(result.notes)]
    states = dict.fromkeys(result.states)
    return Sheet("", "Several devices over sessions, none trusted",
                 f"{counted(len(result.states), 'session')} in {counted(len(states), 'state')}",
                 f"{told.sessions_headline(result)}.", rows, texts, panels, CAUTION,
                 "Each device, and what to multiply it by to read as the first")


def write_devices_page(result: DeviceComparison | DeviceSessions, path: str | Path) -> None:
    """Write the page of several devices, whole or not at all.

    Parameters
    ----------
    result : DeviceComparison or DeviceSessions
        Of one effort, or of several sessions.
    path : str or Path
        Where to; the suffix says the form: .pdf, .svg, .png or .html. An existing file is replaced.

    Raises
    ------
    InputError
        Another suffix, or a place that cannot be written.
    """
    write_sheet(sheet_of_devices(result), path, result.to_dict())
