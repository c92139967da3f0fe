"""Courses in time: a drift need not be straight, a warm-up dies away, and no scale or zero is named for either."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from agree import Pairs
from agree.diagnosis.finding import Compared, Finding
from agree.diagnosis.settled import without
from agree.diagnosis.window_findings import parts
from agree.diagnosis.windows import causes
from agree.diagnosis.windows.columns import Columns
from agree.diagnosis.windows.gains import gains
from agree.diagnosis.windows.in_time.time_courses import DRIFTS, STRAIGHT, Courses, along, time_courses
from agree.diagnosis.windows.least_squares import mixed
from agree.diagnosis.windows.order import Choice, Search, alike, in_order
from agree.report.story.cause import cause_words
from agree.verdict.columns import table
from tests.diagnosis.frames import framed, sized
from tests.each import each

U = (np.arange(120) + 0.5) / 120  # an hour of windows
SLOWING = -np.expm1(-3 * U) / -math.expm1(-3)


def varied(seed):
    """Power of an hour that goes its own way, and errors of window means with a correlation of a minute, SD 1.5 W."""
    rng = np.random.default_rng(seed)
    noise = np.convolve(rng.normal(0, 1.0, 123), [0.8, 0.6, 0.4, 0.2], "valid")
    return 220 + 40 * np.sin(np.arange(120) / 3.3) + rng.normal(0, 20, 120), 1.5 / math.sqrt(1.2) * noise


def named(power, error, monkeypatch):
    data = framed(power, error)
    monkeypatch.setattr(causes, "frame", lambda table: data)
    return {item.cause: item for item in parts(causes.fit(None), SimpleNamespace(session_sd_percent=0.0))}


@each("seed", range(4))
@each("course", [SLOWING, np.sqrt(U), U**2], ids=["slowing", "root", "quickening"])
@each("share", [False, True])
@each("watts", [-9.0, 9.0])
def test_a_drift_that_is_not_straight_brings_no_scale_and_no_zero(course, share, watts, seed, monkeypatch):
    power, noise = varied(seed)
    found = named(power, watts * course * (power / 220 if share else 1) + noise, monkeypatch)
    assert set(found) == {"drift"}
    drift = found["drift"]
    whole = drift.size.scaled(float(drift.values["hours"]) * (2.2 if drift.unit.startswith("%") else 1))
    assert whole.low - 1 < watts < whole.high + 1


@pytest.mark.parametrize("watts", [-2.2, 2.2])
def test_a_small_slowing_drift_is_no_scale_without_a_word(watts, monkeypatch):
    """Of 1 % it is on average as large as a scale, and was told as one in 36 of 150 recordings; now with its rival."""
    told = []
    for seed in range(12):
        power, noise = varied(seed)
        for course in (SLOWING, np.sqrt(U)):
            found = named(power, watts * course + noise, monkeypatch)
            told += [set(item.rivals) & {"drift", "warm_up"} for item in found.values()
                     if item.cause in ("scale", "offset") and not {"drift", "warm_up"} & set(found)]
    assert len(told) >= 2
    assert sum(not one for one in told) <= 1


def test_a_scale_beside_a_drift_may_be_a_warm_up(monkeypatch):
    """Of a drift and a warm-up together "5.0 W at every power" was told beside the drift, and nothing of a warm-up."""
    hours, told, true = np.arange(240) / 120, [], []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        power = 220 + 40 * np.sin(np.arange(240) / 3.3) + rng.normal(0, 20, 240)
        noise = 1.5 * rng.normal(size=240)
        for error, kept in ((0.05 * power * np.exp(-10 * hours), told), (0.03 * power, true)):
            found = named(power, error - 5 * hours + noise, monkeypatch)
            kept += ["warm_up" in item.rivals for item in found.values() if item.cause in ("scale", "offset")]
    assert sum(told) >= 0.5 * len(told) > 0
    assert sum(true) == 0 < len(true)


@pytest.mark.parametrize("seed", range(4))
def test_a_plain_scale_is_no_drift(seed, monkeypatch):
    power, noise = varied(seed)
    found = named(power, 0.03 * power + noise, monkeypatch)
    assert set(found) == {"scale"}
    assert found["scale"].rivals == ()
    assert not {"drift", "warm_up"} & {item.cause for item in found["scale"].compared}


def test_what_may_be_a_scale_or_a_drift_is_led_by_the_scale(monkeypatch):
    """A scale of 0.9 % with a slow error beside it was told as a drift, or a scale, in 17 of 360 recordings."""
    first = []
    for seed in range(24):
        power, noise = varied(seed)
        found = named(power, 0.009 * power - 0.8 + 1.6 * noise, monkeypatch)
        first += [item.cause for item in found.values() if item.rivals and {"scale", "drift"} <= {
            item.cause, *item.rivals}]
    assert first
    assert "drift" not in first


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("watts", [-5.0, 5.0])
def test_a_straight_drift_leaves_the_scale_at_its_start(watts, seed, monkeypatch):
    power, noise = varied(seed)
    found = named(power, 0.03 * power + 2 * watts * U + noise, monkeypatch)
    assert "drift" in found
    assert "scale" in found or found["drift"].perhaps == "scale"


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("watts", [-6.0, 6.0])
def test_a_small_warm_up_is_named_alone(watts, seed, monkeypatch):
    power, noise = varied(seed)
    found = named(power, watts * np.exp(-6 * U) + noise, monkeypatch)
    assert set(found) == {"warm_up"}
    assert 600 <= found["warm_up"].values["settled_s"] <= 3000


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("start", [100.0, 400.0])
def test_what_goes_with_power_on_a_ramp_may_go_with_time(start, seed, monkeypatch):
    """Power that rises or falls evenly: a drift alone is never said, nor a scale of 10 % with a drift against it."""
    rng = np.random.default_rng(seed)
    power = start + (500 - 2 * start) * U + rng.normal(0, 3, 120)
    found = named(power, 0.03 * power - 3 + varied(seed)[1], monkeypatch)
    for cause in {"drift", "warm_up"} & set(found):
        assert "scale" in found[cause].rivals
        assert "goes with power, as a wrong scale or zero does: the data cannot tell which" in cause_words(found[cause])
    assert all(abs(item.size.value) < 6 for item in found.values() if item.cause == "scale")


def test_what_power_owes_to_the_error_itself():
    """Half of an error of 2 W is in a power that varies by 4 W beside a line in time: 4/(2 x 16)."""
    rows = np.stack([100 + 300 * U + np.tile([4.0, -4.0], 60), np.ones(120), U])
    assert mixed(rows, 0, np.tile([2.0, 2.0, -2.0, -2.0], 30)) == pytest.approx(0.125, rel=0.01)
    assert mixed(rows[:1], 0, np.full(120, 2.0)) < 1e-4


@pytest.mark.parametrize("form", DRIFTS)
def test_a_drift_of_any_form_changes_by_its_size_in_all(form):
    assert along(form, np.array([0.0, 1.5]), 1.5) == pytest.approx([0.0, 1.5])


@pytest.mark.parametrize("form", DRIFTS)
def test_a_drift_is_taken_off_along_its_course(form):
    t = np.arange(3600.0)
    pairs = Pairs(reference=np.full(t.size, 200.0), device=200 + 8 * along(form, t / 3600, 1.0), time=t)
    drift = Finding(cause="drift", size=sized(8.0, 50), unit="W per hour", percent=2.0,
                    values={"form": form, "hours": 1.0})
    rest, = without(table(pairs, 30), [drift], 30).pairs
    assert np.abs(rest.device - rest.reference).max() < 1e-6


@pytest.mark.parametrize(("pace", "words"), [
    ("straight", "drifts within the session: +4.0 % per hour (+3.2 to +4.8)"),
    ("slowing", "drifts within the session: +8.0 % (+6.4 to +9.6) from start to end, fastest at first"),
    ("not told", "from start to end, how fast at which time the data do not tell")])
def test_a_drift_in_words(pace, words):
    drift = Finding(cause="drift", size=sized(4.0, 10), unit="% per hour", values={"pace": pace, "hours": 2.0})
    assert words in cause_words(drift)


@pytest.mark.parametrize(("rivals", "words"), [
    (("step",), "drifts within the session, or changed once: the data cannot tell which"),
    (("step", "warm_up", "scale", "offset"), "drifts within the session, changed once, warmed up, or goes with power, "
                                             "as a wrong scale or zero does: the data cannot tell which")])
def test_what_a_drift_may_be_as_well(rivals, words):
    drift = Finding(cause="drift", size=sized(4.0, 10), unit="% per hour", rivals=rivals,
                    compared=tuple(Compared(cause=one, left=1.0, apart=0.0, too=0.0) for one in rivals))
    assert cause_words(drift).startswith(words)


def two_courses(ratio):
    """A straight drift, and one that slows and leaves so many times what the straight one leaves; of 100 windows."""
    waves = np.sqrt(2) * np.stack([np.cos(np.pi * k * (np.arange(40) + 0.5) / 40) for k in (1, 2, 9)])
    error = waves[0] + math.sqrt(2 / ratio - 1) * waves[1] + waves[2]
    made = Columns(waves[:1], waves[:1], ("drift",), ("W",), error, 0.0, 0.0)
    return made, Courses((STRAIGHT._replace(form="slowing"),), waves[1:2], waves[1:2])


@pytest.mark.parametrize(("ratio", "first"), [
    pytest.param(0.950, "slowing", id="COURSE_COST"), pytest.param(0.960, "straight", id="COURSE_COST")])
def test_what_a_course_that_is_not_straight_must_be_worth(ratio, first):
    """Half of what a cause costs, 2 ln(100): it must leave less than exp(-0.046) = 0.955."""
    made, tried = two_courses(ratio)
    assert in_order(made, 100.0, tried)[0].columns.course.form == first


@pytest.mark.parametrize(("ratio", "count"), [
    pytest.param(1.118, 1, id="COURSE_GAIN"), pytest.param(1.122, 0, id="COURSE_GAIN")])
def test_a_course_that_fits_about_as_well(ratio, count):
    """Chi-squared of 11.34 in 100 windows: exp(0.1134) = 1.1201."""
    made, tried = two_courses(ratio)
    assert len(alike(made, (0,), tried, 100.0)) == count


@pytest.mark.parametrize(("t", "form", "found"), [
    pytest.param(2.83, "slowing", True, id="COURSE_STRENGTH"),
    pytest.param(2.78, "slowing", False, id="COURSE_STRENGTH"),
    pytest.param(2.60, "straight", True, id="NAMED_STRENGTH")])
def test_a_course_that_is_certain(t, form, found, monkeypatch):
    """A normal 2.807 standard errors off has the strength 0.995."""
    made, tried = two_courses(1.0)
    data = framed(np.full(40, 100.0), made.error)
    choice = Choice(made if form == "straight" else made.with_course(tried, 0), (0,))
    monkeypatch.setattr(causes, "_sizes", lambda *_: [sized(1.0, t)])
    assert bool(causes.set_of_parts(choice, Search(data, gains(data), tried, 100.0))) == found


@pytest.mark.parametrize(("turn", "told"), [
    pytest.param(0.71, True, id="POWER_IN_TIME"), pytest.param(0.69, False, id="POWER_IN_TIME")])
def test_power_that_goes_with_time(turn, told):
    """Correlation of power with time."""
    waves = np.cos(np.pi * 40 * U)
    unit = (U - U.mean()) / U.std()
    power = 200 + 30 * (turn * unit + math.sqrt(1 - turn**2) * waves / waves.std())
    data = framed(power)
    own = gains(data)
    assert Search(data, own, time_courses(data, own), 100.0).power_in_time == told
