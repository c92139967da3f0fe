"""Two invented recordings of heart rate: a chest strap, and a wrist sensor that is 9 s late and locks to the steps."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from agree.demo.folder import write_invented

START, SECONDS, SEED = datetime(2026, 4, 2, 7, 15, tzinfo=UTC), 3000, 20260402
LATE_S, LOCK = 9, slice(1700, 1880)


def write_recordings(folder: Path) -> tuple[Path, Path]:
    """Write both recordings, on clocks set by satellite; the strap's has the cadence of running."""
    rng = np.random.default_rng(SEED)
    t = np.arange(SECONDS, dtype=float)
    effort = np.where((t % 240 < 120) & (t > 300), 162.0, 122.0)
    heart = np.empty(SECONDS)
    heart[0] = 95.0
    for k in range(1, SECONDS):
        heart[k] = heart[k - 1] + (effort[k] - heart[k - 1]) / 28
    steps = np.round(172 + 4 * np.sin(t / 70) + rng.normal(0, 1, SECONDS))
    wrist = np.interp(t - LATE_S, t, heart) + rng.normal(0, 1.2, SECONDS)
    wrist[LOCK] = steps[LOCK] + rng.normal(0, 0.8, LOCK.stop - LOCK.start)
    stamps = [(START + timedelta(seconds=k)).isoformat().replace("+00:00", "Z") for k in range(SECONDS)]
    strap = [f"{at},{beats:.0f},{turns:.0f}" for at, beats, turns in
             zip(stamps, heart + rng.normal(0, 0.4, SECONDS), steps, strict=True)]
    worn = [f"{at},{beats:.0f}" for at, beats in zip(stamps, wrist, strict=True)]
    first, second = write_invented(folder, {
        "invented-strap.csv": "\n".join(["timestamp,heart rate (bpm),cadence (spm)", *strap]) + "\n",
        "invented-wrist.csv": "\n".join(["timestamp,heart rate (bpm)", *worn]) + "\n"})
    return first, second
