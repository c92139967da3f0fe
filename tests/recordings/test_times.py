"""Times in every form: read rightly, or refused with what to do; no form is taken for another."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from agree import InputError, read_recording
from tests.each import each
from tests.said import said

START = datetime(2024, 5, 31, 17, 2, 3, tzinfo=UTC)
UNIX = START.timestamp()
FIT = UNIX - 631_065_600


def text(header, cells):
    return (f"{header};power\n" + "".join(f"{cell};{200 + k % 9}\n" for k, cell in enumerate(cells))).encode()


def stamps(form, count=90, step=1.0):
    return [(START + timedelta(seconds=step * k)).strftime(form) for k in range(count)]


def refused(header, cells, **options):
    with pytest.raises(InputError) as caught:
        read_recording(text(header, cells), **options)
    assert caught.value.option == "time_column"
    return str(caught.value)


@each(("header", "cells", "first", "clock"), [
    ("time", stamps("%H%M%S"), 17 * 3600 + 123, "elapsed"),
    ("time", [f"{cell}.00" for cell in stamps("%H%M%S")], 17 * 3600 + 123, "elapsed"),
    ("HHMMSS", stamps("%H%M%S", 5), 17 * 3600 + 123, "elapsed"),
    ("Uhrzeit", stamps("%I:%M:%S %p"), 17 * 3600 + 123, "elapsed"),
    ("hora", [cell.replace("PM", "p. m.") for cell in stamps("%I:%M:%S %p")], 17 * 3600 + 123, "elapsed"),
    ("time", stamps("%m/%d/%Y %I:%M:%S %p"), UNIX, "local"),
    ("time", stamps("%Y%m%d%H%M%S"), UNIX, "local"),
    ("time", [f"{FIT + k:.0f}" for k in range(90)], UNIX, "utc"),
    ("timestamp", [f"{UNIX + k:.0f}" for k in range(90)], UNIX, "utc"),
    ("time_ms", [f"{1000 * (UNIX + k):.0f}" for k in range(90)], UNIX, "utc"),
    ("time_ms", [f"{150_000_000 + 1000 * k}" for k in range(90)], 150_000, "elapsed"),
    ("time [us]", [f"{1_000_000 * k}" for k in range(90)], 0, "elapsed"),
    ("time", [f"{k // 60:02}:{k % 60:02}" for k in range(90)], 0, "elapsed"),
    ("time [mm:ss]", [f"{12 + k // 60:02}:{k % 60:02}" for k in range(90)], 720, "elapsed"),
    ("time", [f"{30 + k // 60:02}:{k % 60:02}" for k in range(90)], 1800, "elapsed"),
    ("time", [f"{k // 60:02}:{k % 60:02}.0" for k in range(700, 790)], 700, "elapsed"),
    ("s", [str(k) for k in range(90)], 0, "elapsed")])
def test_read_rightly(header, cells, first, clock):
    found = read_recording(text(header, cells))
    assert found.clock == clock
    np.testing.assert_allclose(found.time, first + np.arange(len(cells)), atol=1e-6)


def test_seconds_since_1989_are_said():
    found = read_recording(text("time", [f"{FIT + k:.0f}" for k in range(9)]))
    assert [note.kind for note in found.notes if note.severity == "trust"] == ["read_fit_epoch"]
    assert "seconds since 1989-12-31" in " ".join(said(found))
    assert found.start == "2024-05-31T17:02:03Z"


@pytest.mark.parametrize("year", [1992, 2010, 2024])
def test_only_dates_before_2010_are_taken_so(year):
    first = datetime(year, 6, 1, tzinfo=UTC).timestamp()
    found = read_recording(text("time", [f"{first + k:.0f}" for k in range(9)]))
    assert found.start.startswith(str(year))


@pytest.mark.parametrize(("header", "cells"), [
    ("Uhrzeit", stamps("%H:%M", 90, 60)), ("time", stamps("%H:%M")), ("time (hh:mm)", stamps("%H:%M", 90, 60)),
    ("time", stamps("%I:%M %p", 90, 60)), ("time", stamps("%Y-%m-%d %H:%M", 300)),
    ("time", stamps("%d.%m.%Y %H:%M", 300))])
def test_times_to_the_minute_are_refused(header, cells):
    assert "to the minute" in refused(header, cells)


def test_what_may_be_either_is_refused():
    """17:02, 17:03 ...: a minute a row, or a second a row after 17 minutes."""
    assert refused("time", [f"{17 + k // 60:02}:{k % 60:02}" for k in range(2, 90)]) == (
        "bytes, row 2: found '17:02' in column 'time', which may be mm:ss or hh:mm; expected stamps of one meaning; "
        "write them as h:mm:ss, or call the column 'time [mm:ss]'")


@pytest.mark.parametrize("cells", [
    stamps("%I:%M:%S", 9000), ["11:59:58 AM", "11:59:59 AM", "12:00:00"], ["13:05:00 PM", "13:05:01 PM", "13:05:02 PM"],
    [f"{45443.7 + k / 86400:.6f}" for k in range(90)]])
def test_clocks_that_tell_too_little(cells):
    """12 hours without a.m. and p.m. past 1 o'clock, mixed forms, an hour that is not, days of a spreadsheet."""
    if cells[0] == "05:02:03":  # from 5 o'clock on nothing tells of it in 2.5 h: no wrap, right from the start on
        assert read_recording(text("time", cells)).time[0] == 5 * 3600 + 123
        return
    refused("time", cells)


