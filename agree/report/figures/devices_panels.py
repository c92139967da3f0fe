"""Pictures of several devices: factors that line them up, and each one's own error."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.axes import Axes

from agree.core.interval.estimate import Estimate
from agree.devices.compare import DeviceComparison
from agree.devices.means import Difference
from agree.report.figures.look import CAPTION, DOTTED, axis_name, bar, frame, mark_within, round_ticks

LEAST_REACH = 0.5  # per cent, of the axis of differences
LEAST_SD = 1.0     # per cent, of the axis of own errors


def _reach(items: Sequence[Estimate], floor: float) -> float:
    ends = [abs(x) for item in items for x in (item.value, item.low, item.high) if math.isfinite(x)]
    return 1.1 * max([floor, *ends])


def draw_differences(ax: Axes, differences: Sequence[Difference]) -> None:
    """How each device reads against each other, per cent: a diamond where they differ, all comparisons at once."""
    items = [item.percent for item in differences]
    reach = _reach(items, LEAST_REACH)
    ax.set_xlim(-reach, reach)
    ax.set_ylim(len(items) - 0.4, -0.6)
    frame(ax, left=False)
    ax.axvline(0, color=CAPTION, linewidth=0.6, **DOTTED, zorder=1)
    for k, item in enumerate(differences):
        bar(ax, k, item.percent, upright=False, ends=True)
        mark_within(ax, item.percent.value, k, "does not hold" if item.differs else "holds", upright=False)
    round_ticks(ax, "x", 7)
    axis_name(ax, "x", "the second reads more than the first, %")


def draw_own_errors(ax: Axes, result: DeviceComparison) -> None:
    """SD of each device's own error of a window's mean, per cent."""
    items = [item.error_sd for item in result.devices if item.error_sd is not None]
    ax.set_xlim(0, _reach(items, LEAST_SD))
    ax.set_ylim(len(result.devices) - 0.4, -0.6)
    frame(ax, left=False)
    for k, device in enumerate(result.devices):
        if device.error_sd is not None:
            bar(ax, k, device.error_sd, upright=False, ends=True)
            mark_within(ax, device.error_sd.value, k, "holds", upright=False)
    round_ticks(ax, "x", 7, sign=False)
    axis_name(ax, "x", "own error of a window's mean, SD, %")
