"""Pictures of hung masses: the error of the readings at each mass, what the line leaves, what the doubt comes from."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from agree.physics.static_check import StaticCheck
from agree.physics.static_line import percent_limit
from agree.report.figures.look import (
    ALLOWED,
    CAPTION,
    INK,
    INSIDE,
    LIMIT,
    RULE,
    SOLID,
    allowed,
    axis_name,
    bar,
    frame,
    mark_within,
    round_ticks,
    tick_labels,
    words,
)
from agree.report.story.language.names import short
from agree.verdict.claim import Claim

WIDEST = 3.0   # of the largest error or limit, that the axis shows: intervals at small masses may go far beyond
NAME = 0.06    # of the range, by which a side's name stands off its last mark
LEAST_SHARE = 0.005
APART = 0.012  # of the range, by which two sides stand apart


def _limit(claim: Claim | None, torque: float) -> float:
    return math.nan if claim is None else percent_limit(claim, torque)


def draw_errors_by_mass(ax: Axes, check: StaticCheck) -> None:
    """Error of the readings at each mass with its interval, per cent; the sides beside one another."""
    values = [abs(item.error_percent.value) for item in check.levels]
    limits = [_limit(check.claim, item.torque_Nm) for item in check.levels if check.claim is not None]
    ends = [abs(x) for item in check.levels for x in (item.error_percent.low, item.error_percent.high)]
    most = max(values + [1.2 * x for x in limits])
    reach = 1.1 * min(max(ends + [1.2 * x for x in limits]), WIDEST * most) or 1.0
    span = max(item.torque_Nm for item in check.levels)
    ax.set_xlim(0, 1.06 * span)
    ax.set_ylim(-reach, reach)
    frame(ax)
    if check.claim is not None and check.claim.absolute:
        x = np.linspace(span / 50, 1.06 * span, 200)
        y = np.minimum([_limit(check.claim, float(at)) for at in x], reach)
        ax.fill_between(x, -y, y, facecolor=ALLOWED, edgecolor="none", linewidth=0, zorder=0)
        for edge in (-y, y):
            ax.plot(x, edge, color=LIMIT, linewidth=0.9, **SOLID, zorder=1)
    else:
        allowed(ax, _limit(check.claim, span))
    last = {item.side: item.error_percent.value for item in check.levels}
    names = list(last)
    for side in names:
        mine = [item for item in check.levels if item.side == side]
        places = [item.torque_Nm + span * APART * (names.index(side) - (len(names) - 1) / 2) for item in mine]
        ax.plot(places, np.clip([item.error_percent.value for item in mine], -reach, reach), color=CAPTION,
                linewidth=0.8, **SOLID, zorder=2)
        for at, item in zip(places, mine, strict=True):
            bar(ax, at, item.error_percent, width=1.2)
            mark_within(ax, item.error_percent.value, at, item.verdict)
        if side:
            end = min(max(mine[-1].error_percent.value / reach, -0.85), 0.85) * reach
            below = len(names) > 1 and side == min(names, key=lambda name: last[name])
            words(ax, 1.06 * span, end + (-NAME if below else NAME) * reach, short(side), ha="right",
                  va="top" if below else "bottom")
    round_ticks(ax, "x", 8, sign=False)
    round_ticks(ax, "y", 7)
    axis_name(ax, "x", "torque of the masses, N m")
    axis_name(ax, "y", "error of the readings, %")


def draw_off_the_line(ax: Axes, check: StaticCheck) -> None:
    """How far each reading lies off the line of its side, N m, joined in the order they were hung."""
    rest = check.residual_Nm
    reach = 1.2 * float(np.abs(rest).max()) or 0.01
    ax.set_xlim(-0.03 * float(check.torque_Nm.max()), 1.05 * float(check.torque_Nm.max()))
    ax.set_ylim(-reach, reach)
    frame(ax)
    ax.axhline(0, color=RULE, linewidth=0.6, **SOLID, zorder=1)
    for side in dict.fromkeys(check.side):
        mine = np.array([name == side for name in check.side])
        ax.plot(check.torque_Nm[mine], rest[mine], color=INSIDE, linewidth=0.7, **SOLID, zorder=2)
    ax.plot(check.torque_Nm, rest, linestyle="none", marker="o", markersize=3, markerfacecolor=INSIDE,
            markeredgecolor=INSIDE, zorder=3)
    round_ticks(ax, "x", 5, sign=False)
    round_ticks(ax, "y", 5)
    axis_name(ax, "x", "torque of the masses, N m")
    axis_name(ax, "y", "off the line, N m")


def draw_shares(ax: Axes, shares: Sequence[tuple[str, float]]) -> None:
    """Share of each source in the variance, per cent, with its name beside."""
    ax.set_xlim(0, 100)
    ax.set_ylim(len(shares) - 0.4, -0.6)
    frame(ax)
    ax.barh(range(len(shares)), [100 * share for _, share in shares], height=0.55, color=INSIDE, edgecolor=INK,
            linewidth=0.4)
    for k, (_, share) in enumerate(shares):
        inside = share > 0.8  # the bar leaves no room at its right
        text = f"{100 * share:.0f} %" if share >= LEAST_SHARE else "below 1 %"
        words(ax, 100 * share + (-1.5 if inside else 1.5), k, text, va="center",
              ha="right" if inside else "left", color="white" if inside else INK)
    tick_labels(ax, "y", list(range(len(shares))), [name for name, _ in shares])
    round_ticks(ax, "x", 6, sign=False)
    axis_name(ax, "x", "share of the variance, %")
