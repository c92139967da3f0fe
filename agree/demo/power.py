"""Two recordings of an invented scenario, made anew and alike at each call."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.files.writing import write_text

LABEL = "# invented data, made by `agree demo`: no real rider, device or maker"
START = datetime(2026, 3, 14, 9, 30, tzinfo=UTC)
SCALE, LAG_S, MINUTES, SEED = 0.973, 3.4, 50, 20260314


def effort(rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Power and cadence at 10 Hz: warm-up, steps of 4 min, short sprints, rests with coasting."""
    watts = np.concatenate([np.linspace(90, 160, 5), np.repeat([140, 180, 220, 260, 300, 240, 200, 160, 120], 4),
                            np.linspace(280, 100, 9)])
    seconds = np.arange(MINUTES * 600) / 10
    power = np.interp(seconds, np.arange(watts.size) * 60.0, watts)
    wander = np.convolve(rng.normal(0, 1, power.size + 299), np.hanning(300), "valid")
    power *= 1 + 0.05 * wander / wander.std() + 0.03 * np.sin(2 * np.pi * seconds / 7.3)
    for start in range(900, MINUTES * 60 - 300, 420):
        sprint = (seconds >= start) & (seconds < start + 10)
        power[sprint] += 260
        power[(seconds >= start + 10) & (seconds < start + 24)] = 0
    return power, np.where(power > 0, 86 + 4 * np.sin(seconds / 60), 0)


def recordings() -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Power at 1 Hz of reference and device, and cadence of both; the device reads 2.7 % low, 3.4 s late, faulty."""
    rng = np.random.default_rng(SEED)
    power, cadence = effort(rng)
    late = int(LAG_S * 10)
    reference = power.reshape(-1, 10).mean(axis=1)
    device = SCALE * np.r_[power[:1].repeat(late), power[:-late]].reshape(-1, 10).mean(axis=1)
    slow = np.zeros(reference.size)
    for k, step in enumerate(rng.normal(0, 0.4, reference.size)):
        slow[k] = 0.95 * slow[k - 1] + step
    turning_r, turning_d = reference > 0, device > 0
    reference = np.where(turning_r, reference + rng.normal(0, 2, reference.size), 0)
    device = np.where(turning_d, device + slow + rng.normal(0, 2, device.size), 0)
    for start in rng.integers(60, reference.size - 60, 12):
        device[start:start + rng.integers(1, 4)] = 0          # dropouts
    device[1500:1525] *= 0.5                                  # one side lost
    device[2155:2170] = device[2155]                          # a value held over a sprint
    device[2450] += 1400                                      # a spike
    turns, turns_late = (np.round(column.reshape(-1, 10).mean(axis=1)) for column in (
        cadence, np.r_[cadence[:1].repeat(late), cadence[:-late]]))
    return np.round(reference.clip(0)), np.round(device.clip(0)), turns, turns_late


def write_recordings(folder: Path) -> tuple[Path, Path]:
    """Write the two recordings as CSV into `folder` and return their paths.

    Raises
    ------
    InputError
        A folder that cannot be made, or a file there that this demo has not written.
    """
    reference, device, cadence, cadence_late = recordings()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"folder {folder} cannot be made: {error.strerror}; name another") from None
    paths = folder / "invented-crank.csv", folder / "invented-pedals.csv"
    for path, power, turns in zip(paths, (reference, device), (cadence, cadence_late), strict=True):
        if path.exists() and not path.read_text(encoding="utf-8", errors="replace").startswith(LABEL):
            raise InputError(f"{path} exists and was not written by this demo; name another folder")
        rows = [f"{(START + timedelta(seconds=k)).isoformat().replace('+00:00', 'Z')},{watts:.0f},{rpm:.0f}"
                for k, (watts, rpm) in enumerate(zip(power, turns, strict=True))]
        write_text(path, "\n".join([LABEL, "timestamp,power (W),cadence (rev/min)", *rows]) + "\n")
    return paths
