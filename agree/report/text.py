"""Results as text: the answer first, then what it rests on. Total: prints whatever the fields hold."""

from __future__ import annotations

import dataclasses
import math
import textwrap
from functools import singledispatch
from typing import Any

from agree.estimators.bands import BandBias
from agree.estimators.equivalence import Equivalence
from agree.estimators.limits import LimitsOfAgreement
from agree.estimators.line import Line
from agree.estimators.three_devices import SplitErrors
from agree.interval import Estimate
from agree.pairs import REASONS, Alignment, Pairs
from agree.verdict.budget import reference_forbids
from agree.verdict.check import ClaimCheck
from agree.verdict.claim import Claim
from agree.verdict.correction import Correction
from agree.verdict.evidence import likely as likely
from agree.verdict.meanings import Reading
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import FAILS, HOLDS, OPEN

WIDTH = 79
MEANING_WORDS = {"average": "on average", "bands": "in every power band", "readings": "95 % of {w}-s readings",
                 "next_session": "in the next session"}
FAULTS = tuple(reason for reason in REASONS if reason not in ("missing", "both_coasting"))


def decimals(low: float, high: float) -> int:
    """Decimals that show an interval's half-width to two digits, 0 to 4."""
    half = (high - low) / 2
    if not math.isfinite(half) or half <= 0:
        return 2
    return int(min(max(1 - math.floor(math.log10(half)), 0), 4))


def number(value: float, low: float, high: float, *, sign: bool = False) -> str:
    """Print a number to the digits its interval deserves."""
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "no limit"
    text = f"{value:{'+' if sign else ''}.{decimals(low, high)}f}"
    return text.lstrip("+-") if float(text) == 0 else text


def estimate_text(item: Estimate | None, unit: str = "", *, sign: bool = False) -> str:
    """Value and interval, such as "-5.93 [-6.21, -5.65] %"."""
    if item is None:
        return "-"
    value, low, high = (number(x, item.low, item.high, sign=sign) for x in (item.value, item.low, item.high))
    limits = f"[{low}, {high}]" if math.isfinite(item.low) or math.isfinite(item.high) else "[no limits]"
    return f"{value} {limits}" + (f" {unit}" if unit else "")


def percent(fraction: float) -> str:
    """Print a fraction as per cent without needless digits."""
    return f"{100 * fraction:g} %"


def _where(check: ClaimCheck) -> str:
    return "in this recording" if len(check.pairs) == 1 else f"over {len(check.pairs)} sessions"


def headline(check: ClaimCheck) -> str:
    """Return the verdict in one sentence."""
    verdict = check.verdict[0].upper() + check.verdict[1:]
    reading, claim = check.reading, check.claim.text
    item = reading.estimate
    if item is None or check.meaning in ("bands", "readings"):
        asked = {"readings": f"the claim of {claim} for 95 % of {check.window_s}-s readings",
                 "bands": f"the claim of {claim} in every power band"}.get(check.meaning, f"the claim of {claim}")
        return f"{verdict}: {asked}, {_where(check)}; {reading.because}."
    size = number(abs(item.value), item.low, item.high)
    side = "low" if item.value < 0 else "high"
    interval = f"[{number(item.low, item.low, item.high)}, {number(item.high, item.low, item.high)}]"
    ending = {HOLDS: f"inside the claim of {claim}", FAILS: f"outside the claim of {claim}"}.get(
        check.verdict, f"which neither confirms nor refutes the claim of {claim}")
    if check.verdict == OPEN and reference_forbids(reading, check.level):
        return (f"{verdict}: the reference alone (u = {reading.details['reference_u']:.2g} {reading.unit}) makes the "
                f"claim of {claim} undecidable; {_where(check)} the device reads {size} {reading.unit} {side} "
                f"{interval}.")
    subject = f"{_where(check)} the device reads {size} {reading.unit} {side} on average"
    if check.meaning == "next_session":
        subject = f"the next session is predicted {size} {reading.unit} {side}"
    return f"{verdict}: {subject} {interval}, {ending}."


def figure(reading: Reading) -> str:
    """Figures of one meaning, with its limit."""
    item = reading.estimate
    if item is None:
        return reading.because
    if reading.unit == "share":
        share = item.scaled(100)
        shortest = reading.details.get("shortest_window_s")
        reach = f"holds from {shortest} s" if shortest else "at no window up to 300 s"
        return f"{share.value:.0f} [{share.low:.0f}, {share.high:.0f}] % of them within; {reach}"
    worst = reading.details.get("worst_band")
    prefix = f"{worst[0]:g}-{worst[1]:g} W: " if worst else ""
    return f"{prefix}{estimate_text(item, reading.unit, sign=True)}, limit ±{reading.limit:.3g} {reading.unit}"


