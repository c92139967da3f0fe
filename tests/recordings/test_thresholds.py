"""What a column is taken for, on both sides of each threshold: inputs are literal, so that a moved one is seen."""

from datetime import datetime, timedelta

import numpy as np
import pytest

from agree import InputError, read_recording
from agree.recordings.zones import through_change

MEDIANS = [  # TYPICAL_MEDIAN: header, lowest and highest median that is not questioned
    ("power (W)", "power", 15.0, 1500.0), ("heart rate", "heart rate", 40.0, 220.0),
    ("speed (m/s)", "speed", 0.5, 25.0), ("pace (s/km)", "pace", 40.0, 2000.0),  # 25 and 0.5 m/s
    ("cadence", "cadence", 20.0, 150.0), ("torque", "torque", 2.0, 150.0), ("balance right", "balance", 25.0, 75.0),
    ("core temperature", "core temperature", 35.0, 41.0), ("oxygen uptake (l/min)", "oxygen uptake", 0.2, 7.0)]


def table(header, cells, times=None):
    times = range(len(cells)) if times is None else times
    return "\n".join([header, *(f"{time},{cell}" for time, cell in zip(times, cells, strict=True)), ""]).encode()


@pytest.mark.parametrize(("header", "quantity", "low", "high"), MEDIANS, ids=[one[1] for one in MEDIANS])
def test_a_median_that_is_questioned(header, quantity, low, high):
    for value, questioned in ((low * 0.99, True), (low * 1.01, False), (high * 0.99, False), (high * 1.01, True)):
        found = read_recording(table(f"time,{header}", [f"{value:.4f}"] * 5), quantity=quantity)
        assert ("read_level" in [note.kind for note in found.notes]) == questioned, value


@pytest.mark.parametrize(("first", "last", "fit"), [
    pytest.param(725_000_001, 725_000_900, True, id="FIT_SECONDS"),
    pytest.param(724_999_999, 725_000_900, False, id="FIT_SECONDS"),
    pytest.param(1_261_999_000, 1_261_999_999, True, id="FIT_SECONDS"),
    pytest.param(1_261_999_000, 1_262_000_001, False, id="FIT_SECONDS")])
def test_seconds_of_another_epoch(first, last, fit):
    found = read_recording(table("timestamp,power", [200, 210, 220], [first, first + 1, last]))
    assert ("read_fit_epoch" in [note.kind for note in found.notes]) == fit


@pytest.mark.parametrize(("rows", "step", "refused"), [
    pytest.param(6, 60, "a stamp to the minute that 2 rows share", id="ROWS_PER_STAMP"),
    pytest.param(5, 60, "", id="ROWS_PER_STAMP"),
    pytest.param(6, 2.01, "of stamps 2.01 s apart that 2 rows share", id="SHARED_STAMP_S"),
    pytest.param(6, 1.99, "", id="SHARED_STAMP_S"), pytest.param(4, 60, "", id="FEWEST_STAMPS"),
    pytest.param(-10, 60, "that 5 rows share", id="SHARING_ROWS"), pytest.param(-9, 60, "", id="SHARING_ROWS")])
def test_rows_that_share_a_stamp(rows, step, refused):
    """Of 6 rows 2 share each of 3 stamps on average, of 5 rows fewer do, and 4 rows, -10 and -9 have 2."""
    times, rows = np.repeat([0, step, 2 * step], 5 if rows < 0 else 2)[:abs(rows)], abs(rows)
    data = table("time [s],power", [200 + k for k in range(rows)], times)
    if refused:
        with pytest.raises(InputError, match=refused):
            read_recording(data)
    else:
        assert read_recording(data).time.size


@pytest.mark.parametrize(("endings", "form"), [
    pytest.param(10, True, id="HHMMSS_ENDINGS"), pytest.param(9, False, id="HHMMSS_ENDINGS")])
def test_distinct_endings_of_a_time_of_day_without_colons(endings, form):
    """Seconds 55 to 59, and then of the next minute: a minute later by the clock, or 41 s later if it is a number."""
    times = [95_955 + k for k in range(5)] + [100_000 + k for k in range(endings - 5)]
    found = read_recording(table("time,power", [200 + k for k in range(endings)], times))
    assert (found.time[5] - found.time[4] == 1) == form


@pytest.mark.parametrize(("first", "said"), [
    pytest.param(725_000_000_001, "", id="FIT_SECONDS"), pytest.param(724_999_999_000, "of 1993;", id="FIT_SECONDS"),
    pytest.param(638_527_681_230_000_000, "as nanoseconds since 1970 is of 1990; expected a date", id="ticks"),
    pytest.param(133_616_000_000_000_000, "since 1970 is of 1974", id="FILETIME")])
def test_counts_from_another_year(first, said):
    """100 ns taken for 1 ns made seconds of hundredths."""
    data = table("time,power", [200, 210, 220], [first, first + 1000, first + 2000])
    if said:
        with pytest.raises(InputError, match=said):
            read_recording(data)
    else:
        assert read_recording(data).clock == "utc"


@pytest.mark.parametrize(("last", "refused"), [
    pytest.param(2_700_000_000, False, id="LATEST_UNIX_S"), pytest.param(2_700_000_001, True, id="LATEST_UNIX_S")])
def test_seconds_from_a_year_before_1970(last, refused):
    data = table("time,power", [200, 210, 220], [last - 2, last - 1, last])
    if refused:
        with pytest.raises(InputError, match=r"row 4: found 2700000001 .* it may count from 1900 or 1904"):
            read_recording(data)
    else:
        assert read_recording(data).clock == "utc"


@pytest.mark.parametrize(("step", "refused"), [
    pytest.param(1.019 / 60, True, id="SECOND_APART"), pytest.param(1.021 / 60, False, id="SECOND_APART"),
    pytest.param(0.979 / 60, False, id="SECOND_APART"), pytest.param(100.0, True, id="PLAIN_STEP_S"),
    pytest.param(99.0, False, id="PLAIN_STEP_S"), pytest.param(10_000.0, True, id="PLAIN_STEP_S"),
    pytest.param(10_001.0, False, id="PLAIN_STEP_S"), pytest.param(300.0, False, id="PLAIN_STEP_S")])
def test_steps_of_plain_numbers_that_are_hardly_seconds(step, refused):
    data = table("time,power", [200 + k for k in range(9)], [f"{step * k:.6f}" for k in range(9)])
    if refused:
        with pytest.raises(InputError, match="expected a unit in its name"):
            read_recording(data)
    else:
        assert np.allclose(np.diff(read_recording(data).time), step, atol=1e-5)


@pytest.mark.parametrize(("first", "clock"), [
    pytest.param(99_999_900, "elapsed", id="EPOCH_FROM"), pytest.param(100_000_001, "utc", id="EPOCH_FROM")])
def test_plain_numbers_that_are_a_date(first, clock):
    assert read_recording(table("time,power", [200, 210, 220], [first, first + 1, first + 2])).clock == clock


@pytest.mark.parametrize(("step", "mended"), [
    pytest.param(10.0, True, id="MOST_STEP_S"), pytest.param(11.0, False, id="MOST_STEP_S")])
def test_rows_that_go_on_while_a_clock_is_set_back(step, mended):
    """From three to two in the night of the last Sunday of October."""
    change = (datetime(2024, 10, 27, 3) - datetime(1970, 1, 1)) / timedelta(seconds=1)
    seconds = change - step * np.arange(20, 0, -1)
    after = change - 3600 + step * np.arange(20)
    assert (through_change(np.r_[seconds, after]) is not None) == mended
