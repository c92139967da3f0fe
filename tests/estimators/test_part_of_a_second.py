"""A part of a second between two recorders is a delay: no averaging, and no response that nothing describes."""

from types import SimpleNamespace

import numpy as np
import pytest

from agree import Pairs, response_difference
from agree.core.data.matched import Matched
from agree.estimators.response.as_matched import as_matched
from agree.estimators.response.linear import delay_alone
from agree.estimators.response.matched_columns import matched
from agree.estimators.response.matching import find_filter
from agree.estimators.response.transfer import Cross, Fitted, Seen, seen
from agree.report.plain_text.details import response_words

FINE = 8  # readings of the true power per second


def stops(rng, seconds=900):
    """Stop-and-go riding, W, `FINE` times a second."""
    watts = np.convolve(rng.normal(0, 60, seconds), np.exp(-np.arange(20) / 5), "full")[:seconds] + 220
    watts[np.repeat(np.arange(seconds // 100) * 100, 15) + np.tile(np.arange(15), seconds // 100)] = 0
    return np.repeat(np.clip(watts, 0, None), FINE)


def intervals(rng, seconds=1200):
    """Intervals of 40 and 20 s on a trainer, which repeat."""
    at = np.arange(seconds)
    held = np.where((at % 60 < 40) & (at >= 120) & (at < seconds - 120), 300.0, 130.0)
    watts = np.convolve(np.r_[np.full(11, held[0]), held], np.exp(-np.arange(12) / 2.5), "valid")
    return np.repeat(watts / np.exp(-np.arange(12) / 2.5).sum(), FINE) + np.repeat(rng.normal(0, 2, seconds), FINE)


def recorded(true, late_s, rng, zero=0.0):
    """Mean of each second, so much later, W, with noise of 3 W while pedalling, in whole watts."""
    at = np.clip(np.arange(true.size) - round(late_s * FINE), 0, true.size - 1)
    moved = true[at].reshape(-1, FINE).mean(axis=1)
    return np.where(moved > 1, np.rint(moved + zero + rng.normal(0, 3, moved.size)), 0.0)


@pytest.mark.parametrize(("ride", "late"), [(stops, 0.375), (stops, -0.375), (stops, 0.5), (intervals, 0.375),
                                            (intervals, 0.0)])
def test_an_exact_device_a_part_of_a_second_off(ride, late):
    """Before: a mean over 1.58 s, or "no kind of response fits", also of none at all in intervals that repeat."""
    rng = np.random.default_rng(5)
    true = ride(rng)
    x, y = recorded(true, 0.0, rng), recorded(true, late, rng)
    found, made = response_difference(x, y), matched(find_filter(x, y), x, y)
    assert (found.kind, found.fits, made.kind, made.fits) == ("none", True, "none", True)
    assert made.delay_alone == bool(late) == bool(found.between_s)
    assert made.mean_delay_s == pytest.approx(late, abs=0.06)
    words = response_words(found)
    assert "averages" not in words
    assert "no kind" not in words.lower()
    assert not late or late % 1 == pytest.approx(float(words.split("lie ")[1].split(" s")[0]), abs=0.06)


@pytest.mark.parametrize(("width", "kind"), [(8, "none"), (24, "running mean")])
def test_a_mean_over_seconds_is_one(width, kind):
    rng = np.random.default_rng(5)
    true = stops(rng)
    smooth = np.convolve(true, np.ones(width) / width)[:true.size] if width > FINE else true
    found = response_difference(recorded(true, 0.0, rng), recorded(smooth, 0.0, rng))
    assert (found.kind, found.fits) == (kind, True)


def test_a_mean_over_two_seconds_is_told_beside_the_delay_it_looks_like():
    rng = np.random.default_rng(5)
    watts = np.clip(220 + 60 * rng.normal(size=1500), 0, None)
    found = response_difference(watts + rng.normal(0, 3, 1500), (watts + np.r_[watts[0], watts[:-1]]) / 2
                                + rng.normal(0, 3, 1500))
    assert (found.kind, found.between_s) == ("none", pytest.approx(0.5, abs=0.02))
    assert "running mean of the device" in found.alike
    assert "running mean of the device" in response_words(found)


def test_a_zero_error_beside_sprints_is_no_response_that_nothing_describes():
    """It comes and goes with pedalling, as no filter does; before, "no kind of response fits" was said."""
    rng = np.random.default_rng(1)
    true = np.clip(150 + np.convolve(rng.normal(0, 8, 1200), 0.9 ** np.arange(60))[:1200], 20, None)
    for at in range(80, 1150, 120):
        true[at:at + 10], true[at + 10:at + 25] = 800 * np.exp(-np.arange(10) / 25), 0
    true = np.repeat(true, FINE)
    for zero in (8.0, -8.0):
        found = response_difference(recorded(true, 0.0, rng), recorded(true, 0.0, rng, zero))
        assert (found.kind, found.fits) == ("none", True)


@pytest.mark.parametrize(("off", "fits"), [
    pytest.param(0.20, True, id="WITHIN"), pytest.param(0.25, False, id="WITHIN")])
def test_how_neighbours_mix_is_known_in_part(off, fits, monkeypatch):
    """Readings half a second after the others, which mix less than they would by so much of the difference."""
    monkeypatch.setattr(delay_alone, "bursts", lambda *_: 1.0)
    frequency, ones = np.linspace(0.01, 0.49, 50), np.ones(50)
    mixed, later = (1 + np.exp(-2j * np.pi * frequency)) / 2, np.exp(-1j * np.pi * frequency)
    data = Seen(frequency, mixed + off * (later - mixed), 1e6 * ones, 1e-6 * ones, ones)
    left = delay_alone.judged(SimpleNamespace(), data, Fitted("none", 1.0, 0.0, 0.0, 1.0, 0.0, part=0.5))
    assert (left < 1.95) == fits


@pytest.mark.parametrize(("part", "allowed"), [
    pytest.param(0.16, False, id="BURSTS_PART"), pytest.param(0.18, True, id="BURSTS_PART"),
    pytest.param(0.83, True, id="BURSTS_PART"), pytest.param(0.84, False, id="BURSTS_PART")])
def test_a_part_from_which_on_sprints_are_allowed_for(part, allowed, monkeypatch):
    monkeypatch.setattr(delay_alone, "bursts", lambda *_: 4.0)
    frequency, ones = np.linspace(0.01, 0.49, 50), np.ones(50)
    turn = np.exp(-2j * np.pi * frequency)
    ratio = 1 - part + part * turn + np.where(np.arange(50) % 2, 0.1, -0.1)
    data = Seen(frequency, ratio, 1e4 * ones, 1e-6 * ones, ones)
    left = [delay_alone.judged(SimpleNamespace(), data, Fitted("none", size, 0.0, 0.0, 1.0, 0.0, part=part))
            for size in (1.0, 2.5)]
    assert (left[0] < 0.5 * left[1]) == allowed


def test_the_match_tells_the_response():
    """What pairing knows beside faults and readings every few seconds is told everywhere."""
    rng = np.random.default_rng(2)
    x = 200 + 40 * rng.normal(size=900)
    y = np.convolve(x, np.ones(5) / 5)[:900]
    pairs = Pairs(reference=x, device=y, matched=Matched(
        reference=np.convolve(x, np.ones(4) / 4)[:900], device=y, kind="running mean", smoother="device", size_s=4.0,
        size_se_s=0.1, size_low_s=3.8, size_high_s=4.2))
    found = as_matched(response_difference(x, y), pairs)
    assert (found.width_s.value, found.width_s.low, found.fits) == (4.0, 3.8, True)
    assert found.scatter_after_w > 1


@pytest.mark.parametrize(("height", "lines"), [pytest.param(0.84, False, id="LINES_SD"),
                                               pytest.param(0.86, True, id="LINES_SD")])
def test_power_in_lines(height, lines):
    """Every other bin of 8 frequencies holds more: 16/17 of the height is what the mean of 17 bins leaves of it."""
    rng = np.random.default_rng(4)
    bins = (np.arange(1101) - 1) // 8
    signal, noise = (np.exp(2j * np.pi * rng.random(1101)) for _ in range(2))
    x = np.fft.irfft(signal * np.exp(height * np.where(bins % 2, 0.5, -0.5)), 2200)
    data = seen(Cross(x, x + np.fft.irfft(0.01 * noise, 2200), 0, 2200, 1.0))
    swing = np.abs(np.diff(np.log(data.noise)))[20:-20]
    assert (np.median(swing) > 0.5) == lines