def set_aside(check: ClaimCheck) -> str:
    """Return what was set aside, by reason, and the bias with the faulty seconds."""
    seconds = check.seconds()
    parts = [f"{reason.replace('_', ' ')} {count:,}" for reason, count in seconds["set_aside"].items() if count]
    text = f"{seconds['used']:,} of {seconds['overlap']:,} s used; set aside: {', '.join(parts) or 'none'}"
    if any(seconds["set_aside"][reason] for reason in FAULTS):
        text += f"; with the faulty seconds the bias is {estimate_text(check.bias_with_faults, '%', sign=True)}"
    return text + "."


def budget_text(check: ClaimCheck) -> str:
    """Return the terms of the mean error's uncertainty with their shares, and how far sessions differ."""
    terms = ", ".join(f"{term.name} {100 * term.share:.0f} %" for term in check.budget)
    effects = check.effects
    spread = f"; sessions differ by SD {effects.between_sd:.2g} {check.claim.unit}" if effects is not None else ""
    return f"{terms} of the variance{spread}."


def limits_text(check: ClaimCheck) -> str:
    """Return the limits of agreement in words."""
    limits = check.limits
    if limits is None:
        return "too few windows for limits of agreement."
    lower, upper = (estimate_text(item, sign=True) for item in (limits.lower, limits.upper))
    return f"{percent(limits.coverage)} of errors lie between {lower} and {upper} %."


def correction_text(item: Correction) -> str:
    """Return the advice on a correction."""
    made, factor = item.entered, item.factor or item.scale
    if made is None or item.action in ("none", "refused"):
        advice = {"refused": "refused, enter nothing"}.get(item.action, "none")
        return f"{advice}: {item.reason}; the factor would be {estimate_text(item.scale)}."
    zero = f"{'add' if made.offset_w < 0 else 'subtract'} {abs(made.offset_w):.1f} W (check the zero first)"
    scale = f"multiply the device by {made.scale:g} {estimate_text(factor).split(' ', 1)[1]}"
    what = {"scale": scale, "offset": zero}.get(item.action, f"{zero}, then {scale}")
    what += ", at powers like these" if item.kind == "cannot tell" else ""
    if item.after is not None:
        what += (f"; on {item.after.left_out} left out the mean error goes from {item.after.before_percent:.2g} to "
                 f"{item.after.after_percent:.2g} %")
        what += f" (claim then, on average: {item.after.verdicts['average']})" if item.after.verdicts else ""
    return what + ("; stable." if item.stable else f"; not known to last: {item.because.rsplit('; ', 1)[-1]}.")


def alignment_text(item: Alignment | None) -> str:
    """Return lag, drift and quality of the match."""
    if item is None:
        return "clocks not matched (paired by the caller)"
    se = f" ± {max(item.lag_se_s, 0.01):.1g}" if math.isfinite(item.lag_se_s) else ""
    drift = f", drift {item.drift_ppm:+.0f} ppm" if math.isfinite(item.drift_ppm) else ""
    return f"device clock {item.lag_s:+.1f}{se} s{drift}, match r = {item.correlation:.2f}"


def named(name: str, column: str) -> str:
    """Name of a recording and the column its readings are from."""
    return f"{name} (column {column!r})" if column else name


def wrapped(label: str, text: str) -> str:
    """One labelled paragraph, indented under its label."""
    return textwrap.fill(f"{label:<11}{text}", WIDTH, subsequent_indent=" " * 11, break_long_words=False,
                         break_on_hyphens=False)


@singledispatch
def summary(result: Any) -> str:
    """Return any result as text; by default its fields, one a line."""
    if not dataclasses.is_dataclass(result):
        return str(result)
    lines = [type(result).__name__]
    for field in dataclasses.fields(result):
        if not field.repr:
            continue
        value = getattr(result, field.name)
        shown = (f"{estimate_text(value)}   {percent(value.level)} interval, {value.method}"
                 if isinstance(value, Estimate) else f"{value:.6g}" if isinstance(value, float) else str(value))
        lines.append(textwrap.fill(f"  {field.name.replace('_', ' '):<16} {shown}", 100, subsequent_indent=" " * 19))
    return "\n".join(lines)


@summary.register
def _(result: Estimate) -> str:
    return estimate_text(result)


@summary.register(Claim)
@summary.register(ReferenceUncertainty)
def _(result: Claim | ReferenceUncertainty) -> str:
    return result.text


@summary.register
def _(result: LimitsOfAgreement) -> str:
    unit = {"percent": "%", "log": "(ratio)"}.get(result.scale, "")
    rows = [("bias", result.bias), ("lower limit", result.lower), ("upper limit", result.upper)]
    lines = [f"Limits of agreement for {percent(result.coverage)} of differences, {result.n:,} pairs, "
             f"{result.sampling}"]
    lines += [f"  {name:<12} {estimate_text(item, unit)}   {percent(item.level)} interval, {item.method}"
              for name, item in rows]
    return "\n".join([*lines, f"  {'SD':<12} {result.sd:.4g}"])


