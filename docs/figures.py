"""Numbers that pages quote and the package computes, so that no page holds a stale one."""

from __future__ import annotations

from typing import Any

from agree import plan
from agree.verdict.looks import UNDECLARED_PERCENT, level_at

LIMIT, LOOKS = "1.5 %", (3, 5, 8)


def planned() -> dict[str, Any]:
    """Numbers of sessions for the page on how much to record: `{{ planned.exact_80 }}`."""
    exact = plan(LIMIT, true_error=[0, 0.75], power=[0.8, 0.9])
    doubtful = plan(LIMIT, true_error=[0, 0.75], reference_uncertainty="±1 %")
    chance_80, chance_90, half_80, half_90 = (case.sessions for case in exact.cases)
    perfect, half = doubtful.cases
    return {"exact_80": chance_80, "exact_90": chance_90, "half_80": half_80, "half_90": half_90,
            "by_width": exact.cases[0].by_width, "half_by_width": exact.cases[2].by_width,
            "ceiling": f"{100 * perfect.ceiling:.0f}", "u_needed": f"{perfect.u_needed:.2f}",
            "half_ceiling": f"{100 * half.ceiling:.0f}", "half_u_needed": f"{half.u_needed:.2f}",
            "bands": plan(LIMIT, meaning="bands").cases[0].sessions}


def looked() -> dict[str, Any]:
    """What undeclared looks cost, and what declared ones spend: `{{ looked.after_6 }}`."""
    spent = [50 * (1 - (level_at(LOOKS, count, 0.95) or 1)) for count in LOOKS]
    return {f"after_{count}": f"{percent:g}" for count, percent in UNDECLARED_PERCENT.items()} | {
        f"spent_{count}": f"{percent:.2f}" for count, percent in zip(LOOKS, spent, strict=True)}
