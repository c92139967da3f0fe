"""Both traces over time, with their difference below and what was set aside shaded."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes

from agree.core.checks import FloatArray
from agree.core.pairs import Pairs
from agree.report.figures.style import ACCENT, GREY, INK, SMALL, labels_right, shortened, size_pt, width_of

WIDTHS_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1800, 3600)
MOST_POINTS = 500  # about one for each pt of the page's width
QUIET = ("missing", "both_coasting", "beside_fault")  # set aside without being a fault


class Means(NamedTuple):
    """Means in spans of the clock; the difference of used seconds, where these are at least half of the span."""

    minutes: FloatArray
    reference: FloatArray
    device: FloatArray
    difference: FloatArray


def drawn_width(pairs: Sequence[Pairs]) -> int:
    """Length of the spans whose means are drawn, s: as few as the page can show."""
    seconds = sum(float(item.time[-1] - item.time[0]) + 1 for item in pairs if item.time.size)
    return next((w for w in WIDTHS_S if seconds / w <= MOST_POINTS), math.ceil(seconds / MOST_POINTS))


def means(pairs: Pairs, width: int) -> Means:
    """Means over spans of `width` seconds, of all readings, faulty ones included."""
    place = np.floor((pairs.time - pairs.time[0]) / width).astype(np.intp)
    total = int(place[-1]) + 1

    def mean(values: FloatArray, least: float = 1.0) -> FloatArray:
        known = np.isfinite(values)
        count = np.bincount(place[known], minlength=total)
        sums = np.bincount(place[known], weights=values[known], minlength=total)
        return np.where(count >= least, sums / np.maximum(count, 1), np.nan)

    minutes = (pairs.time[0] + width * (np.arange(total) + (0.5 if width > 1 else 0.0))) / 60
    return Means(minutes, mean(pairs.reference), mean(pairs.device),
                 mean(np.where(pairs.used, pairs.device - pairs.reference, np.nan), max(width / 2, 1.0)))


def shade(ax: Axes, pairs: Pairs, offset: float) -> None:
    """Shade what was set aside: plain if coasting or missing, hatched and darker if a fault."""
    for faults in (False, True):
        spans = [(offset + event.start_s / 60, event.seconds / 60) for event in pairs.events()
                 if (event.reason not in QUIET) == faults]
        if spans:
            ax.broken_barh(spans, (0, 1), transform=ax.get_xaxis_transform(), linewidth=0.5, zorder=0,
                           facecolor="#b8b8b8" if faults else "#e6e6e6", edgecolor="#8c8c8c" if faults else "#e6e6e6",
                           hatch="//////" if faults else None)


def shaded_text(pairs: Sequence[Pairs]) -> str:
    """Say what the shading stands for, with seconds and spans."""
    spans = Counter(event.reason for item in pairs for event in item.events())
    parts = []
    for faults in (False, True):
        found = [f"{reason.replace('_', ' ')} {sum(item.counts()[reason] for item in pairs):,} s ({count:,}×)"
                 for reason, count in spans.most_common() if (reason not in QUIET) == faults]
        if found:
            parts.append(("hatched = " if faults else "pale = ") + ", ".join(found))
    return f"Shaded, not used: {'; '.join(parts)}." if parts else "Nothing was set aside."


def _range(ax: Axes, values: FloatArray, zero: bool) -> None:
    """Show the bulk of the values; the few beyond are cut at the edge by the line running out of the axes."""
    finite = values[np.isfinite(values)]
    if not finite.size:
        return
    low, high = np.percentile(finite, (0, 100) if zero else (1, 99))
    low, high = (min(0.0, low), max(high, low + 1)) if zero else (min(low, 0.0), max(high, 0.0))
    pad = 0.06 * (high - low) or 1.0
    ax.set_ylim(low - (0 if zero and low == 0 else pad), high + pad)


def draw_traces(ax: Axes, strip: Axes | None, pairs: Sequence[Pairs]) -> None:
    """Draw reference (pale, thick) and device (dark, thin), several sessions one after the other."""
    width = drawn_width(pairs)
    parts = [means(item, width) for item in pairs if item.time.size]
    lengths = [float(part.minutes[-1] - part.minutes[0]) + width / 60 for part in parts]
    gap = 0.015 * sum(lengths)
    offset = 0.0
    centres: list[float] = []
    ends: list[float] = []
    for item, part, length in zip([item for item in pairs if item.time.size], parts, lengths, strict=True):
        x = offset - part.minutes[0] + part.minutes
        for axes in (ax, strip):
            if axes is not None:
                shade(axes, item, offset - item.time[0] / 60)
                if ends:
                    axes.axvline(offset - gap / 2, color=INK, linewidth=0.6)
        ax.plot(x, part.reference, color="#9c9c9c", linewidth=1.7)
        ax.plot(x, part.device, color=ACCENT, linewidth=0.6)
        if strip is not None:
            strip.plot(x, part.difference, color=INK, linewidth=0.5)
        centres.append(offset + length / 2)
        offset += length + gap
        ends.append(offset - gap / 2)
    said = f"{width}-s means, " if width > 1 else ""
    _range(ax, np.concatenate([column for part in parts for column in part[1:3]] or [np.zeros(0)]), zero=True)
    _label_time(ax, strip, pairs, centres, ends, lengths, said)
    last = [next((v for v in column[::-1] if math.isfinite(v)), 0.0) for column in (parts[-1][1:3] if parts else ())]
    labels_right(ax, list(zip(last, ("reference\u2009(pale)", "device\u2009(dark)"), strict=False)))
    if strip is not None:
        _range(strip, np.concatenate([part.difference for part in parts] or [np.zeros(0)]), zero=False)
        strip.axhline(0, color=GREY, linewidth=0.5)
        strip.set_ylabel("difference, W")
    ax.set_ylabel(f"{said}W")


def _label_time(ax: Axes, strip: Axes | None, pairs: Sequence[Pairs], centres: list[float], ends: list[float],
                lengths: list[float], said: str) -> None:
    """Minutes for one session; the name and length of each for several."""
    lowest = ax if strip is None else strip
    if ends:
        ax.set_xlim(0, ends[-1])
    if len(ends) < 2:
        lowest.set_xlabel("time since the first common second, min")
    else:
        most, scale = max(72 // len(ends), 6), size_pt(lowest)[0] / ends[-1]
        shown: list[tuple[float, str]] = []
        free = -math.inf  # where the last name ends, pt
        for item, centre, length in zip([item for item in pairs if item.time.size], centres, lengths, strict=True):
            lines = (shortened(item.session, most), f"{length:.0f} min")
            half = max(width_of(line, SMALL) for line in lines) / 2 + 2
            if centre * scale - half >= free:
                shown.append((centre, "\n".join(lines)))
                free = centre * scale + half
        lowest.set_xticks([x for x, _ in shown], [name for _, name in shown])
        lowest.tick_params(axis="x", length=0)
        lowest.set_xlabel("session and its length")
    if strip is not None:
        ax.tick_params(axis="x", labelbottom=False)
