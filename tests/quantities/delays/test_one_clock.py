"""Clocks of recordings that are no power: elapsed stamps, zones, smooth traces that tell no lag, copies."""

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from agree import InputError, check_quantity, overlay_recordings
from agree.cli.main import command
from agree.core.quantities.known import plain, quantity
from agree.quantities.delays.delay import find_delay
from agree.quantities.faults import find_trace_faults
from agree.quantities.overlay import lay_over

N = 3000
START = datetime(2026, 3, 1, 9, tzinfo=UTC)


def hearts(late=0.0, seed=1):
    """Heart rate that never repeats itself, and a wrist that is late; invented."""
    rng = np.random.default_rng(seed)
    t = np.arange(N, dtype=float)
    heart = 135 + 30 * np.convolve(rng.normal(size=N + 90), np.ones(91), "valid") / np.sqrt(91)
    return t, np.round(heart), np.round(np.interp(t - late, t, heart) + rng.normal(0, 1, N))


def table(t, values):
    return {"time (s)": t.tolist(), "heart rate (bpm)": values.tolist()}


def test_elapsed_stamps_count_from_the_recorders_start_not_from_the_first_row():
    # The wrist's first 400 s have no row. Its stamps still tell when it measured: nothing is moved.
    t, heart, wrist = hearts()
    seen = overlay_recordings(table(t, heart), table(t[400:], wrist[400:]), "heart rate")
    check = check_quantity(seen, "3 bpm", meaning="average")
    assert (check.verdict, check.as_recorded.seconds) == ("holds", N - 400)
    assert check.lag_s == pytest.approx(0, abs=0.3)


def test_recorders_started_minutes_apart_are_found():
    t, heart, wrist = hearts()
    seen = overlay_recordings(table(t, heart), table(t[:-400], wrist[400:]), "heart rate")
    check = check_quantity(seen, "3 bpm", meaning="average", delay="clock")
    assert check.lag_s == pytest.approx(-400, abs=0.3)
    assert (check.verdict, check.taken_out.seconds) == ("holds", N - 401)  # between seconds
    assert check_quantity(seen, "3 bpm", meaning="readings").verdict == "not settled"


def test_a_lag_can_be_given():
    t, heart, wrist = hearts(late=12)
    seen = lay_over((t, heart), (t, wrist), quantity("heart rate"), absolute=False)
    given = check_quantity(seen, "5 bpm", lag_s=12)
    assert (given.lag_s, given.belongs_to, given.delays[0].se_s) == (12.0, "clock", 0.0)
    assert given.verdict == given.taken_out.verdict
    assert "Delay: 12.0 s, a difference of the clocks, as stated." in given.summary()
    worn = check_quantity(seen, "5 bpm", lag_s=12, delay="device", meaning="readings")
    assert worn.verdict == worn.as_recorded.verdict == "does not hold"
    assert "absolute" not in worn.summary()  # nobody said that the clocks are
    with pytest.raises(InputError, match="`lag_s` must be a number of seconds"):
        check_quantity(seen, "5 bpm", lag_s=float("nan"))


def test_stated_on_the_command_line(tmp_path, capsys):
    t, heart, wrist = hearts(late=12)
    files = []
    for name, values in (("strap", heart), ("wrist", wrist)):
        path = tmp_path / f"{name}.csv"
        path.write_text("time (s),heart rate (bpm)\n" + "".join(f"{k:.0f},{v:.0f}\n" for k, v in
                                                                zip(t, values, strict=True)), encoding="utf-8")
        files.append(str(path))
    command.main(["check", *files, "--quantity", "heart rate", "--claim", "5 bpm", "--lag", "12", "--json", "-"],
                 standalone_mode=False)
    delay = json.loads(capsys.readouterr().out)["delay"]
    assert (delay["lag_s"], delay["belongs_to"]) == (12.0, "clock")


@pytest.mark.parametrize(("hours", "off_s", "taken"), [
    (2, 3, 2.0), (-5.5, 0, -5.5), (15, 0, 15.0), (15.25, 0, None), (2, 115, 2.0), (2, 200, None)])
