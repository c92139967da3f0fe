"""The page of several devices, in all forms, from a result made by hand."""

import math

import pytest

from agree import Estimate, InputError
from agree.core.results.note import Note
from agree.devices.compare import Device, DeviceComparison
from agree.devices.means import Difference
from agree.report.devices_page import table_rows, write_devices_page


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
    rows = table_rows(result)
    assert rows[1] == ("crank", "1", "0.50 (0.40 to 0.60)", "", "", "")
    assert rows[2] == ("pedals & co", "1.030 (1.020 to 1.040)", "0.70 (0.60 to 0.80)", "+2.0", "", "stands apart")
    assert rows[3][2:] == ("cannot be told", "+2.0", "slower, 4 s", "repeats crank")
    assert math.isnan(result.devices[0].response_s)


@pytest.mark.parametrize("suffix", [".pdf", ".svg", ".png", ".html"])
def test_every_form(result, tmp_path, suffix):
    path = tmp_path / f"devices{suffix}"
    write_devices_page(result, path)
    made = path.read_bytes()
    if suffix in (".pdf", ".png"):
        assert made.startswith(b"%PDF" if suffix == ".pdf" else b"\x89PNG")
        return
    text = made.decode("utf-8")
    for words in ("pedals &amp; co", "stands apart", "How each two differ", "two links or settings is one"):
        assert words in text


def test_another_suffix_is_refused(result, tmp_path):
    with pytest.raises(InputError, match=r"must end in .pdf, .png, .svg or .html; got no suffix"):
        write_devices_page(result, tmp_path / "devices")
