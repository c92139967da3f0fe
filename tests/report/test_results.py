"""Pictures of results draw stored numbers, whatever they hold, and touch no setting of the caller."""

import math
from dataclasses import replace
from functools import cache

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

import agree
from agree import (
    Claim,
    Estimate,
    Pairs,
    bias_by_band,
    bias_curve,
    deming,
    find_correction,
    folded_distribution,
    limits_of_agreement,
)
from agree.core.results.drawn import Drawn
from agree.core.results.result import Result
from agree.report.figures.look import bar, round_steps
from agree.report.figures.results import plot, view
from tests.report import cases

RNG = np.random.default_rng(1)
X = RNG.uniform(100, 400, 60)
Y = X * (0.97 + RNG.normal(0, 0.01, 60))
PAIRS = Pairs(reference=X, device=Y)
OPEN = Estimate(value=1.0, low=-math.inf, high=math.inf, level=0.95, method="t")
UNKNOWN = Estimate(value=math.nan, low=math.nan, high=math.nan, level=0.95, method="t")
LIMITS = limits_of_agreement(X, Y, scale="percent")
LINE = deming(X, Y)
BANDS = bias_by_band(X, Y, edges=[100, 200, 300, 400])
CORRECTION = find_correction(PAIRS)
CURVE = bias_curve(X, Y)


@cache
def fails():
    return cases.ALL["fails"]()


RESULTS = {
    "limits": LIMITS, "differences": limits_of_agreement(X, Y), "ratios": limits_of_agreement(X, Y, scale="log"),
    "unbounded limits": replace(LIMITS, lower=OPEN, upper=replace(OPEN, low=-3.0)),
    "unknown limits": replace(LIMITS, lower=UNKNOWN, bias=UNKNOWN, upper=UNKNOWN, reference=None, device=None),
    "line": LINE, "unbounded line": replace(LINE, slope=OPEN, intercept=OPEN),
    "unknown line": replace(LINE, slope=UNKNOWN, intercept=UNKNOWN),
    "bands": BANDS, "curve": CURVE,
    "folded": folded_distribution(X, Y), "folded ratios": folded_distribution(X, Y, scale="log"),
    "folded alike": folded_distribution(X, X + 2.0**-20),
    "unbounded bands": replace(BANDS, bands=tuple(replace(band, bias=bias) for band, bias in zip(
        BANDS.bands, (OPEN, UNKNOWN, replace(OPEN, high=3.0)), strict=True))),
    "no bands": replace(BANDS, bands=()),
    "estimate": LIMITS.bias, "unbounded": OPEN, "unknown": UNKNOWN,
    "pairs": PAIRS, "pairs with gaps": Pairs(reference=[100, np.nan, 120], device=[np.nan, np.nan, 1], time=[0, 5, 90]),
    "no pairs": Pairs(reference=[], device=[]), "nothing known": Pairs(reference=[np.nan] * 3, device=[np.nan] * 3),
    "correction": CORRECTION, "unstable": replace(CORRECTION, stable=False, scale=OPEN),
}


@pytest.mark.parametrize("name", RESULTS)
def test_every_picture_can_be_drawn(name):
    ax = RESULTS[name].plot()
    ax.get_figure().canvas.draw()
    assert ax.has_data() == (name != "unknown")


def test_a_fold_shows_the_share_beyond_each_error_and_the_reach_of_a_fortieth():
    folded = folded_distribution([100, 200, 300, 400, 500], [101, 199, 303, 404, 502])
    ax = folded.plot()
    drawn = next(line for line in ax.get_lines() if len(line.get_xdata()) == 5)
    assert list(drawn.get_xdata()) == [-1, 1, 2, 3, 4]
    assert list(drawn.get_ydata()) == pytest.approx([20, 40, 50, 40, 20])
    assert "2.5 % of errors below -1, and above 4" in " ".join(text.get_text() for text in ax.texts)
    assert ax.get_ylabel() == "errors at or beyond, % of all"


@pytest.mark.parametrize("name", cases.ALL)
def test_checks_are_drawn(name):
    ax = cases.ALL[name]().plot()
    ax.get_figure().canvas.draw()
    assert ax.get_xlabel() == "power of the reference, W"


def test_given_axes_are_used_and_settings_left_alone():
    before = dict(mpl.rcParams)
    ax = Figure().add_subplot()
    for result in (LIMITS, LINE, BANDS, CURVE, PAIRS, CORRECTION, LIMITS.bias, fails()):
        assert result.plot(ax) is ax
    assert dict(mpl.rcParams) == before


def test_plot_is_there_if_and_only_if_there_is_a_picture():
    kinds = [value for value in vars(agree).values() if isinstance(value, type) and issubclass(value, Result)]
    kinds += [type(item) for item in (LIMITS, LINE, BANDS, CURVE, PAIRS, CORRECTION, LIMITS.bias)]
    for kind in kinds:
        assert hasattr(kind, "plot") == issubclass(kind, Drawn)
    assert not hasattr(Claim.parse("1 %"), "plot")
    drawn = {kind for kind in Drawn.__subclasses__() if kind.__module__.startswith("agree.")}
    from agree.report.figures.results import _draw

    assert {kind.__name__ for kind in drawn} <= {kind.__name__ for kind in _draw.registry}


def test_limits_show_their_points_and_stand_where_they_are():
    ax = LIMITS.plot()
    x, y = ax.get_lines()[-1].get_data()
    np.testing.assert_allclose(x, (X + Y) / 2)
    np.testing.assert_allclose(y, 100 * (Y - X) / X)
    heights = {round(float(line.get_ydata()[0]), 9) for line in ax.get_lines()[:3]}
    assert heights == {round(item.value, 9) for item in (LIMITS.lower, LIMITS.bias, LIMITS.upper)}


def test_line_shows_points_identity_and_itself():
    ax = plot(LINE, unit="km/h")
    identity, fitted, points = ax.get_lines()
    assert np.array_equal(*identity.get_data())
    x, y = fitted.get_data()
    assert y == pytest.approx(LINE.intercept.value + LINE.slope.value * np.asarray(x), rel=1e-12)
    np.testing.assert_allclose(points.get_xdata(), X)
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("reference, km/h", "device, km/h")


def test_unbounded_ends_are_marked_at_the_edge():
    ax = Figure().add_subplot()
    ax.set_ylim(-2, 2)
    bar(ax, 0, replace(OPEN, low=-1.0))
    span, head = ax.get_lines()
    assert list(span.get_ydata()) == [-1, 2]
    assert (head.get_marker(), head.get_ydata()[0]) == ("^", 2)


def test_views_and_ticks():
    assert view([1.0, math.inf, math.nan, 3.0], 0.1) == (0.8, 3.2)
    assert round_steps(-2.6, 2.6, 6) == [-2, -1, 0, 1, 2]
    assert round_steps(0, 1e-9, 5)[1] == pytest.approx(2e-10)


def test_notebook_shows_words_and_a_picture():
    for result in (LIMITS, fails(), PAIRS):
        page = result._repr_html_()
        assert "<svg" in page
        assert "<pre>" in page
        assert "<script" not in page
        assert "http" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "<svg" not in Claim.parse("1 %")._repr_html_()
