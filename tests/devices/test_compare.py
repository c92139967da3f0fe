"""Several devices, none trusted: factors, own errors, who stands apart, errors that two share."""

import json
from pathlib import Path

import numpy as np
import pytest

from agree import InputError, MatchError, SampleSizeError
from agree.devices.compare import compare_devices

RIDE = Path(__file__).parents[1] / "data" / "rides" / "single-road-78min.csv"


def effort(rng, seconds=3600):
    fast = np.convolve(rng.normal(0, 60, seconds + 4), np.ones(5) / 5, "valid")
    return np.clip(220 + 90 * np.sin(np.arange(seconds) / 70) + fast, 0, None)


def slow(rng, sd, seconds=3600, width=60):
    """An error in per cent that lasts about a minute, of SD `sd` in 30-s means."""
    noise = np.convolve(rng.normal(0, 1, seconds + width - 1), np.ones(width) / width, "valid")
    means = noise.reshape(-1, 30).mean(axis=1)
    return sd * noise / means.std() / 100


def test_factors_own_errors_and_who_stands_apart():
    rng = np.random.default_rng(6)
    true = effort(rng)
    sds = (0.5, 1.0, 2.0)
    devices = [k * true * (1 + slow(rng, sd)) for k, sd in zip((1.0, 1.0, 0.94), sds, strict=True)]
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


def test_intervals_of_the_factor_cover():
    """100 efforts: the standard error of a share of 95 % is 2.2 points."""
    rng = np.random.default_rng(3)
    inside = 0
    for _ in range(100):
        true = effort(rng, 2400)
        found = compare_devices([true * (1 + slow(rng, 0.7, 2400)), 0.97 * true * (1 + slow(rng, 0.7, 2400))])
        inside += found.devices[1].factor.low <= 1 / 0.97 <= found.devices[1].factor.high
    assert inside >= 90


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
    true, common = effort(rng), slow(rng, 2.0)
    devices = [true * (1 + slow(rng, 0.5) + (common if shared and k < 2 else 0)) for k in range(4)]
    kinds = {note.kind for note in compare_devices(devices).notes}
    assert kinds == ({"devices_shared_error"} if shared else set())


def test_a_real_ride_with_three_devices_made_of_it(tmp_path):
    """Scales 1, 0.97 and 1.02, other clocks, one smoothed: the factors come out; coasting dilutes nothing."""
    import pandas as pd

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
