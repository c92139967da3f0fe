"""Lines, bands and curves."""

import numpy as np
from matplotlib.figure import Figure
from pictures.invented import ALLOWED, BLUE, GREY, INK, ORANGE, new_figure, pairs

import agree


def _axes(ax, reference, device):
    ax.plot(reference, device, "o", color=GREY, markersize=3, markerfacecolor="none")
    ax.plot([90, 410], [90, 410], color=INK, linewidth=0.6, linestyle=":", label="identity")
    ax.set_xlabel("power of the reference, W")
    ax.set_ylabel("power of the device, W")


def deming() -> Figure:
    """A line for two devices that both have errors."""
    figure, (ax,) = new_figure(width=4.8, height=3.4)
    agree.deming(*pairs(60, scale=0.9, offset=10, noise=12)).plot(ax=ax)
    return figure


def passing_bablok() -> Figure:
    """A line that three wild readings do not move, and Deming's, which they do."""
    figure, (ax,) = new_figure(height=3.8)
    reference, device = pairs(40, scale=0.95, noise=5)
    device[np.argsort(reference)[-3:]] = 120
    _axes(ax, reference, device)
    for make, color in ((agree.passing_bablok, BLUE), (agree.deming, ORANGE)):
        line = make(reference, device)
        ends = np.array([100, 400])
        ax.plot(ends, line.intercept.value + line.slope.value * ends, color=color, label=make.__name__)
    ax.legend()
    return figure


def york() -> Figure:
    """A line weighted by the stated uncertainty of every reading."""
    figure, (ax,) = new_figure(height=3.8)
    rng = np.random.default_rng(7)
    true, u = np.linspace(110, 390, 12), rng.uniform(3, 18, 12)
    reference, device = true + rng.normal(0, 3, 12), 0.95 * true + rng.normal(0, u)
    line = agree.york(reference, device, u_reference=3, u_device=u)
    ax.errorbar(reference, device, xerr=3, yerr=u, fmt="o", color=GREY, markersize=3)
    ends = np.array([100, 400])
    ax.plot(ends, line.intercept.value + line.slope.value * ends, color=BLUE)
    ax.set_xlabel("power of the reference, W")
    ax.set_ylabel("power of the device, W")
    return figure


def linearity() -> Figure:
    """A straight and a bent relation, with the line and the verdict on it."""
    figure, panels = new_figure(2)
    for ax, bend in zip(panels, (0, 0.0018), strict=True):
        reference, device = pairs(120, scale=1, noise=4)
        device = device - bend * (reference - 250) ** 2
        line = agree.passing_bablok(reference, device)
        _axes(ax, reference, device)
        ends = np.array([100, 400])
        ax.plot(ends, line.intercept.value + line.slope.value * ends, color=BLUE)
        ax.set_title(f"p = {agree.linearity(reference, device, line=line).p_value:.2g}")
    return figure


def variance_ratio() -> Figure:
    """Repeated readings in steady blocks, centred: which scatter is larger."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(8)
    true = np.linspace(120, 380, 8)[:, None]
    reference, device = true + rng.normal(0, 2, (8, 12)), true + rng.normal(0, 5, (8, 12))
    result = agree.variance_ratio(reference, device)
    for k, (values, color, name) in enumerate(((reference, BLUE, "reference"), (device, ORANGE, "device"))):
        centred = values - values.mean(axis=1, keepdims=True)
        places = np.repeat(np.arange(8), 12) + 0.3 * k - 0.15
        ax.plot(places, centred.ravel(), "o", markersize=3, color=color, label=name)
    ax.set_xticks(range(8), [f"{watts:.0f}" for watts in true[:, 0]])
    ax.set_xlabel("steady block, W")
    ax.set_ylabel("reading − mean of its block, W")
    ax.set_title(f"ratio of variances {result.ratio}")
    ax.legend()
    return figure


def bias_by_band() -> Figure:
    """The error by power band, with intervals."""
    figure, (ax,) = new_figure(width=4.8, height=2.8)
    reference, device = pairs(300, scale=0.96, offset=8, noise=8)
    agree.bias_by_band(reference, device, edges=[100, 160, 220, 280, 340, 400]).plot(ax=ax)
    return figure


def bias_curve() -> Figure:
    """The error as a curve over power, with its band."""
    figure, (ax,) = new_figure(width=4.8, height=2.8)
    reference, device = pairs(300, scale=1, noise=5)
    agree.bias_curve(reference, device + 8 * np.sin(reference / 60)).plot(ax=ax)
    return figure


def find_correction() -> Figure:
    """The error of four sessions before and after the factor that was found without each of them."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(1)
    factors = (0.968, 0.975, 0.972, 0.966)
    rides = [200 + 80 * np.sin(np.arange(1800) / 90) + rng.normal(0, 20, 1800) for _ in factors]
    days = [agree.Pairs(reference=ride, device=factor * ride) for ride, factor in zip(rides, factors, strict=True)]
    found = agree.find_correction(days, claim="1.5 %", step=0.1)
    before = 100 * (np.array(factors) - 1)
    ax.axhspan(-1.5, 1.5, color=ALLOWED, zorder=0, label="claim")
    ax.plot(range(1, 5), before, "D", color=ORANGE, label="as recorded")
    ax.plot(range(1, 5), 100 * (found.entered.scale * np.array(factors) - 1), "o", color=BLUE,
            label=f"multiplied by {found.entered.scale:.3f}")
    ax.axhline(0, color=INK, linewidth=0.6, linestyle=":")
    ax.set_xticks(range(1, 5))
    ax.set_xlabel("session")
    ax.set_ylabel("mean error, %")
    ax.set_xlim(0.5, 6)
    ax.legend(loc="center right")
    return figure
