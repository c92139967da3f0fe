"""The files that the pages name, with invented data, so that every command the pages show can run."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np

from agree.demo.many import effort, reading, write
from agree.demo.trials import write_tables

HEAD = "time (s),{} ({})\n"
STATES = ("new", "new", "factor 1.02 entered", "factor 1.02 entered")
MASSES = """mass_kg,reading_Nm,side,direction
0,0.1,left,up
5,8.31,left,up
10,16.5,left,up
20,32.9,left,up
10,16.55,left,down
"""


def column(path: Path, name: str, unit: str, values: np.ndarray, digits: int) -> None:
    """Write a recording of one quantity, a reading every second."""
    rows = "".join(f"{k},{value:.{digits}f}\n" for k, value in enumerate(values))
    path.write_text(HEAD.format(name, unit) + rows, encoding="utf-8")


def sessions(folder: Path, rng: np.random.Generator) -> None:
    """Write four sessions of pedals that read 2.4 % low, two of them with a factor entered, and their lists."""
    for k, percent in enumerate((-2.4, -2.6, -0.5, -0.4), 1):
        number, n = ("", 760) if k == 1 else (f"-{k}", 480)  # the first is long enough for three devices
        true = effort(rng, n)
        cadence = np.clip(85 + 5 * np.sin(np.arange(n) / 47) + rng.normal(0, 1.5, n), 60, 110).round()
        for name, watts in (("crank", true), ("pedals", reading(rng, true, percent))):
            turns = cadence + (rng.random(n) < 0.1) * (name == "pedals")
            rows = "".join(f"{s},{w:g},{c:g}\n" for s, (w, c) in enumerate(zip(watts, turns, strict=True)))
            (folder / f"{name}{number}.csv").write_text(f"time (s),power (W),cadence (rpm)\n{rows}", encoding="utf-8")
        if k == 1:
            write(folder / "hub.csv", reading(rng, true, 0.5))
            both = "".join(f"{s},{w:g},{0.98 * w:.0f}\n" for s, w in enumerate(true))
            (folder / "both.csv").write_text(f"time (s),Power crank,Power pedals\n{both}", encoding="utf-8")
    names = [("" if k == 1 else f"-{k}") for k in range(1, 5)]
    plain = [f"{k},crank{n}.csv,pedals{n}.csv" for k, n in enumerate(names[:3], 1)]
    (folder / "sessions.csv").write_text("\n".join(["session,reference,device", *plain]) + "\n", encoding="utf-8")
    stated = [f"{k},{s},crank{n}.csv,pedals{n}.csv" for k, (s, n) in enumerate(zip(STATES, names, strict=True), 1)]
    (folder / "states.csv").write_text("\n".join(["session,state,reference,device", *stated]) + "\n", encoding="utf-8")


def others(folder: Path, rng: np.random.Generator) -> None:
    """Write recordings of heart rate, speed and temperature, tables of trials, and masses."""
    seconds = np.arange(1500)
    slow = np.sin(seconds / 70) + 0.6 * np.sin(seconds / 23)
    for names, name, unit, base, size, noise, digits in (
            (("strap", "wrist"), "heart rate", "bpm", 140, 15, 1.5, 0),
            (("treadmill", "watch"), "speed", "km/h", 12, 2, 0.15, 2),
            (("probe", "pill"), "core temperature", "°C", 38, 0.4, 0.02, 2)):
        for k, file in enumerate(names):
            values = base + size * slow + rng.normal(0, noise, seconds.size) + 0.1 * k * size / 15
            column(folder / f"{file}.csv", name, unit, values, digits)
    plate, mat = write_tables(folder / "tables")
    for source, name in ((plate, "plate"), (mat, "mat")):
        text = source.read_text(encoding="utf-8").replace("athlete,jump", "subject,trial")
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    rows = [f"{s},{t},{30 + s + t + rng.normal():.1f},{30.4 + s + t + rng.normal():.1f}"
            for s in range(10) for t in (1, 2, 3)]
    (folder / "jumps.csv").write_text("\n".join(["subject,trial,plate_cm,mat_cm", *rows]) + "\n", encoding="utf-8")
    (folder / "masses.csv").write_text(MASSES, encoding="utf-8")


def studies(folder: Path, rng: np.random.Generator) -> None:
    """Write a study of two pairs, and the list of a fleet of two."""
    for place in ("rides", "fleet"):
        (folder / place).mkdir()
        for unit in ("D1", "D2"):
            true = effort(rng, 600)
            write(folder / place / f"P1_flat_1_{unit}_ref.csv", true)
            write(folder / place / f"P1_flat_1_{unit}_dev.csv", reading(rng, true, 0.3))
    rows = [f"{unit},1,P1_flat_1_{unit}_ref.csv,P1_flat_1_{unit}_dev.csv" for unit in ("D1", "D2")]
    text = "\n".join(["unit,session,reference,device", *rows]) + "\n"
    (folder / "fleet" / "list.csv").write_text(text, encoding="utf-8")


def write_files(folder: Path) -> Path:
    """Write every file that a page names into a folder, and return it."""
    rng = np.random.default_rng(20260316)
    folder.mkdir(parents=True, exist_ok=True)
    sessions(folder, rng)
    others(folder, rng)
    studies(folder, rng)
    shutil.copy(folder / "crank.csv", folder / "ride.csv")
    return folder
