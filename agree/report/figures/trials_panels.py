"""Panels of a check of trials: errors against level, subjects sorted, share within a limit, typical errors."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from agree.trials.check import TrialsCheck
from agree.trials.curves import share_curve

INK, GREY, PALE, ACCENT = "#1a1a1a", "#595959", "#d4d4d4", "#0a5a8c"
SIZE = 7


def frame(ax: Axes, title: str, x: str, y: str) -> None:
    """Give axes their plain look: no global setting is touched."""
    ax.set_title(title, fontsize=SIZE + 1, loc="left", color=INK)
    ax.set_xlabel(x, fontsize=SIZE, color=INK)
    ax.set_ylabel(y, fontsize=SIZE, color=INK)
    ax.tick_params(labelsize=SIZE, color=GREY, labelcolor=INK, length=2)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)


def claim_lines(ax: Axes, limit: float) -> None:
    """Draw the claim's limits."""
    for side in (-limit, limit):
        ax.axhline(side, color=INK, linewidth=0.9, linestyle=(0, (5, 2.5)))


def errors_against_level(ax: Axes, check: TrialsCheck) -> None:
    """Error of each trial against the level, the claim, limits of agreement and the line's two ends."""
    trials, unit = check.trials, check.trials.quantity.computed_in
    frame(ax, "(a) Error against level", f"reference, {unit}", f"error, {check.unit}")
    if trials.paired:
        ax.plot(trials.reference, check.scaled.error, "o", color=GREY, markersize=2.2, alpha=0.7)
    for item, style in ((check.bias, "-"), (check.lower, ":"), (check.upper, ":")):
        ax.axhline(item.value, color=ACCENT, linewidth=0.8, linestyle=style)
        ax.axhspan(item.low, item.high, color=ACCENT, alpha=0.10, linewidth=0)
    if check.line is not None:
        for at, end in zip(check.line.end_levels, check.line.ends, strict=True):
            ax.errorbar([at], [end.value], [[end.value - end.low], [end.high - end.value]], fmt="D", color=INK,
                        markersize=3, linewidth=0.9, capsize=2)
    claim_lines(ax, check.scaled.limit)


def subjects_sorted(ax: Axes, check: TrialsCheck) -> None:
    """Subjects' mean errors from low to high, and where the next subject's mean of M trials is foretold beneath."""
    means = np.sort(check.scaled.errors.means)
    frame(ax, "(b) Subjects' mean errors, and the next subject", f"error, {check.unit}", "subject")
    ax.plot(means, np.arange(means.size), "o", color=ACCENT, markersize=2.5)
    ahead = 1.96 * check.scaled.errors.variance(check.mean_of) ** 0.5
    ax.errorbar([check.bias.value], [-max(0.08 * means.size, 1.5)], xerr=[[ahead], [ahead]], fmt="s", color=INK,
                markersize=3, linewidth=0.9, capsize=2)
    for side in (-check.scaled.limit, check.scaled.limit):
        ax.axvline(side, color=INK, linewidth=0.9, linestyle=(0, (5, 2.5)))
    ax.set_yticks([])


def share_against_limit(ax: Axes, check: TrialsCheck) -> None:
    """Share of single trials within, counted with its interval and normal, against the limit."""
    curve = share_curve(check.scaled, check.level)
    frame(ax, "(c) Share of single trials within a limit", f"limit, {check.unit}", "share, %")
    if curve.counted.size:
        ax.fill_between(curve.limit, 100 * curve.low, 100 * curve.high, color=ACCENT, alpha=0.15, linewidth=0)
        ax.plot(curve.limit, 100 * curve.counted, color=ACCENT, linewidth=1, label="counted")
    ax.plot(curve.limit, 100 * curve.normal, color=GREY, linewidth=0.9, linestyle="--", label="if normal")
    ax.axhline(95, color=PALE, linewidth=0.8)
    ax.axvline(check.scaled.limit, color=INK, linewidth=0.9, linestyle=(0, (5, 2.5)))
    ax.set_ylim(0, 102)
    ax.legend(fontsize=SIZE, frameon=False, loc="lower right")


def typical_errors(ax: Axes, check: TrialsCheck) -> None:
    """Typical error of both methods with intervals."""
    unit = check.trials.quantity.computed_in
    frame(ax, "(d) Typical error of each method", f"SD of a trial, {unit}", "")
    items = [("reference", check.side_by_side.reference_error), ("device", check.side_by_side.device_error)]
    shown = [(name, item) for name, item in items if item is not None]
    for k, (_, item) in enumerate(shown):
        ax.errorbar([item.value], [-k], xerr=[[item.value - item.low], [item.high - item.value]], fmt="o", color=ACCENT,
                    markersize=3.5, linewidth=1, capsize=2)
    ax.set_yticks([-k for k in range(len(shown))], [name for name, _ in shown])
    ax.set_ylim(-1.6, 0.6)
    ax.set_xlim(left=0)
    if not shown:
        ax.text(0.5, 0.5, "one trial each: not known", transform=ax.transAxes, ha="center", fontsize=SIZE)
