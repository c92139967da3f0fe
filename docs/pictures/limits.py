"""Limits of agreement and what belongs to them."""

import warnings

import numpy as np
from matplotlib.figure import Figure
from pictures.invented import ALLOWED, BLUE, GREY, INK, ORANGE, new_figure, pairs

import agree


def _cloud(ax, reference, device, errors=None):
    errors = device - reference if errors is None else errors
    ax.plot(reference, errors, "o", color=GREY, markersize=3, markerfacecolor="none")
    ax.axhline(0, color=INK, linewidth=0.6, linestyle=":")
    ax.set_xlabel("power of the reference, W")
    ax.set_ylabel("device − reference, W")


def limits_of_agreement() -> Figure:
    """Difference against level, with bias, limits and their intervals."""
    figure, (ax,) = new_figure(width=4.8, height=2.8)
    agree.limits_of_agreement(*pairs()).plot(ax=ax)
    return figure


def tolerance_limits() -> Figure:
    """Limits that hold 95 % of errors with a confidence of 95 %, beside plain limits, by the number of pairs."""
    figure, (ax,) = new_figure()
    counts = [5, 8, 12, 20, 40, 80, 160]
    for k, n in enumerate(counts):
        reference, device = pairs(n, scale=1)
        plain, sure = agree.limits_of_agreement(reference, device), agree.tolerance_limits(reference, device)
        ax.plot([k - 0.1] * 2, [plain.lower.value, plain.upper.value], color=BLUE, linewidth=3,
                label="limits of agreement" if k == 0 else None)
        ax.plot([k + 0.1] * 2, [sure.lower, sure.upper], color=ORANGE, linewidth=3,
                label="tolerance limits" if k == 0 else None)
    ax.set_xticks(range(len(counts)), counts)
    ax.set_xlabel("pairs")
    ax.set_ylabel("device − reference, W")
    ax.legend()
    return figure


def regression_limits() -> Figure:
    """Limits that follow an error whose mean and spread grow with power."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(3)
    reference = rng.uniform(100, 400, 150)
    device = reference + 0.05 * (reference - 200) + rng.normal(0, 0.03, 150) * reference
    result = agree.regression_limits(reference, device, against="reference")
    _cloud(ax, reference, device)
    levels = np.linspace(100, 400, 31)
    places = [result.at(level) for level in levels]
    for name, color in (("lower", ORANGE), ("bias", BLUE), ("upper", ORANGE)):
        ax.plot(levels, [getattr(place, name).value for place in places], color=color)
    return figure


def quantile_limits() -> Figure:
    """Limits by order, where a few errors are wild."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(4)
    reference = rng.uniform(100, 400, 400)
    device = reference + rng.gamma(1.2, 6, 400) - 4
    result = agree.quantile_limits(reference, device)
    with warnings.catch_warnings():  # that such errors are not normal is what the picture shows
        warnings.filterwarnings("ignore", "the errors are not normal", agree.AssumptionWarning)
        plain = agree.limits_of_agreement(reference, device)
    _cloud(ax, reference, device)
    for k, (low, high, color, name) in enumerate((
            (result.lower, result.upper, ORANGE, "by order"), (plain.lower, plain.upper, BLUE, "as if normal"))):
        for item in (low, high):
            ax.axhline(item.value, color=color, linestyle=("-", "--")[k], label=name if item is low else None)
    ax.legend()
    return figure


def repeated_limits() -> Figure:
    """Several pairs for each of ten riders, and limits that know it."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(5)
    rider = np.repeat(np.arange(10), 6)
    reference = rng.uniform(150, 300, 10)[rider] + rng.normal(0, 15, 60)
    device = reference + rng.normal(0, 5, 10)[rider] + rng.normal(0, 2, 60)
    result = agree.repeated_limits(reference, device, subject=rider)
    for k in range(10):
        own = rider == k
        ax.plot(reference[own], (device - reference)[own], "o", markersize=4, color=(BLUE, ORANGE, GREY, INK)[k % 4],
                markerfacecolor="none" if k % 2 else None)
    for item in (result.lower, result.bias, result.upper):
        ax.axhline(item.value, color=INK, linewidth=1)
        ax.axhspan(item.low, item.high, color=ALLOWED, zorder=0)
    ax.set_xlabel("power of the reference, W")
    ax.set_ylabel("device − reference, W")
    return figure


def look_at_errors() -> Figure:
    """Two clouds of errors, and what the look at them recommends."""
    figure, panels = new_figure(2)
    even, grown = pairs(150, scale=1), pairs(150, scale=1.04, noise=0)
    rng = np.random.default_rng(6)
    grown = grown[0], grown[0] * (1.02 + rng.normal(0, 0.02, 150))
    for ax, (reference, device) in zip(panels, (even, grown), strict=True):
        _cloud(ax, reference, device)
        ax.set_title(f"recommended: {agree.look_at_errors(reference, device).recommendation}")
    return figure


def folded_distribution() -> Figure:
    """Share of errors beyond each size, folded at the median."""
    figure, (ax,) = new_figure()
    result = agree.folded_distribution(*pairs(200, scale=1))
    ax.plot(result.error, 100 * result.share, color=BLUE, drawstyle="steps-mid")
    ax.set_xlabel("device − reference, W")
    ax.set_ylabel("share beyond, %")
    return figure


def limits_sample_size() -> Figure:
    """Pairs needed for a wanted width of the interval of each limit."""
    figure, (ax,) = new_figure()
    widths = np.linspace(1.5, 8, 14)
    ax.plot(widths, [agree.limits_sample_size(width=width, sd=4).n for width in widths], "o-", color=BLUE, markersize=4)
    ax.set_xlabel("wanted width of the interval of a limit, W (errors of SD 4 W)")
    ax.set_ylabel("pairs needed")
    ax.set_yscale("log")
    return figure
