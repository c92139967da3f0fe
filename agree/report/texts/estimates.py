"""Results of estimators as text."""

from __future__ import annotations

from agree.core.results.words import estimate_text, percent, summary
from agree.estimators.bands.by_band import BandBias
from agree.estimators.devices.split_errors import SplitErrors
from agree.estimators.indices.equivalence import Equivalence
from agree.estimators.limits.agreement import LimitsOfAgreement
from agree.estimators.lines.line import Line
from agree.report.texts import response_text  # noqa: F401  (makes its texts known)


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
