"""Difference in response and best efforts as text."""

from __future__ import annotations

import math
import textwrap

from agree.core.interval.estimate import Estimate
from agree.core.results.words import WIDTH, decimals, estimate_text, percent, summary
from agree.estimators.response.difference import Response
from agree.estimators.response.efforts import BestEfforts, Effort

LAG = "first-order lag with a time constant of"


def _filled(*lines: str) -> str:
    return "\n".join(textwrap.fill(line, WIDTH, subsequent_indent="  ", break_on_hyphens=False) for line in lines)


def _kind(result: Response) -> str:
    """Name the kind, and its sizes."""
    mean, lag, second, down = (estimate_text(item, "s") for item in (
        result.width_s, result.time_constant_s, result.second_constant_s, result.down_constant_s))
    return {"running mean": f"running mean over {mean}", "first order": f"{LAG} {lag}",
            "two lags": f"two first-order lags in a row, with time constants of {lag} and {second}",
            "mean and lag": f"running mean over {mean} and, in a row, {LAG} {lag}",
            "uneven": f"{LAG} {lag} to more power, and of {down} to less"}[result.kind]


@summary.register
def _(result: Response) -> str:
    share = result.explained
    if share is not None and not result.fits:
        head = [f"The {result.smoother} is the smoother, but no kind of response that was tried fits.",
                f"  the nearest leaves {result.misfit:.2g} times what chance leaves: no size is told, nor limits"]
    elif share is None:
        head = (["No kind of response that was tried fits how the two differ."] if not result.fits else
                ["Whether the two differ in response cannot be told.",
                 f"  not excluded: {', '.join(result.alike)}"] if result.alike else
                ["No difference in response found.", "  excluded: a mean over 3 s and a lag of 1 s, of either"])
        if result.between_s and result.fits:
            head.append(f"  between     readings of the {result.smoother} lie {result.between_s:.1f} s after seconds "
                        "of the other")
    else:
        doubt = f"  not told from: {', '.join(result.alike)}" if result.alike else ""
        head = [f"The {result.smoother} is the smoother: {_kind(result)}.", *([doubt] if doubt else []),
                f"  explains    {estimate_text(share.scaled(100), '%')} of the error's variance, second by second"]
    if result.held_s:
        head.append(f"  held        for {result.held_s} s after pedalling ends, the last reading")
    before, after = (f"{value:.3g} W" for value in (result.scatter_before_w, result.scatter_after_w))
    return _filled(*head,
                   f"  scatter     {before} about the line, {after} matched",
                   f"  slope       {estimate_text(result.slope)} at matched response",
                   f"  delay       {estimate_text(result.delay_s, 's', sign=True)} of the device beside the match",
                   f"  {result.n:,} s; {percent(result.level)} intervals, serial")


def duration_text(seconds: int) -> str:
    """Seconds, or minutes if they are whole."""
    return f"{seconds} s" if seconds % 60 else f"{seconds // 60} min"


def _watts(value: float) -> str:
    return f"{value:.1f}" if 0.1 < abs(value) < 1e6 or value == 0 else f"{value:.3g}"


def _percent(item: Estimate | None) -> str:
    """Print a per cent with at most two decimals: no best effort is known better."""
    if item is None or not math.isfinite(item.low) or not math.isfinite(item.high):
        return estimate_text(item, sign=True)
    places = min(decimals(item.low, item.high), 2)
    value, low, high = (f"{x:+.{places}f}" for x in (item.value, item.low, item.high))
    return f"{value} [{low}, {high}]"


def _effort_row(item: Effort) -> str:
    own, same = (_percent(one) for one in (item.difference_percent, item.same_window_percent))
    share = f"{100 * item.overlap_s / item.duration_s:.0f} %"
    powers = "".join(f"{_watts(value):>9}" for value in (item.reference_w, item.device_w))
    return f"{duration_text(item.duration_s):<7}{powers}  {own:<22}{same:<22}{share:>6}"


@summary.register
def _(result: BestEfforts) -> str:
    there = [item for item in result.efforts if not math.isnan(item.reference_w)]
    lines = [f"{'Best':<7}{'reference':>9}{'device':>9}  {'difference, %':<22}{'same window, %':<22}{'common':>6}",
             f"{'':<7}{'W':>9}{'W':>9}", *map(_effort_row, there)] if there else []
    lines += [f"{duration_text(item.duration_s):<7}  {item.note}" for item in result.efforts if item not in there]
    about = (f"Intervals of {percent(result.level)}, each by itself, not all at once. Same window: the reference's "
             "best. Bests are chosen for being high; the intervals allow for that. " if there else "")
    about += f"{result.seconds:,} s known, the longest run {result.longest_run_s:,} s."
    return "\n".join([*lines, *textwrap.wrap(about, WIDTH)])
