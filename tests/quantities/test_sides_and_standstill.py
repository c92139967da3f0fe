"""Sides of a balance, clocks hours apart, readings about 0 at a standstill, and paces with their unit in words."""

import numpy as np
import pytest

from agree import MatchError, check_quantity, overlay_recordings
from agree.core.quantities.known import quantity
from agree.quantities.overlay import lay_over
from agree.report.texts.quantity_text import quantity_text

N = 1800
T = np.arange(float(N))
SHARE = 48.4 + 1.6 * np.sin(T / 60)  # of the left side
RANDOM = np.random.default_rng(1)


def balances(x, y, *sides):
    files = [{"time_s": T, f"{side}_balance_pct": values} for side, values in zip(sides, (x, y), strict=True)]
    return check_quantity(overlay_recordings(*files, "balance"), "2 points", lag_s=0)


@pytest.mark.parametrize(("sides", "found", "said"), [
    (("left", "left"), 1.5, "left"), (("right", "right"), 1.5, "right"), (("left", "right"), 1.5, "left")])
def test_errors_are_of_the_side_that_the_columns_name(sides, found, said):
    device = SHARE + 1.5
    check = balances(SHARE, 100 - device if sides == ("left", "right") else device, *sides)
    error = check.taken_out.of("average")
    assert (error.estimate.value, error.limit, error.unit) == (pytest.approx(found), pytest.approx(2), "points")
    assert check.decides.limits.lower.value == pytest.approx(found)
    assert f"the share is that of the {said} side" in " ".join(quantity_text(check).split()).lower()


@pytest.mark.parametrize(("quantity_name", "header", "level", "sentence"), [
    ("balance", "balance", 50, "right side by assumption (a column does not say): an error above 0 gives it too much"),
    ("speed", "speed", 8, "Mind: column 'speed': no unit in its name, taken as m/s"),
    ("heart rate", "pulse abc", 120, "though the word 'abc' in its name is not known: check that it is the measured"),
    ("heart rate", "pulse", 230, "bpm is no heart rate of a rider (40 to 220 bpm is usual)")])
def test_what_reading_leaves_doubtful_stands_on_the_first_screen(quantity_name, header, level, sentence):
    """A unit or a side assumed, an unknown word, a level that no heart has: of these nothing was said but in Python."""
    swing = np.round(level * (1 + 0.05 * np.sin(T / 60)), 2)
    files = [{"time_s": T, header: swing + off} for off in (0, 0.001 * level)]
    check = check_quantity(overlay_recordings(*files, quantity_name), "2 points" if level == 50 else "2 %", lag_s=0)
    text = " ".join(quantity_text(check).split())
    assert sentence in text
    assert text.count("no unit in its name") < 2  # of both files once


@pytest.mark.filterwarnings("ignore::agree.core.errors.DriftWarning")
def test_sides_exchanged_throughout_do_not_hold():
    check = balances(SHARE, 100 - SHARE, "left", "left")
    assert [note.kind for note in check.notes if note.severity == "answer"] == ["quantity_exchanged"]
    assert "holds" not in [check.verdict, check.taken_out.verdict]
    assert "gives left for right" in " ".join(" ".join(quantity_text(check).splitlines()[:4]).split())


@pytest.mark.parametrize("noise", [0.0, 0.3, 1.0])
def test_a_plain_offset_is_no_exchange(noise):
    check = balances(SHARE, SHARE + 3 + RANDOM.normal(0, noise, N), "left", "left")
    assert check.faults == ((),)
    assert check.verdict == "does not hold"


# EXCHANGED_SHARE
@pytest.mark.filterwarnings("ignore::agree.core.errors.DriftWarning")
@pytest.mark.parametrize(("share", "found"), [(0.47, 0), (0.53, 1)])
def test_share_exchanged(share, found):
    part = np.arange(N) < share * N
    x = 46 + np.random.default_rng(2).normal(0, 0.8, N)
    check = check_quantity(lay_over((T, x), (T, np.where(part, 100 - x, x)), quantity("balance"), absolute=True),
                           "9 points")
    assert [note.kind for note in check.notes if note.kind == "quantity_exchanged"] == ["quantity_exchanged"] * found


def test_noise_about_a_standstill_is_read():
    v = np.maximum(8 + 3 * np.sin(T / 70), 0)
    for at in (300, 900, 1500):
        v[at:at + 20] = 0
    check = check_quantity(lay_over((T, v), (T, v + RANDOM.normal(0, 0.05, N)), quantity("speed"), absolute=True),
                           "2 %", delay="clock")
    assert check.verdict == "holds"
    assert check.faults == ((),)
    wrong = np.where(v == 0, -0.6, v)
    check = check_quantity(lay_over((T, v), (T, wrong), quantity("speed"), absolute=True), "2 %", delay="clock")
    assert check.verdict == "not settled"  # a speed of -0.6 m/s is none


PACE = 5.3 + 0.5 * np.sin(T / 60)  # min/km


@pytest.mark.parametrize(("name", "times"), [
    ("pace_min_per_km", 1), ("pace_min_per_mile", 1.609344), ("pace_min_per_mi", 1.609344), ("pace_s_per_km", 60)])
@pytest.mark.parametrize("named", [False, True])
def test_paces_in_words(name, times, named):
    column = {"reference_column": "pace_min_per_km", "device_column": name} if named else {}
    seen = overlay_recordings({"time_s": T, "pace_min_per_km": PACE}, {"time_s": T, name: PACE * times}, "pace",
                              **column)
    assert np.abs(seen.device / seen.reference - 1).max() < 1e-9
    assert seen.device.mean() == pytest.approx((1000 / 60 / PACE).mean())


@pytest.mark.parametrize(("by", "said"), [(7383, "begins 2:03:03 after"), (-7383, "begins 2:03:03 before")])
def test_clocks_hours_apart_are_told_by_how_much(by, said):
    with pytest.raises(MatchError, match=said):
        lay_over((T, SHARE), (T + by, SHARE), quantity("balance"), absolute=True)
