"""The page of several devices, in all forms, from a result made by hand."""

import math
from itertools import combinations

import pytest

from agree import Estimate, InputError
from agree.core.results.note import Note
from agree.devices.compare import Device, DeviceComparison
from agree.devices.means import Difference
from agree.report.devices_page import sheet_of_devices, write_devices_page
from agree.report.page.answer_sheet import draw_sheet
from agree.report.story.language.names import columns
from agree.report.texts.devices_text import devices_text
from agree.trail.device_sessions import DeviceOverSessions, DeviceSessions
from agree.trail.states import Change
from tests.report.layouts import NAMES, faults


def item(value, half=0.1):
    return Estimate(value=value, low=value - half, high=value + half, level=0.95, method="t")


def device(name, factor, own, **more):
    return Device(name=name, error_sd=own, factor=item(factor, 0.01), factor_to_mean=item(factor), lag_s=2.0,
                  stands_apart=more.pop("apart", False), **more)


@pytest.fixture
def result():
    return DeviceComparison(
        devices=(device("crank", 1.0, item(0.5)), device("pedals & co", 1.03, item(0.7), apart=True),
                 device("link 2", 1.0, None, voice_of="crank", response="slower", response_s=4.0)),
        differences=(Difference(first="crank", second="pedals & co", percent=item(-3.0), differs=True),
                     Difference(first="crank", second="link 2", percent=item(0.0), differs=False)),
        seconds=2400, windows=80, notes=(Note(kind="devices_one_voice", severity="answer",
                                              values={"first": "crank", "second": "link 2"}),))


def test_the_table_says_who_is_who(result):
    rows = sheet_of_devices(result).questions
    assert [(row.words, row.verdict, row.sign) for row in rows] == [
        ("crank", "", ""), ("pedals & co", "stands apart", "does not hold"), ("link 2", "repeats crank", "not settled")]
    assert rows[0].figures == "times 1; own error 0.5 % (0.4 to 0.6)"
    assert rows[1].figures == "times 1.03 (1.02 to 1.04); own error 0.7 % (0.6 to 0.8); clock +2.0 s"
    assert rows[2].figures == "times 1.00 (0.99 to 1.01); own error cannot be told; clock +2.0 s; slower, 4 s"
    assert math.isnan(result.devices[0].response_s)


@pytest.mark.parametrize("suffix", [".pdf", ".svg", ".html"])
def test_every_form(result, tmp_path, suffix):
    for name in ("one", "two"):
        write_devices_page(result, tmp_path / f"{name}{suffix}")
    made = (tmp_path / f"one{suffix}").read_bytes()
    assert made == (tmp_path / f"two{suffix}").read_bytes()
    if suffix == ".pdf":
        assert made.startswith(b"%PDF")
        return
    text = made.decode("utf-8")
    for words in ("pedals &amp; co", "stands apart", "How each two differ", "two links or settings is one"):
        assert words in text


def crowd(count, name):
    """So many devices with long names, all of which differ."""
    names = [f"{name} {k}" for k in range(count)]
    return DeviceComparison(
        devices=tuple(device(name, 1.03, item(0.5 + 0.1 * k), response="slower", response_s=2.0)
                      for k, name in enumerate(names)),
        differences=tuple(Difference(first=one, second=two, percent=item(-3.0), differs=True)
                          for one, two in combinations(names, 2)),
        seconds=2400, windows=80, notes=(Note(kind="devices_no_closure", severity="trust", values={
            "devices": ", ".join(names[:3]), "percent": 0.5, "lag_s": 2.0}),) * 4)


def over_sessions(count, sessions, state):
    """So many devices over so many sessions, in states of three sessions each."""
    one = crowd(count, "unit")
    states = tuple(f"{state} {k // 3}" for k in range(sessions))
    change = Change(before=states[0], after=states[-1], change_percent=item(3.0, 4.0), answer="not settled",
                    margin_percent=0.5, expected_percent=math.nan, as_expected=None)
    sd = None if count < 3 else item(0.0, 1.0)
    devices = tuple(DeviceOverSessions(name=each.name, factor=each.factor, session_sd=sd,
                                       changes=(change,) * ((sessions - 1) // 3)) for each in one.devices)
    return DeviceSessions(devices=devices, sessions=(one,) * sessions, states=states, notes=())


def test_pages_are_whole_and_texts_short(result):
    for made in (crowd(6, NAMES["long"]), crowd(10, NAMES["CJK"]), over_sessions(3, 12, NAMES["long"]),
                 over_sessions(2, 1, "new")):
        assert faults(draw_sheet(sheet_of_devices(made))) == []
        for width in (40, 80, 120):
            lines = devices_text(made, width=width).splitlines()
            assert max(map(columns, lines)) <= width
            assert len(lines) <= 16 or width < 80
    assert "none found, below 1.00 %" in devices_text(over_sessions(3, 4, "new"))


def test_another_suffix_is_refused(result, tmp_path):
    with pytest.raises(InputError, match=r"must end in .pdf, .png, .svg or .html; got no suffix"):
        write_devices_page(result, tmp_path / "devices")
