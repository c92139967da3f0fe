"""Difference in response and best efforts as text."""

from __future__ import annotations

import math
import textwrap

from agree.core.interval.estimate import Estimate
from agree.core.results.words import WIDTH, clock_of, decimals, estimate_text, percent, summary
from agree.estimators.response.bests.effort import BestEfforts, Effort
from agree.estimators.response.bests.known_to_both import CEILING, DELAY_ALONE, NO_KIND_FITS, OTHER_EFFORT
from agree.estimators.response.difference import Response
from agree.report.story.language.vocabulary import fault

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
                ["No difference in response found, but a part of a second.",
                 *([f"  not told from: {', '.join(result.alike)}"] if result.alike else [])] if result.between_s else
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


NOT_SPLIT = {CEILING: "ceiling", OTHER_EFFORT: "faulty"}
NOT_SPLIT_WORDS = {
    CEILING: '"ceiling": one of the two is at its ceiling in these windows, which is part of the difference, so that '
             "averaging and scale are not told apart.",
    OTHER_EFFORT: '"faulty": beside faulty seconds only another effort is known at one response, so that averaging and '
                  "scale are not told apart."}


def duration_text(seconds: int) -> str:
    """Seconds, or minutes if they are whole."""
    return f"{seconds} s" if seconds % 60 else f"{seconds // 60} min"


def _watts(value: float) -> str:
    return f"{value:.1f}" if 0.1 < abs(value) < 1e6 or value == 0 else f"{value:.3g}"


def _percent(item: Estimate | None) -> str:
    """Print a per cent with at most two decimals, from 10 % on one: no best effort is known better."""
    if item is None or not math.isfinite(item.low) or not math.isfinite(item.high):
        return estimate_text(item, sign=True)
    places = min(decimals(item.low, item.high), 1 if max(abs(item.low), abs(item.high)) >= 10 else 2)
    value, low, high = (f"{x:+.{places}f}" for x in (item.value, item.low, item.high))
    return f"{value} [{low}, {high}]"


def _split(item: Effort) -> tuple[str, str]:
    """Averaging and scale, or in their place why they are not told apart."""
    if item.unsplit:
        return NOT_SPLIT[item.unsplit], NOT_SPLIT[item.unsplit]
    return _one(item.averaging_percent), _percent(item.scale_percent)


def _one(value: float) -> str:
    return "-" if math.isnan(value) else f"{value + 0.0:+.1f}".replace("-0.0", "+0.0")


EFFORT_HEAD = ("Best", "reference, W", "device, W", "difference, %", "averaging, %", "scale, %", "same window, %",
               "common")


def effort_row(item: Effort) -> tuple[str, ...]:
    """Cells of a best effort that has a difference, as under `EFFORT_HEAD`; * marks one that a remark explains."""
    own, same = (_percent(one) for one in (item.difference_percent, item.same_window_percent))
    share = f"{100 * item.overlap_s / item.duration_s:.0f} %"
    return (duration_text(item.duration_s), _watts(item.reference_w), _watts(item.device_w),
            own + ("*" if item.lacks else ""), *_split(item), same, share)


def compared(result: BestEfforts) -> list[Effort]:
    """Return the best efforts that have a difference."""
    return [item for item in result.efforts if item.difference is not None]


def _lack(item: Effort) -> str:
    if item.lacks_reason == "missing":
        return f"{item.lacks_s} s missing from {clock_of(item.lacks_at_s)} on"
    return f"{fault(item.lacks_reason)} at {clock_of(item.lacks_at_s)}" + (
        f", {item.lacks_s} s in all" if item.lacks_s > 1 else "")


def effort_remarks(result: BestEfforts) -> list[str]:
    """Say which rows compare other windows than the two bests, which have no difference, and what is unsplit."""
    rows: dict[tuple[str, float, int], list[Effort]] = {}
    for item in compared(result):
        if item.lacks:
            rows.setdefault((item.lacks, item.lacks_at_s, item.lacks_s), []).append(item)
    told = []
    for (lacks, _, _), items in rows.items():
        other = "device" if lacks == "reference" else "reference"
        means = "; ".join(f"{duration_text(item.duration_s)}: reference {_watts(item.reference_common_w)} W, device "
                          f"{_watts(item.device_common_w)} W" for item in items)
        told.append(f"* Different windows: the {lacks} does not know the {other}'s best whole ({_lack(items[0])}). The "
                    f"difference is that of the best windows that both know whole ({means}).")
    told += [f"{duration_text(item.duration_s)}: {_without(item)}." for item in result.efforts
             if item.difference is None]
    if result.unsplit == NO_KIND_FITS:
        told.append("Averaging and scale: not told apart, for no kind of response fits how the two differ.")
    elif result.unsplit == DELAY_ALONE:
        told.append("Averaging and scale: not told apart, for the two differ by a part of a second alone, which moves "
                    "bests of a few seconds either way.")
    elif any(not item.unsplit for item in compared(result)):
        told.append("Difference: averaging, what the difference in response does to bests, and scale, what is "
                    "left at one response." + (" A dash: no such window is known whole at one response." if any(
                        item.scale_percent is None and not item.unsplit for item in compared(result)) else ""))
    told += [words for why, words in NOT_SPLIT_WORDS.items() if any(item.unsplit == why for item in compared(result))]
    return told


def _without(item: Effort) -> str:
    why = f": {_lack(item)}" if item.lacks else ""
    best = "; ".join(f"the {role}'s best is {_watts(value)} W" for role, value in (
        ("reference", item.reference_w), ("device", item.device_w)) if math.isfinite(value))
    return f"{item.note}{why}" + (f"; {best}" if best else "")


@summary.register
def _(result: BestEfforts) -> str:
    rows = [effort_row(item) for item in compared(result)]
    lines = []
    if rows:
        lines = [f"{'Best':<7}{'reference':>9}{'device':>8}  {'difference, %':<22}{'averaging':>9}  {'scale, %':<19}",
                 f"{'':<7}{'W':>9}{'W':>8}  {'':<22}{'%':>9}"]
        lines += [f"{row[0]:<7}{row[1]:>9}{row[2]:>8}  {row[3]:<22}{row[4]:>9}  {row[5]}" for row in rows]
        lines += ["", f"{'Best':<7}{'same window, %':<22}{'common':>6}"]
        lines += [f"{row[0]:<7}{row[6]:<22}{row[7]:>6}" for row in rows]
        lines += [""]
    for remark in effort_remarks(result):
        lines += textwrap.wrap(remark, WIDTH, break_on_hyphens=False)
    about = (f"Intervals of {percent(result.level)}, each by itself, not all at once. Same window: the reference's "
             "best. Bests are chosen for being high; the intervals allow for that. " if rows else "")
    about += f"{result.seconds:,} s known, the longest run {result.longest_run_s:,} s."
    return "\n".join([*(line.rstrip() for line in lines), *textwrap.wrap(about, WIDTH)])