@summary.register
def _(result: Line) -> str:
    count = f", {result.n_slopes:,} slopes" if result.n_slopes else ""
    return "\n".join([f"{result.kind}: device = intercept + slope * reference, {result.n:,} pairs{count}",
                      f"  slope        {estimate_text(result.slope)}   {percent(result.slope.level)} interval, "
                      f"{result.slope.method}",
                      f"  intercept    {estimate_text(result.intercept)}"])


@summary.register
def _(result: BandBias) -> str:
    unit = "%" if result.scale == "percent" else ""
    lines = [f"Bias by band of the reference, {result.sampling}; {result.n_outside:,} pairs outside all bands"]
    lines += [f"  {band.low:g} to {band.high:g}: {estimate_text(band.bias, unit, sign=True)}, {band.n:,} pairs"
              for band in result.bands]
    return "\n".join(lines)


@summary.register
def _(result: SplitErrors) -> str:
    unit = {"percent": "%", "log": "(log)"}.get(result.scale, "")
    lines = [f"Errors of {len(result.names)} devices without a reference, {result.n:,} instants, {result.sampling}"]
    lines += [f"  SD of {name}: {estimate_text(sd, unit)}" for name, sd in zip(result.names, result.sd, strict=True)]
    lines += [f"  {c.second} against {c.first}: {'ratio' if result.scale == 'log' else 'bias'} "
              f"{estimate_text(c.bias, '%' if result.scale == 'percent' else '')}, scale {estimate_text(c.scale)}"
              for c in result.contrasts]
    return "\n".join([*lines, *(f"  Mind: {note}" for note in result.notes)])


@summary.register
def _(result: Equivalence) -> str:
    low, high = result.margin
    return (f"{'Equivalent' if result.equivalent else 'Not shown to be equivalent'}: {result.scale} "
            f"{estimate_text(result.estimate)}, {percent(result.estimate.level)} interval, margin {low:.4g} to "
            f"{high:.4g}; p = {result.p:.2g}, {result.n:,} pairs, {result.estimate.method}")


@summary.register
def _(result: Pairs) -> str:
    counts = ", ".join(f"{name.replace('_', ' ')} {count:,}" for name, count in result.counts().items() if count)
    lines = [f"{result.reference_name} (reference) and {result.device_name} (device), session {result.session}",
             f"  {int(result.used.sum()):,} of {result.reason.size:,} s used; set aside: {counts or 'none'}",
             f"  {alignment_text(result.alignment)}"]
    return "\n".join([*lines, *(f"  {note}" for note in result.notes)])


@summary.register
def _(result: Correction) -> str:
    return f"Correction: {correction_text(result)}\n  {result.because}"


@summary.register
def _(result: ClaimCheck) -> str:
    first = result.pairs[0]
    minutes = result.seconds()["used"] / 60
    match = alignment_text(first.alignment) if len(result.pairs) == 1 else f"{len(result.pairs)} sessions"
    reference = f"its uncertainty {result.reference_uncertainty.text}" if result.reference_uncertainty.text else (
        "taken as exact: no uncertainty was given")
    blocks = [
        textwrap.fill(headline(result), WIDTH),
        "",
        wrapped("Device", f"{named(first.device_name, first.device_column)}; {minutes:.0f} min used; {match}"),
        wrapped("Reference", f"{named(first.reference_name, first.reference_column)}; {reference}"),
        "",
        f"{'Claim ' + result.claim.text + ', mild to strict':<37.37}Answer         [{percent(result.level)} interval]",
    ]
    for reading in result.readings:
        words = MEANING_WORDS[reading.meaning].format(w=result.window_s)
        mark = ">" if reading.meaning == result.meaning else " "
        blocks.append(textwrap.fill(f"{mark} {words:<22} {reading.verdict:<14} {figure(reading)}", WIDTH,
                                    subsequent_indent=" " * 40))
    blocks += ["", *_band_rows(result), ""]
    if len(result.budget) > 1 or result.effects is not None:
        blocks.append(wrapped("Budget", budget_text(result)))
    if result.limits is not None:
        blocks.append(wrapped(f"{result.window_s}-s means", limits_text(result)))
    blocks.append(wrapped("Set aside", set_aside(result)))
    blocks.append(wrapped("Likely", likely(result.findings)))
    blocks.append(wrapped("Correction", correction_text(result.correction)))
    blocks.append(wrapped("Next", result.next_step))
    blocks.append(wrapped("Caution", "this unit against this reference, not a calibration; have a published 'fails' "
                                     "checked by an accredited laboratory."))
    return "\n".join(blocks)


def _band_rows(check: ClaimCheck) -> list[str]:
    rows = [f"{'Band, W':<12}{'seconds':>8}   {'bias, %':<23}{'limit':>6}   answer, all bands at once"]
    rows += [f"{f'{band.low:g}-{band.high:g}':<12}{band.seconds:>8,}   {estimate_text(band.bias, sign=True):<23}"
             f"{f'±{band.limit_percent:.3g}':>6}   {band.verdict}" for band in check.bands if band.seconds]
    return rows