def test_a_clock_of_the_wrong_zone_though_both_say_utc(hours, off_s, taken):
    """Stamps with Z that have no second in common: whole quarters of an hour within DAY_APART_S, and ZONE_NEAR_S."""
    t, heart, wrist = hearts()

    def dated(values, late):
        return {"time": [f"{START + timedelta(seconds=k + late):%Y-%m-%dT%H:%M:%SZ}" for k in t],
                "heart rate (bpm)": values.tolist()}

    both = dated(heart, 0), dated(wrist, 3600 * hours + off_s)
    if taken is None:
        with pytest.raises(InputError, match="correct its column of time"):
            overlay_recordings(*both, "heart rate")
        return
    check = check_quantity(overlay_recordings(*both, "heart rate"), "3 bpm", meaning="average", delay="clock")
    assert [note.values for note in check.notes if note.kind == "quantity_zone"] == [{"hours": taken}]
    assert check.lag_s == pytest.approx(off_s, abs=0.3)


def test_another_session_two_hours_later_is_no_zone():
    """FAR_LAG_FIT: only readings that are alike tell a zone."""
    t, heart, _ = hearts()
    other = hearts(seed=8)[1]
    stamps = [[f"{START + timedelta(seconds=k + late):%Y-%m-%dT%H:%M:%SZ}" for k in t] for late in (0, 7200)]
    with pytest.raises(InputError, match=r"0 s in common.*begins 2:00:00 after"):
        overlay_recordings(*({"time": when, "heart rate (bpm)": values.tolist()} for when, values in zip(
            stamps, (heart, other), strict=True)), "heart rate")


def test_an_unknown_zone_is_taken_off_and_told():
    t, heart, wrist = hearts(late=12)
    frames = []
    for values, hours, mark in ((heart, 0, "+00:00"), (wrist, 2, "")):
        stamps = [(START + timedelta(seconds=k, hours=hours)).strftime("%Y-%m-%dT%H:%M:%S") + mark for k in t]
        frames.append({"timestamp": stamps, "heart rate (bpm)": values.tolist()})
    check = check_quantity(overlay_recordings(*frames, "heart rate"), "5 bpm", meaning="readings")
    assert (check.belongs_to, check.verdict) == ("device", "does not hold")
    assert check.lag_s == pytest.approx(12, abs=0.3)
    assert [note.values for note in check.notes if note.kind == "quantity_zone"] == [{"hours": 2.0}]


def test_a_clock_minutes_off_is_not_called_the_devices():
    # No body and no sensor is late by 90 s; by 30 s an optical sensor may be.
    t = np.arange(N, dtype=float)
    for late, owner in ((59.0, "device"), (61.5, "unknown")):
        _, heart, wrist = hearts(late=late)
        seen = lay_over((t, heart), (t, wrist), quantity("heart rate"), absolute=True)
        assert find_delay(seen).belongs_to == owner


@pytest.mark.parametrize(("period", "size"), [(900, 10), (2500, 25), (900, 3)])
def test_rounding_of_a_smooth_trace_is_no_delay(period, size):
    # Whole beats of a slow wave: the lag of the roundings was -3 to -10 s, with a tiny standard error.
    t = np.arange(3600.0)
    for seed in range(3):
        wave = 130 + size * np.sin(2 * np.pi * t / period + seed) + size / 3 * np.sin(5.4 * np.pi * t / period + seed)
        seen = lay_over((t, np.round(wave)), (t, np.round(1.01 * wave + 0.37)), quantity("heart rate"), absolute=True)
        found = find_delay(seen)
        assert found.belongs_to == "unknown"
        assert np.isnan(found.lag_s) or abs(found.lag_s) <= 1.96 * found.se_s + 0.3


def test_smooth_temperatures_are_settled_without_a_lag():
    # Elapsed stamps, and nothing that tells a lag: any delay of up to 2 min gives one answer.
    t = np.arange(0, 7200.0, 10)
    core = 37 + 1.5 * (1 - np.exp(-t / 2000))
    for off, verdict in ((0.05, "holds"), (0.5, "does not hold"), (0.29, "not settled")):
        pill = np.round(core + off + 0.01 * np.random.default_rng(1).normal(size=t.size), 2)
        seen = lay_over((t, np.round(core, 2)), (t, pill), quantity("core temperature"), absolute=False)
        check = check_quantity(seen, "0.3 °C")
        assert (check.verdict, check.taken_out) == (verdict, None)
        assert ("quantity_any_delay" in [note.kind for note in check.notes]) == (verdict != "not settled")


