"""What a file holds, as text 79 columns wide."""

from __future__ import annotations

import math
from collections.abc import Iterator

from agree.core.results.words import WIDTH, clock_of, summary, wrapped
from agree.recordings.inspect import Channel, FileLook
from agree.report.notes.sentence import note_text

MOST_GAPS, MOST_CHANNELS, NAME_WIDTH = 5, 30, 24
CLOCK_WORDS = {"utc": "UTC", "local": "date and time, zone unknown", "elapsed": "elapsed seconds",
               "rows": "none: each row is taken as a second"}


@summary.register
def look_text(seen: FileLook) -> str:
    """Return all that was seen: file, clock, sampling, channels, oddities, how it was understood."""
    lines = [wrapped("File", f"{seen.name}, {seen.size_bytes:,} bytes, {seen.rows:,} rows")]
    if seen.clock:
        begin = f", from {seen.start}" if seen.start else ""
        lines.append(wrapped("Clock", f"{CLOCK_WORDS[seen.clock]}{begin}; {clock_of(seen.seconds)} in all"))
        lines.append(wrapped("Sampling", _sampling(seen)))
        lines.append(wrapped("Gaps", _gaps(seen)))
    lines += ["", *_channels(seen.channels), ""]
    if seen.problem:
        lines.append(wrapped("Problem", seen.problem))
    elif not seen.oddities:
        lines.append(wrapped("Distrust", "no value stands out"))
    label = "Distrust"
    for odd in seen.oddities:
        where = f"{odd.events:,} times, first" if odd.events > 1 else "once,"
        lines.append(wrapped(label, f"{odd.what}: {odd.readings:,} reading{'s' * (odd.readings > 1)}, {where} at "
                                    f"{clock_of(odd.first_s)}"))
        label = ""
    for label, notes in (("Use", [note for note in seen.notes if note.severity == "answer"]),
                         ("Read as", [note for note in seen.notes if note.severity != "answer"])):
        for k, note in enumerate(notes):
            lines.append(wrapped("" if k else label, note_text(note)))
    return "\n".join(line.rstrip() for line in lines)


def _sampling(seen: FileLook) -> str:
    if not math.isfinite(seen.step_s):
        return "a single stamp"
    text = f"a reading every {seen.step_s:.3g} s"
    text += f", {100 * seen.uneven:.1f} % of steps uneven" if seen.uneven > 0 else ", even"
    return text + (f"; {seen.repeated:,} stamps repeated" if seen.repeated else "")


def _gaps(seen: FileLook) -> str:
    if not seen.gaps:
        return "none"
    longest = sorted(seen.gaps, key=lambda gap: -gap.seconds)[:MOST_GAPS]
    shown = ", ".join(f"{gap.seconds:,.0f} s at {clock_of(gap.start_s)}" for gap in longest)
    total = sum(gap.seconds for gap in seen.gaps)
    return (f"{len(seen.gaps):,}, {total:,.0f} s in all; " + ("longest: " if len(seen.gaps) > 1 else "") + shown)


def _channels(channels: tuple[Channel, ...]) -> Iterator[str]:
    yield (f"{'Column':<{NAME_WIDTH}} {'taken for':<11}{'values':>8}{'blank':>7}{'zero':>7}{'low':>7}{'median':>7}"
           f"{'high':>7}")
    for item in channels[:MOST_CHANNELS]:
        name = item.name if len(item.name) <= NAME_WIDTH else item.name[:NAME_WIDTH - 1] + "…"
        name = "".join(c if c.isprintable() else "?" for c in name)
        role = item.role or (f"({item.kind})" if item.kind != "number" else "-")
        row = f"{name:<{NAME_WIDTH}} {role:<11}{item.readings:>8,}{item.blank:>7,}"
        if math.isfinite(item.middle):
            row += f"{item.zeros:>7,}" + "".join(_cell(value) for value in (item.low, item.middle, item.high))
        yield row[:WIDTH]
    if len(channels) > MOST_CHANNELS:
        yield f"and {len(channels) - MOST_CHANNELS} more columns"


def _cell(value: float) -> str:
    """Print a value into 7 columns."""
    text = f"{value:.4g}"
    return f"{text if len(text) < 7 else f'{value:.0e}':>7}"
