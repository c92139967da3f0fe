"""Difference in response and best efforts as text."""

from __future__ import annotations

import textwrap

from agree.estimators.response import Response
from agree.report.words import WIDTH, estimate_text, percent, summary

KINDS = {"running mean": "running mean over", "first order": "first-order lag with a time constant of"}


def _filled(*lines: str) -> str:
    return "\n".join(textwrap.fill(line, WIDTH, subsequent_indent="  ", break_on_hyphens=False) for line in lines)


@summary.register
def _(result: Response) -> str:
    size, share = result.width_s or result.time_constant_s, result.explained
    if share is None:
        head = ["No difference in response found.",
                f"  not excluded: {', '.join(result.alike)}" if result.alike else
                "  excluded: a mean over 3 s and a lag of 1 s, of either"]
    else:
        doubt = f"  not told from: {', '.join(result.alike)}" if result.alike else ""
        head = [f"The {result.smoother} is the smoother: {KINDS[result.kind]} {estimate_text(size, 's')}.",
                *([doubt] if doubt else []),
                f"  explains    {estimate_text(share.scaled(100), '%')} of the error's variance, second by second"]
    before, after = (f"{value:.3g} W" for value in (result.scatter_before_w, result.scatter_after_w))
    return _filled(*head,
                   f"  scatter     {before} about the line, {after} matched",
                   f"  slope       {estimate_text(result.slope)} at matched response",
                   f"  delay       {estimate_text(result.delay_s, 's', sign=True)} of the device beside the match",
                   f"  {result.n:,} s; {percent(result.level)} intervals, serial")
