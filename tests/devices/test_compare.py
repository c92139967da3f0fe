"""Several devices, none trusted: factors, own errors, who stands apart, errors that two share."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from agree import InputError, MatchError, Pairs, SampleSizeError
from agree.devices.compare import compare_devices
from agree.devices.means import LASTING, lasting_errors, ratio_to, unseen_errors
from agree.devices.voices import one_voice

RIDE = Path(__file__).parents[1] / "data" / "rides" / "single-road-78min.csv"


def effort(rng, seconds=2400):
    fast = np.convolve(rng.normal(0, 60, seconds + 4), np.ones(5) / 5, "valid")
    return np.clip(220 + 90 * np.sin(np.arange(seconds) / 70) + fast, 0, None)


def slow(rng, sd, seconds=2400, width=60):
    """An error in per cent that lasts about a minute, of SD `sd` in 30-s means."""
    noise = np.convolve(rng.normal(0, 1, seconds + width - 1), np.ones(width) / width, "valid")
    means = noise.reshape(-1, 30).mean(axis=1)
    return sd * noise / means.std() / 100


def test_factors_own_errors_and_who_stands_apart():
    rng = np.random.default_rng(6)
    true = effort(rng, 3600)
    sds = (0.5, 1.0, 2.0)
    devices = [k * true * (1 + slow(rng, sd, 3600)) for k, sd in zip((1.0, 1.0, 0.94), sds, strict=True)]
    found = compare_devices(devices)
    assert [device.stands_apart for device in found.devices] == [False, False, True]
    for device, factor, sd in zip(found.devices, (1.0, 1.0, 1 / 0.94), sds, strict=True):
        assert device.factor.value == pytest.approx(factor, abs=0.006)
        assert device.error_sd.low <= sd <= device.error_sd.high
    assert found.devices[0].factor.value == 1.0
    assert [item.differs for item in found.differences] == [False, True, True]
    json.dumps(found.to_dict(), allow_nan=False)
    text = found.summary()
    assert text.startswith("array (3) STANDS APART") or "STANDS APART" in text.splitlines()[0]
    assert len(text.splitlines()) <= 16
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize(("third", "apart"), [(1.0245, True), (1.0235, False), (0.979, True), (0.981, False)])
def test_how_far_apart_from_others_that_differ_a_little(third, apart):
    """DEVICES_APART, 5 times: the first two differ by 0.4 %; the third is 2 % and more from both, or not."""
    rng = np.random.default_rng(2)
    true = effort(rng, 1800)
    one, two, other = (k * true + rng.normal(0, 3, 1800) for k in (1.0, 1.004, third))
    found = compare_devices([one, two, other])
    assert found.differences[0].differs
    assert [item.stands_apart for item in found.devices] == [False, False, apart]
    first = found.summary().splitlines()[0]
    assert ("STANDS APART from the others, which differ by 0.40 % at most" in first) == apart


def test_intervals_of_the_factor_cover():
    """100 efforts of 80 windows: the standard error of a share of 95 % is 2.2 points (more: benchmarks/devices.py)."""
    rng = np.random.default_rng(3)
    inside = 0
    for _ in range(100):
        true = 220 + 90 * np.sin(np.arange(80) / 3)
        one, two = (true * (1 + rng.normal(0, 0.7, 80) / 100) for _ in range(2))
        found = ratio_to(one, 0.97 * two, 0.95)
        inside += found.low <= 1 / 0.97 <= found.high
    assert inside >= 90


def test_a_recording_given_twice_is_refused_and_one_device_twice_is_one_witness():
    rng = np.random.default_rng(6)
    true = effort(rng, 1200)
    one, third = (np.round(true * (1 + slow(rng, 0.5, 1200)) + rng.normal(0, 3, 1200)).clip(0) for _ in range(2))
    with pytest.raises(InputError) as caught:
        compare_devices([one, one, 0.95 * third])
    assert str(caught.value) == (
        "array (1) and array (2) hold the same readings in all 1200 common seconds: one recording given twice is one "
        "witness, and a third device would look wrong beside it; leave one of them out")
    # the same device through a second link with another factor set: rounding is all that tells them apart
    found = compare_devices([one, np.round(1.01 * one), np.round(0.95 * third)])
    assert [item.voice_of for item in found.devices] == ["", "array (1)", ""]
    assert not any(item.stands_apart for item in found.devices)
    assert [item.error_sd for item in found.devices] == [None] * 3
    assert [note.kind for note in found.notes] == ["devices_one_voice", "devices_two_cannot_tell"]
    text = found.summary().replace("\n              ", " ")
    assert "one device through two links or settings is one witness" in text
    assert len(found.summary().splitlines()) <= 16


@pytest.mark.parametrize(("sd", "same"), [(0.5, True), (1.1, False)])
def test_one_voice_is_as_far_as_rounding_goes(sd, same):
    """SD of the difference with its rounding: hypot(0.5, 0.41) is below 0.75 W, hypot(1.1, 0.41) above."""
    rng = np.random.default_rng(2)
    true = np.round(effort(rng, 900))
    assert one_voice(Pairs(reference=true, device=np.round(0.98 * true + rng.normal(0, sd, 900)))) is same


def test_lag_and_response_are_taken_out_before_errors_are_split():
    """Noise of 2 % in 1-s readings; the second device is a 6-s mean and 3.5 s late: no error of its own for that."""
    rng = np.random.default_rng(8)
    true = effort(rng, 2400)
    smooth = np.convolve(np.r_[np.full(5, true[0]), true], np.ones(6) / 6, "valid")
    made = [series * (1 + slow(rng, 0.3, 2400)) for series in (true, smooth, true)]
    late = (np.arange(2400) + 3.5, made[1])
    found = compare_devices([made[0], pd.DataFrame({"time_s": late[0], "power_W": late[1]}), made[2]])
    assert [item.response for item in found.devices] == ["", "slower", ""]
    assert found.devices[1].response_s == pytest.approx(6, abs=0.5)
    assert found.devices[1].error_sd.value < 0.5
    assert all(item.closes for item in found.closures)
    assert "is slower (6" in found.summary()


def test_two_devices_cannot_tell():
    rng = np.random.default_rng(1)
    true = effort(rng)
    found = compare_devices([true, 0.95 * true + rng.normal(0, 3, true.size)])
    assert [device.error_sd for device in found.devices] == [None, None]
    assert not any(device.stands_apart for device in found.devices)
    assert found.notes[0].kind == "devices_two_cannot_tell"
    assert "two devices cannot tell which of them is wrong" in found.summary().replace("\n              ", " ")


@pytest.mark.parametrize("shared", [True, False])
def test_an_error_that_two_of_four_share_is_seen(shared):
    rng = np.random.default_rng(2)
    true, common = 220 + 90 * np.sin(np.arange(80) / 3), rng.normal(0, 2.0, 80)
    means = np.stack([true * (1 + (rng.normal(0, 0.5, 80) + (common if shared and k < 2 else 0)) / 100)
                      for k in range(4)])
    kinds = {note.kind for note in unseen_errors("abcd", means, 0.95)}
    assert kinds == ({"devices_shared_error"} if shared else set())
    assert {note.kind for note in unseen_errors("abc", means[:3], 0.95)} == {"devices_shared_error_unseen"}


def test_a_real_ride_with_three_devices_made_of_it(tmp_path):
    """Scales 1, 0.97 and 1.02, other clocks, one smoothed: the factors come out; coasting dilutes nothing."""
    frame = pd.read_csv(RIDE)
    time, power = frame.columns[0], next(name for name in frame.columns if "power" in name.lower())
    rng = np.random.default_rng(9)
    made = []
    for k, (scale, delay) in enumerate(((1.0, 0), (0.97, 4), (1.02, -7))):
        copy = frame.copy()
        watts = scale * copy[power].to_numpy(dtype=float)
        copy[power] = np.round(np.where(watts > 0, watts + rng.normal(0, 3, watts.size), 0)).clip(min=0)
        if np.issubdtype(copy[time].dtype, np.number):
            copy[time] += delay
        else:
            copy[time] = (pd.to_datetime(copy[time]) + pd.Timedelta(seconds=delay)).astype(str)
        made.append(tmp_path / f"device-{k}.csv")
        copy.to_csv(made[-1], index=False)
    found = compare_devices(made)
    assert [round(device.lag_s) for device in found.devices] == [0, 4, -7]
    for device, scale in zip(found.devices, (1.0, 0.97, 1.02), strict=True):
        assert device.factor.value == pytest.approx(1 / scale, abs=0.003)
        assert device.error_sd.value < 1.0


def test_what_cannot_be_compared():
    rng = np.random.default_rng(5)
    true = effort(rng, 1200)
    with pytest.raises(InputError, match=r"^at least 2 recordings are needed; got 1$"):
        compare_devices([true])
    with pytest.raises(MatchError):
        compare_devices([true, effort(rng, 1200)[::-1]])
    with pytest.raises(SampleSizeError, match=r"^at least 20 windows of 300 s"):
        compare_devices([true, true * 1.01 + rng.normal(0, 2, 1200)], window_s=300)


@pytest.mark.parametrize("names", [("A", "B"), ("a" * 40 + "-left", "a" * 40 + "-right")])
def test_short_and_long_names_are_shown(tmp_path, names):
    rng = np.random.default_rng(1)
    true = effort(rng, 1200)
    files = []
    for name in names:
        files.append(tmp_path / f"{name}.csv")
        np.savetxt(files[-1], np.c_[np.arange(1200), true + rng.normal(0, 2, 1200)], delimiter=",",
                   header="time_s,power_W", comments="")
    lines = compare_devices(files).summary().splitlines()
    assert max(map(len, lines)) <= 80
    assert len({line.split("  ")[0] for line in lines[2:4]}) == 2


@pytest.mark.parametrize(("correlation", "named"), [(0.74, False), (0.76, True)])
def test_errors_that_last_are_said(correlation, named):
    """Waves of errors whose value goes with the next one's: cos of the step from window to window."""
    step, n = np.arccos(correlation), 20_000
    waves = np.array([np.cos(step * np.arange(n) + phase) for phase in (0.0, 2.0, 4.0)])
    found = lasting_errors(200 * (1 + 0.01 * waves))
    assert LASTING == 0.75
    assert bool(found) is named
    assert not named or found[0].values["correlation"] == pytest.approx(correlation, abs=0.001)
    assert not lasting_errors(200 * (1 + 0.01 * waves[:2]))  # of two nothing is split
    assert not lasting_errors(np.full((3, 40), 200.0))
