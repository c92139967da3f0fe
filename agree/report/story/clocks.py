"""How two clocks were matched, in words."""

from __future__ import annotations

import math

from agree.core.data.pairs import Alignment
from agree.report.story.language.vocabulary import counted


def clock_words(item: Alignment | None) -> str:
    """Say how far two clocks were apart, whether they drift apart, and how well the recordings match."""
    if item is None:
        return "the seconds were paired by the caller."
    error = f" ± {max(item.lag_se_s, 0.01):.1g}" if math.isfinite(item.lag_se_s) else ""
    lag = item.lag_s if abs(item.lag_s) >= 0.05 else 0.0
    text = f"the device's clock is {lag:+.1f}{error} s off the reference's"
    if math.isfinite(item.drift_ppm):
        hourly = abs(item.drift_ppm) * 0.0036
        told = math.isnan(item.drift_se_ppm) or abs(item.drift_ppm) >= 3 * item.drift_se_ppm
        text += f"; they drift apart {hourly:.2g} s an hour" if told else "; no drift between them"
    if item.steps:
        text += f"; one of them jumped {counted(len(item.steps), 'time')}, which was taken out"
    return f"{text}; match r = {item.correlation:.2f}."
