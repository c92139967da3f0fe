"""Panels of a check of a quantity: traces with faults shaded, and window means of both devices both ways."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from agree.quantities.check import QuantityCheck
from agree.quantities.delay import taken_out
from agree.report.figures.trials_panels import ACCENT, GREY, INK, SIZE, claim_lines, frame


def traces(ax: Axes, check: QuantityCheck) -> None:
    """Both traces of the first session, faulty seconds shaded."""
    overlay = check.overlays[0]
    minutes = np.arange(overlay.reference.size) / 60
    frame(ax, "(a) Both as recorded; faults shaded", "time, min",
          f"{check.quantity.label}, {check.quantity.computed_in}")
    ax.plot(minutes, overlay.reference, color=GREY, linewidth=0.7, label=overlay.reference_name)
    ax.plot(minutes, overlay.device, color=ACCENT, linewidth=0.7, label=overlay.device_name)
    for fault in check.faults[0]:
        ax.axvspan(fault.start_s / 60, (fault.start_s + fault.seconds) / 60, color="#c2410c", alpha=0.2, linewidth=0)
    ax.legend(fontsize=SIZE, frameon=False, loc="upper right", ncols=2)


def _means(values: np.ndarray[tuple[int], np.dtype[np.float64]], width: int) -> list[float]:
    parts = [values[k:k + width] for k in range(0, values.size, width)]
    return [float(np.nanmean(part)) if np.isfinite(part).sum() >= width / 2 else np.nan for part in parts]


def errors_both_ways(ax: Axes, check: QuantityCheck) -> None:
    """Errors of window means along the first session, as recorded and with the delay taken out."""
    overlay, width = check.overlays[0], check.window_s
    frame(ax, f"(b) Errors of {width}-s means, both ways", "time, min", f"error, {check.quantity.computed_in}")
    rows = [(overlay.device, "as recorded", GREY, "o")]
    if check.taken_out is not None:
        rows.append((taken_out(overlay, check.delays[0].lag_s), "delay taken out", ACCENT, "D"))
    for device, label, color, marker in rows:
        error = _means(device - overlay.reference, width)
        ax.plot((np.arange(len(error)) + 0.5) * width / 60, error, marker, color=color, markersize=2.4, label=label)
    if check.claim.percent is None:
        claim_lines(ax, float(check.claim.absolute or 0))
    ax.axhline(0, color=INK, linewidth=0.4)
    ax.legend(fontsize=SIZE, frameon=False, loc="upper right", ncols=2)
