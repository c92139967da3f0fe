"""Invented studies: many units, athletes and sessions, and the trail of one device."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from agree.core.checks import FloatArray
from agree.core.errors import InputError
from agree.demo.power import LABEL
from agree.files.writing import write_text

SECONDS = 1200
FIRST_DAY = datetime(2026, 3, 1, 17, 30)
SETTLE_S = 300.0  # s after which the new device of the trail has settled by two thirds


def effort(rng: np.random.Generator, seconds: int = SECONDS) -> FloatArray:
    """Power of an indoor session: waves of minutes, and the restlessness of a rider."""
    time = np.arange(seconds)
    waves = 190 + 70 * np.sin(time / rng.uniform(60, 110) + rng.uniform(0, 6)) + 30 * np.sin(time / rng.uniform(13, 19))
    fast = np.convolve(rng.normal(0, 35, seconds + 6), np.ones(7) / 7, mode="valid")
    result: FloatArray = np.clip(waves + 3 * fast, 30, None).round()
    return result


def reading(rng: np.random.Generator, true: FloatArray, percent: FloatArray | float, noise: float = 4.0) -> FloatArray:
    """What a device shows that reads so many per cent too much, in whole watts."""
    watts = (1 + np.asarray(percent) / 100) * true + rng.normal(0, noise, true.size)
    result: FloatArray = np.clip(watts, 0, None).round()
    return result


def write(path: Path, watts: FloatArray, start: float = 0.0) -> None:
    """Write one recording."""
    labelled(path, "time (s),power (W)\n" + "".join(f"{start + k:g},{watt:g}\n" for k, watt in enumerate(watts)))


def write_dated(path: Path, watts: FloatArray, begin: datetime) -> None:
    """Write one recording with the day and time of each second."""
    labelled(path, "time,power (W)\n" + "".join(
        f"{(begin + timedelta(seconds=k)).isoformat()}Z,{watt:g}\n" for k, watt in enumerate(watts)))


def labelled(path: Path, text: str) -> None:
    """Write a file whose first line says that its data are invented; one that a demo has not written stays as it is.

    Raises
    ------
    InputError
        A file of that name which was not written by a demo.
    """
    if path.exists() and not path.read_text(encoding="utf-8", errors="replace").startswith(LABEL):
        raise InputError(f"{path} exists and was not written by this demo; name another folder")
    write_text(path, f"{LABEL}\n{text}")


def write_study(folder: Path) -> Path:
    """24 pairs: 3 athletes, 2 devices, 2 conditions, 2 sessions; the second device reads 2.4 % low on climbs alone."""
    rng = np.random.default_rng(20260314)
    folder.mkdir(parents=True, exist_ok=True)
    offsets = {"D1": {"flat": 0.4, "climb": 0.2}, "D2": {"flat": -0.3, "climb": -2.4}}
    for athlete in ("P1", "P2", "P3"):
        for device, by_condition in offsets.items():
            for condition, percent in by_condition.items():
                for session in (1, 2):
                    true = effort(rng)
                    name = f"{athlete}_{condition}_{session}_{device}"
                    write(folder / f"{name}_ref.csv", true)
                    write(folder / f"{name}_dev.csv", reading(rng, true, percent + rng.normal(0, 0.4)), 4.0)
    return folder


def write_fleet(folder: Path, units: int = 60) -> Path:
    """60 units of one to three sessions; their errors have SD 0.6 %, and two of them are off by 4 and 5 %."""
    rng = np.random.default_rng(20260315)
    folder.mkdir(parents=True, exist_ok=True)
    odd = {17: 4.0, 41: -5.0}
    for unit in range(1, units + 1):
        own = odd.get(unit, float(rng.normal(-0.2, 0.6)))
        for session in range(1, 1 + int(rng.integers(1, 4))):
            true = effort(rng, 600)
            write(folder / f"unit{unit:02d}-{session}-ref.csv", true)
            write(folder / f"unit{unit:02d}-{session}-dev.csv", reading(rng, true, own + rng.normal(0, 0.3)), -3.0)
    return folder


def write_trail(folder: Path) -> tuple[Path, tuple[Path, Path, Path]]:
    """Nine sessions of one device in four states, and one session with a third device beside both.

    New, it drifts before it settles and reads low; zeroing it anew does nothing; a first factor helps a little;
    a second one lands, and lasts. Sessions of a state differ by hardly more than chance within them.
    """
    rng = np.random.default_rng(20260316)
    folder.mkdir(parents=True, exist_ok=True)
    time = np.arange(SECONDS)
    states = [("new", -2.6, 2), ("zeroed anew", -2.6, 2), ("factor 1.01 entered", -1.6, 2),
              ("factor 1.026 entered", 0.0, 3)]
    rows, session = ["session,state,reference,device\n"], 0
    for state, percent, count in states:
        for _ in range(count):
            session += 1
            true = effort(rng)
            error = percent + rng.normal(0, 0.03) + (2.5 * np.exp(-time / SETTLE_S) if session == 1 else 0.0)
            files = tuple(f"{session}-{role}.csv" for role in ("reference", "device"))
            day = FIRST_DAY + timedelta(days=3 * session)
            write_dated(folder / files[0], true, day)
            write_dated(folder / files[1], reading(rng, true, error, 2.0), day)
            rows.append(f"{session},{state},{files[0]},{files[1]}\n")
    labelled(folder / "sessions.csv", "".join(rows))
    true = effort(rng, 2400)
    three = tuple(folder / f"together-{name}.csv" for name in ("reference", "device", "third"))
    for path, percent, start in zip(three, (0.0, 0.1, -1.8), (0.0, 5.0, 2.0), strict=True):
        write(path, reading(rng, true, percent), start)
    return folder / "sessions.csv", (three[0], three[1], three[2])