def test_a_twelve_hour_clock_that_wraps_is_refused():
    cells = [(START.replace(hour=12) + timedelta(seconds=60 * k)).strftime("%I:%M:%S") for k in range(90)]
    with pytest.raises(InputError, match=r"as of a 12-hour clock without a.m. and p.m.; expected time not to go back"):
        read_recording(text("time", cells))


def test_seconds_elapsed_are_no_time_of_day():
    """Seconds in a row show 60 to 99 as endings; every tenth second shows them too."""
    for cells in (range(1000, 1200), range(0, 4000, 10), range(100, 160), range(59)):
        found = read_recording(text("time", [str(k) for k in cells]))
        assert found.time.tolist() == list(cells)


def test_a_pace_is_no_time():
    data = ("pace;power\n" + "".join(f"4:{30 + k % 5};{200 + k}\n" for k in range(9))).encode()
    assert read_recording(data).clock == "rows"


@pytest.mark.parametrize(("seconds", "form"), [
    (724_999_990, "1970"), (725_000_010, "1989"), (1_261_999_980, "1989"), (1_262_000_010, "1970")])
def test_bounds_of_seconds_since_1989(seconds, form):
    found = read_recording(text("time", [str(seconds + k) for k in range(5)]))
    assert f"(seconds since {form}" in " ".join(said(found))


@pytest.mark.parametrize(("header", "cells", "words"), [
    ("time", [f"2024-05-31 17:{k:02}" for k in range(10) for _ in range(4)], "to the minute that 4 rows share"),
    ("time", [f"{1.71e9 + 1000 * k:.6e}" for k in range(10) for _ in range(9)], "of stamps 1e+03 s apart that 9 rows"),
    ("time [h]", [f"{k / 3600:.3f}" for k in range(720)], "of stamps 3.6 s apart that 4 rows share")])
def test_stamps_that_are_rounded_are_refused(header, cells, words):
    """They were read as readings hundreds of which share a stamp."""
    assert words in refused(header, cells)


def test_mm_ss_goes_on_past_the_hour():
    cells = [f"{k // 3600}:{k // 60 % 60:02}:{k % 60:02}" if k >= 3600 else f"{k // 60}:{k % 60:02}"
             for k in range(3500, 3700)]
    assert read_recording(text("time", cells)).time.tolist() == list(range(3500, 3700))
    assert "like '58:20'" in refused("time", [*cells, "62:01"])


