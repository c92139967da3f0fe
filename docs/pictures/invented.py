"""Invented data for the pictures, alike at every build, and one look for all."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

INK, GREY, BLUE, ORANGE, ALLOWED = "#15202a", "#8d979f", "#1f6f8b", "#a8430b", "#d6e7ee"


def new_figure(columns: int = 1, width: float = 7.0, height: float = 3.2, **more: object) -> tuple[Figure, list[Axes]]:
    """Return a figure with panels side by side, in the look of these pages."""
    with mpl.rc_context({"font.size": 9, "axes.spines.top": False, "axes.spines.right": False, "axes.edgecolor": GREY,
                         "axes.labelcolor": INK, "text.color": INK, "axes.titlesize": 9.5, "legend.frameon": False}):
        figure = Figure(figsize=(width, height), layout="constrained")
        axes = figure.subplots(1, columns, squeeze=False, **more)
    return figure, list(axes[0])


def pairs(n: int = 120, scale: float = 0.98, offset: float = 0.0, noise: float = 4.0, seed: int = 1
          ) -> tuple[np.ndarray, np.ndarray]:
    """Return n independent pairs: power of 100 to 400 W; the device has a scale, an offset and errors of SD `noise`."""
    rng = np.random.default_rng(seed)
    true = rng.uniform(100, 400, n)
    return true + rng.normal(0, noise / 2, n), offset + scale * true + rng.normal(0, noise, n)


def ride(minutes: int = 30, seed: int = 2) -> np.ndarray:
    """Return power second by second, with intervals, sprints and coasting."""
    rng = np.random.default_rng(seed)
    seconds = np.arange(60 * minutes)
    restless = np.convolve(rng.normal(0, 1, seconds.size + 8), np.ones(9) / 3, "valid")
    watts = 200 + 70 * np.sin(seconds / 95) + 25 * restless
    watts[300::300] = 0
    for start in range(200, seconds.size - 40, 300):
        watts[start:start + 12] += 250
        watts[start + 12:start + 20] = 0
    return watts.clip(0)
