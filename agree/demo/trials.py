"""Two invented tables of jumps: a force plate and a mat, 24 athletes with three jumps each, some of them missing."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from agree.demo.folder import write_invented

ATHLETES, JUMPS, SEED = 24, 3, 20260401
BIAS_CM, ATHLETE_SD_CM, JUMP_SD_CM = 0.6, 0.7, 0.6


def write_tables(folder: Path) -> tuple[Path, Path]:
    """Write the two tables; the mat reads 0.6 cm high, misses two jumps, and lists them in another order."""
    rng = np.random.default_rng(SEED)
    level = rng.normal(36, 6, ATHLETES)
    own = rng.normal(BIAS_CM, ATHLETE_SD_CM, ATHLETES)
    plate, mat = [], []
    for athlete in range(ATHLETES):
        for jump in range(1, JUMPS + 1):
            true = level[athlete] + rng.normal(0, 1.4)
            plate.append(f"A{athlete + 1:02d},{jump},{true + rng.normal(0, 0.2):.1f}")
            mat.append(f"A{athlete + 1:02d},{jump},{true + own[athlete] + rng.normal(0, JUMP_SD_CM):.1f}")
    missed = {7, 40}
    kept = [mat[k] for k in rng.permutation(len(mat)) if k not in missed]
    first, second = write_invented(folder, {
        "invented-plate.csv": "\n".join(["athlete,jump,height (cm)", *plate]) + "\n",
        "invented-mat.csv": "\n".join(["athlete,jump,height (cm)", *kept]) + "\n"})
    return first, second
