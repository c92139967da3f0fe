"""Panels draw stored numbers of every result, whatever they hold."""

from __future__ import annotations

import importlib.util
import math
from dataclasses import replace
from functools import cache
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

from agree import Claim, Estimate, Pairs, bias_by_band, deming, find_correction, limits_of_agreement
from agree.report.figures.panels import BandRow, band_rows, bar, draw_bands, plot, view
from agree.report.figures.traces import drawn_width, means, shaded_text

_spec = importlib.util.spec_from_file_location("report_cases", Path(__file__).with_name("cases.py"))
cases = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(cases)

RNG = np.random.default_rng(1)
X = RNG.uniform(100, 400, 60)
Y = 0.97 * X + RNG.normal(0, 3, 60)
PAIRS = Pairs(reference=X, device=Y)
OPEN = Estimate(value=1.0, low=-math.inf, high=math.inf, level=0.95, method="t")
UNKNOWN = Estimate(value=math.nan, low=math.nan, high=math.nan, level=0.95, method="t")
LIMITS = limits_of_agreement(X, Y, scale="percent")
LINE = deming(X, Y)
BANDS = bias_by_band(X, Y, edges=[100, 200, 300, 400])
CORRECTION = find_correction(PAIRS)


@cache
def fails():
    return cases.fails()


RESULTS = {
    "limits": LIMITS,
    "unbounded limits": replace(LIMITS, lower=OPEN, upper=replace(OPEN, low=-3.0)),
    "unknown limits": replace(LIMITS, lower=UNKNOWN, bias=UNKNOWN, upper=UNKNOWN),
    "line": LINE, "unbounded line": replace(LINE, slope=OPEN, intercept=OPEN),
    "unknown line": replace(LINE, slope=UNKNOWN, intercept=UNKNOWN),
    "bands": BANDS,
    "unbounded bands": replace(BANDS, bands=tuple(replace(band, bias=bias) for band, bias in zip(
        BANDS.bands, (OPEN, UNKNOWN, replace(OPEN, high=3.0)), strict=True))),
    "no bands": replace(BANDS, bands=()),
    "estimate": LIMITS.bias, "unbounded": OPEN, "unknown": UNKNOWN,
    "pairs": PAIRS, "pairs with gaps": Pairs(reference=[100, np.nan, 120], device=[np.nan, np.nan, 1], time=[0, 5, 90]),
    "no pairs": Pairs(reference=[], device=[]), "nothing known": Pairs(reference=[np.nan] * 3, device=[np.nan] * 3),
    "correction": CORRECTION, "unstable": replace(CORRECTION, stable=False, scale=OPEN),
}


@pytest.mark.parametrize("name", RESULTS)
def test_every_result_is_drawn(name):
    ax = plot(RESULTS[name])
    ax.get_figure().canvas.draw()
    assert ax.has_data() == (name not in ("unknown", "unknown limits", "no pairs"))


@pytest.mark.parametrize("name", cases.ALL)
def test_checks_are_drawn(name):
    check = cases.ALL[name]()
    ax = check.plot()
    ax.get_figure().canvas.draw()
    assert ax.get_title(loc="left").startswith(f"Claim {check.claim.text}")


def test_given_axes_are_used_and_settings_left_alone():
    before = dict(mpl.rcParams)
    ax = Figure().add_subplot()
    assert all(plot(result, ax) is ax for result in (LIMITS, LINE, BANDS, PAIRS, CORRECTION, LIMITS.bias, fails()))
    assert dict(mpl.rcParams) == before


def test_a_result_without_drawing_says_so():
    with pytest.raises(TypeError) as caught:
        plot(Claim.parse("1 %"))
    assert str(caught.value) == "no drawing is known for Claim; use .summary() or .to_dict()"


def test_limits_are_drawn_where_they_are():
    heights = {round(line.get_ydata()[0], 9) for line in plot(LIMITS).get_lines()}
    assert heights == {round(item.value, 9) for item in (LIMITS.lower, LIMITS.bias, LIMITS.upper)}


def test_line_is_drawn_through_its_coefficients():
    x, y = plot(LINE).get_lines()[1].get_data()
    assert y == pytest.approx(LINE.intercept.value + LINE.slope.value * np.asarray(x), rel=1e-12)


def test_unbounded_ends_are_marked_at_the_edge():
    ax = Figure().add_subplot()
    ax.set_ylim(-2, 2)
    bar(ax, 0, replace(OPEN, low=-1.0))
    span, head = ax.get_lines()
    assert list(span.get_ydata()) == [-1, 2]
    assert (head.get_marker(), list(head.get_ydata())) == ("^", [2])


def test_band_bars_carry_their_intervals_and_answers():
    wide = Estimate(value=1.0, low=0.2, high=1.8, level=0.99, method="t")
    narrow = Estimate(value=1.0, low=0.5, high=1.5, level=0.95, method="t")
    rows = [BandRow(100, 200, 90, narrow, wide, 1.5, "not settled"),
            BandRow(200, 300, 20, narrow, wide, 2.0, "too thin")]
    ax = Figure().add_subplot()
    draw_bands(ax, rows, "bias", "s")
    bars = {tuple(line.get_ydata()) for line in ax.get_lines() if len(set(line.get_xdata())) == 1}
    assert {(0.2, 1.8), (0.5, 1.5)} <= bars
    claims = [list(line.get_ydata()) for line in ax.get_lines() if len(line.get_xdata()) == 4]
    assert claims == [[-1.5, -1.5, -2, -2], [1.5, 1.5, 2, 2]]
    assert [label.get_text() for label in ax.get_xticklabels()] == ["100–200\n90 s\nopen", "200–300\n20 s\ntoo thin"]


def test_view_shows_finite_values():
    low, high = view([1.0, math.inf, math.nan, 3.0])
    assert low < 1 < 3 < high < 4
    low, high = view([math.nan])
    assert low < 0 < high


def test_drawn_means_are_those_of_the_readings():
    reference = np.arange(1200.0)
    device = reference + 2
    device[600] = 0
    reason = np.full(1200, "", "<U20")
    reason[600] = "device_dropout"
    pairs = Pairs(reference=reference, device=device, reason=reason)
    assert drawn_width([pairs]) == 5
    drawn = means(pairs, 5)
    assert drawn.reference == pytest.approx(reference.reshape(-1, 5).mean(axis=1), rel=1e-12)
    assert drawn.device == pytest.approx(device.reshape(-1, 5).mean(axis=1), rel=1e-12)
    assert drawn.difference == pytest.approx(np.full(240, 2.0), rel=1e-12)


def test_gaps_break_the_line():
    pairs = Pairs(reference=[100, 110, 120], device=[1, 2, 3], time=[0, 1, 4])
    assert np.isnan(means(pairs, 1).reference).tolist() == [False, False, True, True, False]


def test_shading_is_explained_with_counts():
    reason = ["", "both_coasting", "both_coasting", "", "device_spike", "", "device_spike"]
    pairs = Pairs(reference=[9] * 7, device=[9] * 7, reason=reason)
    assert shaded_text([pairs]) == "Shaded, not used: pale = both coasting 2 s (1×); hatched = device spike 2 s (2×)."
    assert shaded_text([Pairs(reference=[1.0], device=[1.0])]) == "Nothing was set aside."


def test_only_bands_between_ridden_ones_are_drawn():
    check = cases.check(cases.ride(8, 900, faults=False), "1.5 %", bands=[0, 10, 20, 250, 600, 900])
    assert [(row.low, row.high) for row in band_rows(check)] == [(20, 250), (250, 600)]
