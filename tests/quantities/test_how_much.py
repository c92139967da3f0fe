"""What a check of a quantity rests on: rows that are missing, a part of the session, and what to record next."""

import numpy as np
import pytest

from agree import check_quantity
from agree.core.quantities.known import quantity
from agree.quantities.overlay import lay_over
from agree.report.other_page import sheet_of

T = np.arange(3000.0)
WAVE = 130 + 20 * np.sin(T / 50) + 10 * np.sin(T / 170)


def checked(t, device, **asked):
    return check_quantity(lay_over((T, WAVE), (t, device), quantity("heart rate"), absolute=True), "5 bpm", **asked)


def said(check):
    return " ".join(check.summary().split())


# QUANTITY_ROWS_S
@pytest.mark.parametrize(("rows", "told"), [(2941, False), (2940, True)])
def test_rows_that_end_before_the_reference(rows, told):
    check = checked(T[:rows], WAVE[:rows] + 1)
    assert check.verdict == "holds"
    assert any(note.kind == "quantity_rows_missing" for note in check.notes) == told
    assert ("Mind: the device wrote no rows in the last 0:01:00 of the reference's session" in said(check)) == told


def test_rows_that_begin_late_and_end_early():
    check = checked(T[300:2400], WAVE[300:2400] + 1)
    assert "no rows in the first 0:05:00 and the last 0:10:00 of the reference's session: these" in said(check)


# SMALL_RIDE_SHARE
@pytest.mark.parametrize(("rows", "told"), [(1501, False), (1499, True)])
def test_half_of_a_session(rows, told):
    check = checked(T[:rows], WAVE[:rows] + 1)
    assert any(note.kind == "quantity_part_used" for note in check.notes) == told
    assert ("only 50 % of the seconds" in said(check)) == told


@pytest.mark.parametrize(("device", "advice"), [
    (np.where(WAVE > 140, 0, WAVE + 1), "Next: find out why the device reads nothing there"),
    ((WAVE + 1)[:500], "Next: record a session of 30 min or more, or several."),
    ((WAVE + 1)[:250], "Next: record a session of 30 min")])
def test_a_withheld_answer_says_what_to_record(device, advice):
    check = checked(T[:device.size], device)
    assert check.verdict == "not settled"
    assert advice in said(check)
    assert advice.removeprefix("Next: ")[1:] in dict(sheet_of(check).texts)["Next"]


def test_an_answer_that_is_given_asks_for_nothing():
    assert "Next:" not in said(checked(T, WAVE + 1))


def test_the_share_shown_has_the_interval_that_decides():
    check = checked(T, WAVE + 1 + np.random.default_rng(1).normal(0, 1, T.size), meaning="readings")
    assert check.verdict == "holds"
    for part in (check.as_recorded, check.taken_out):
        assert part.of("readings").estimate.low >= 0.95  # by counting 30-s means of 50 min, 93 %


def test_errors_of_a_share_are_points_of_it():
    # 0.6 points of a balance of 50 %: no 1.2 % of it.
    share = 50 + 2 * np.sin(T / 60)
    check = check_quantity(lay_over((T, share), (T, share + 0.6), quantity("balance"), absolute=True), "1 point")
    assert check.taken_out.bias.value == pytest.approx(0.6, abs=0.01)
    assert "mean error, points" in said(check)
    assert check_quantity(lay_over((T, share), (T, share + 0.6), quantity("balance"), absolute=True), "0.5 points",
                          meaning="mean_absolute").verdict == "does not hold"
