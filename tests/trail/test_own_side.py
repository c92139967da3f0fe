"""A device that senses one side: as it is worn, and against twice the reference's own side."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from agree import InputError, Recording
from agree.cli import main
from agree.recordings.one_side import twice_one_side


def run(*words):
    done = CliRunner().invoke(main.command, list(map(str, words)), standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout


def files(folder, share_left=47.0, error=0.3):
    """A crank with balance, and a left pedal that reads `error` per cent too much and doubles it."""
    rng = np.random.default_rng(5)
    watts = 220 + 60 * np.sin(np.arange(900) / 60) + np.convolve(rng.normal(0, 60, 904), np.ones(5) / 5, "valid")
    left = share_left + rng.normal(0, 1, 900)
    crank, pedal = folder / "crank.csv", folder / "pedal.csv"
    crank.write_text("time_s,power_W,balance_right_%\n" + "".join(
        f"{k},{w:.0f},{100 - share:.1f}\n"
        for k, (w, share) in enumerate(zip(watts, left, strict=True))), encoding="utf-8")
    pedal.write_text("time_s,power_W\n" + "".join(
        f"{k},{2 * w * share / 100 * (1 + error / 100):.0f}\n"
        for k, (w, share) in enumerate(zip(watts, left, strict=True))), encoding="utf-8")
    return crank, pedal


def test_asymmetry_is_no_error_of_the_sensor(tmp_path):
    crank, pedal = files(tmp_path)
    out = tmp_path / "out.json"
    said = run("check", crank, pedal, "--claim", "1.5%", "--side", "left", "--json", out)
    assert said.startswith("DOES NOT HOLD")
    text = " ".join(said.split())
    assert "HOLDS against twice the reference's own left side" in text
    assert "no factor mends it" in text
    stored = json.loads(out.read_text(encoding="utf-8"))
    assert stored["verdict"] == "does not hold"
    assert stored["own_side"]["verdict"] == "holds"
    assert stored["own_side"]["bias_percent"]["value"] == pytest.approx(0.3, abs=0.15)
    assert stored["own_side"]["asymmetry_percent"] == pytest.approx(-6.0, abs=0.3)  # 2 x 0.47 - 1


def test_twice_a_side():
    ride = Recording(time=[0, 1, 2, 3], power=[200, 0, 300, 100], balance=[52, np.nan, np.nan, 0])
    assert np.array_equal(twice_one_side(ride, "left").power, [192, 0, np.nan, 200], equal_nan=True)
    assert np.array_equal(twice_one_side(ride, "right").power, [208, 0, np.nan, 0], equal_nan=True)
    with pytest.raises(InputError, match="`side`"):
        twice_one_side(ride, "both")
    with pytest.raises(InputError, match="records no balance of left and right"):
        twice_one_side(Recording(time=[0, 1], power=[1, 2]), "left")