def test_a_late_start_is_no_lost_contact():
    t, heart, wrist = hearts()
    seen = lay_over((t, heart), (t[400:-300], wrist[400:-300]), quantity("heart rate"), absolute=True)
    assert find_trace_faults(seen) == ()
    lost = wrist.copy()
    lost[:400] = 0  # it recorded, and had no contact
    seen = lay_over((t, heart), (t, lost), quantity("heart rate"), absolute=True)
    assert [(fault.kind, fault.start_s, fault.seconds) for fault in find_trace_faults(seen)] == [
        ("lost_contact", 0, 400)]


def test_a_recording_against_itself_is_refused():
    t, heart, wrist = hearts()
    twice = lay_over((t, heart), (t + 7, heart), quantity("heart rate"), absolute=True, names=("strap", "wrist"))
    with pytest.raises(InputError, match=r"session 1: strap and wrist hold the same 3000 readings: a recording was "
                                         "compared with itself"):
        check_quantity(twice, "5 bpm")
    seen = lay_over((t, heart), (t, wrist), quantity("heart rate"), absolute=True, names=("strap", "wrist"))
    later = lay_over((t + 9e4, heart), (t + 9e4, wrist), quantity("heart rate"), absolute=True, names=("a", "b"))
    with pytest.raises(InputError, match=r"sessions 1 \(strap and wrist\) and 2 \(a and b\) hold the same recordings"):
        check_quantity([seen, later], "5 bpm")


def test_times_of_day_beside_seconds_from_a_start():
    # 9:00:00 and 0 s have nothing in common: the first stamps are taken for one moment, and the reader is told.
    t, heart, wrist = hearts(late=12)
    stamps = [f"{9 + int(k) // 3600}:{int(k) // 60 % 60:02d}:{int(k) % 60:02d}" for k in t]
    day = {"time": stamps, "heart rate (bpm)": wrist.tolist()}
    check = check_quantity(overlay_recordings(table(t, heart), day, "heart rate"), "5 bpm", meaning="readings")
    assert check.lag_s == pytest.approx(12, abs=0.3)
    assert (check.belongs_to, check.verdict) == ("unknown", "not settled")
    assert "the first stamps are taken for one; if they are not, state --lag" in " ".join(check.summary().split())


def test_a_recording_without_a_reading_of_the_quantity():
    t, heart, _ = hearts()
    with pytest.raises(InputError, match=r"wrist: found 3000 s of readings from 0 to 0, none of them a heart rate; "
                                         r"expected some between 25 and 250 bpm"):
        lay_over((t, heart), (t, 0 * heart), quantity("heart rate"), absolute=True, names=("strap", "wrist"))


@pytest.mark.parametrize("seconds", [60, 61, 100, 299, 300, 302])
@pytest.mark.parametrize("absolute", [True, False])
def test_short_recordings_are_answered(seconds, absolute):
    # Shorter than the 5 min that a running mean is taken over: it ended in a traceback.
    t, heart, wrist = hearts()
    for of in ("heart rate", "cadence", "balance"):
        scale = {"heart rate": 1.0, "cadence": 0.6, "balance": 0.36}[of]
        seen = lay_over((t[:seconds], scale * heart[:seconds]), (t[:seconds], scale * wrist[:seconds] + 0.1),
                        quantity(of), absolute=absolute)
        check = check_quantity(seen, {"heart rate": "9 bpm", "cadence": "9 rpm", "balance": "9 points"}[of])
        assert check.verdict in ("holds", "not settled")
        assert len(check.summary().splitlines()) <= 16


def test_readings_of_absurd_size():
    t, heart, wrist = hearts()
    for times in (1e200, 1e-200):
        with pytest.raises(InputError, match=r"strap: found a reading of .*; expected 0, or a size from 1e-50 to"):
            lay_over((t, times * heart), (t, times * wrist), plain("J"), absolute=True, names=("strap", "wrist"))