def test_bounds_of_endings_that_make_a_time_of_day():
    """170055 ... 170059, 170100 ...: with 10 different endings HHMMSS, with 9 elapsed seconds that jump."""
    for count, step in ((10, 1), (9, 41)):
        cells = [(START.replace(second=0) + timedelta(seconds=55 + k)).strftime("%H%M%S") for k in range(count)]
        assert np.diff(read_recording(text("time", cells)).time).max() == step


def test_seconds_beyond_a_gap_are_no_time_of_day():
    """0 to 17 s and 107 s: read as HHMMSS, the last was at 67 s."""
    for seconds in ([*range(18), 107], [*range(10), 36.5, 105]):
        assert read_recording(text("time", [f"{value:.2f}" for value in seconds])).time.tolist() == seconds


@pytest.mark.parametrize(("header", "cells"), [
    ("ms", [f"{250 * k}" for k in range(90)]), ("Millisekunden", [f"{250 * k}" for k in range(90)]),
    ("minutes", [f"{k / 240:.6f}" for k in range(90)]), ("Zeit [h]", [f"{k / 14_400:.8f}" for k in range(90)]),
    ("time_h", [f"{k / 14_400:.8f}" for k in range(90)]), ("Zeit [Stunden]", [f"{k / 14_400:.8f}" for k in range(90)]),
    ("Dauer", [f"{k / 4}" for k in range(90)]), ("durée (s)", [f"{k / 4}" for k in range(90)]),
    ("duration ms", [f"{250 * k}" for k in range(90)])])
def test_units_of_time_four_a_second(header, cells):
    """Not taken for time, they were read as rows of one second, or refused with "0.03 s from first to last"."""
    found = read_recording(text(header, cells))
    assert found.columns["time"] == header
    np.testing.assert_allclose(found.time, np.arange(90) / 4, atol=1e-4)


@pytest.mark.parametrize(("header", "cells"), [
    ("min", [f"{90 + k % 5}" for k in range(90)]), ("duration", [f"{90 - k % 5}" for k in range(90)])])
def test_what_does_not_count_on_is_no_time(header, cells):
    assert read_recording(text(header, cells)).clock == "rows"


@pytest.mark.parametrize(("cells", "words"), [
    ([f"{k / 60:.5f}" for k in range(90)], "steps of 0.01667 in column 'time', a second each if they count minutes; "
     "expected a unit in its name; call it 'time [minutes]', or 'time [s]' if it counts seconds"),
    ([f"{k / 60:.2f}" for k in range(90)], "a second each if they count minutes"),
    ([f"{k / 3600:.8f}" for k in range(90)], "a second each if they count hours"),
    ([f"{45443.7 + k / 86400:.8f}" for k in range(90)], "count days; expected a unit in its name; format the cells as"),
    ([f"{1000 * k}" for k in range(90)], "steps of 1000 in column 'time', which may be milliseconds; expected a unit "
     "in its name; call it 'time [ms]' or 'time [s]'")])
def test_plain_numbers_that_are_hardly_seconds_are_refused(cells, words):
    assert words in refused("time", cells)
    assert np.diff(read_recording(text("time [s]", [f"{k / 60:.5f}" for k in range(90)])).time).max() < 0.02


def test_a_form_in_the_name_is_no_unit():
    """Numbers under "time (h:m:s)" are no hours."""
    assert read_recording(text("time (h:m:s)", [str(k) for k in range(9)])).time.tolist() == list(range(9))


def test_a_duration_has_its_length_whatever_its_column_is_named_after():
    steps = np.arange(4).astype("m8[s]")
    for name in ("time", "time_ms", "elapsed min"):
        for source in ({name: steps, "power": [200, 201, 202, 203]},
                       pd.DataFrame({name: steps, "power": [200, 201, 202, 203]})):
            assert read_recording(source).time.tolist() == [0, 1, 2, 3]
