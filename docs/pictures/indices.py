"""Indices that reviewers ask for, and equivalence."""

import numpy as np
from matplotlib.figure import Figure
from pictures.invented import ALLOWED, BLUE, GREY, INK, ORANGE, new_figure, pairs

import agree


def concordance() -> Figure:
    """The same errors over a wide and a narrow range of power: the index changes, the errors do not."""
    figure, panels = new_figure(2)
    rng = np.random.default_rng(9)
    for ax, (low, high) in zip(panels, ((100, 400), (230, 270)), strict=True):
        reference = rng.uniform(low, high, 100)
        device = reference + rng.normal(0, 10, 100)
        ax.plot(reference, device, "o", color=GREY, markersize=3, markerfacecolor="none")
        ax.plot([low, high], [low, high], color=INK, linewidth=0.6, linestyle=":")
        ax.set_title(f"concordance {agree.concordance(reference, device).concordance}")
        ax.set_xlabel("power of the reference, W")
    panels[0].set_ylabel("power of the device, W")
    return figure


def intraclass() -> Figure:
    """The same errors of two devices on alike and on unlike subjects."""
    figure, panels = new_figure(2)
    rng = np.random.default_rng(10)
    for ax, spread in zip(panels, (40, 8), strict=True):
        table = 250 + rng.normal(0, spread, 15)[:, None] + rng.normal(0, 8, (15, 2))
        for k, color in enumerate((BLUE, ORANGE)):
            ax.plot(range(1, 16), table[:, k], "o", color=color, markersize=4)
        ax.vlines(range(1, 16), table.min(axis=1), table.max(axis=1), color=GREY, linewidth=1)
        ax.set_title(f"ICC(2,1) {agree.intraclass(table).agreement}")
        ax.set_xlabel("subject")
    panels[0].set_ylabel("power by both devices, W")
    return figure


def deviation_index() -> Figure:
    """The distance from the reference that holds 90 % of single readings."""
    figure, (ax,) = new_figure()
    reference, device = pairs(200, scale=1, offset=3)
    result = agree.deviation_index(reference, device, coverage=0.9)
    ax.plot(np.sort(np.abs(device - reference)), 100 * np.arange(1, 201) / 200, color=BLUE, drawstyle="steps-post")
    ax.axvspan(result.index.low, result.index.high, color=ALLOWED, zorder=0)
    ax.axvline(result.index.value, color=ORANGE)
    ax.axhline(90, color=INK, linewidth=0.6, linestyle=":")
    ax.set_xlabel("size of the error, W")
    ax.set_ylabel("share within, %")
    return figure


def coverage_probability() -> Figure:
    """The share of single readings within a limit, for every limit."""
    figure, (ax,) = new_figure()
    reference, device = pairs(200, scale=1, offset=3)
    limits = np.linspace(1, 14, 27)
    shares = [agree.coverage_probability(reference, device, limit=limit).probability for limit in limits]
    ax.fill_between(limits, [100 * item.low for item in shares], [100 * item.high for item in shares], color=ALLOWED)
    ax.plot(limits, [100 * item.value for item in shares], color=BLUE)
    ax.set_xlabel("limit, W")
    ax.set_ylabel("share within, %")
    return figure


def typical_error() -> Figure:
    """Two trials of one device, and how far a single trial strays."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(11)
    true = rng.uniform(200, 350, 20)
    first, second = true + rng.normal(0, 5, 20), true + rng.normal(0, 5, 20)
    ax.plot(true, second - first, "o", color=GREY, markersize=4)
    result = agree.typical_error(first, second)
    change = result.smallest_detectable_change.value
    ax.axhspan(-change, change, color=ALLOWED, zorder=0, label="within: no change shown")
    ax.set_ylim(-1.6 * change, 1.6 * change)
    ax.axhline(0, color=INK, linewidth=0.6, linestyle=":")
    ax.set_title(f"typical error {result.typical_error} W")
    ax.set_xlabel("power, W")
    ax.set_ylabel("second − first trial, W")
    ax.legend()
    return figure


def precision() -> Figure:
    """Repeats within five laboratories, and how the laboratories differ."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(12)
    lab = np.repeat(np.arange(1, 6), 8)
    values = 250 + rng.normal(0, 4, 5)[lab - 1] + rng.normal(0, 2, 40)
    result = agree.precision(values, lab)
    ax.plot(lab + rng.uniform(-0.1, 0.1, 40), values, "o", color=GREY, markersize=4)
    for k in range(1, 6):
        ax.plot([k - 0.25, k + 0.25], [values[lab == k].mean()] * 2, color=BLUE, linewidth=2)
    ax.set_title(f"repeatability {result.repeatability_sd}, reproducibility {result.reproducibility_sd} W")
    ax.set_xticks(range(1, 6))
    ax.set_xlabel("laboratory")
    ax.set_ylabel("reading, W")
    return figure


def bias_and_precision() -> Figure:
    """Twelve levels read three times by a noisy reference and a device 5 % high: the line without its noise."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(21)
    block = np.repeat(np.arange(12), 3)
    true = np.linspace(180, 260, 12)[block]
    reference, device = true + rng.normal(0, 12, 36), 1.05 * true + rng.normal(0, 4, 36)
    found = agree.bias_and_precision(reference, device, block)
    ax.plot(reference, device, "o", markersize=4, color=GREY)
    ends = np.array([165.0, 275.0])
    ax.plot(ends, found.intercept.value + found.slope.value * ends, color=BLUE, linewidth=2)
    ax.plot(ends, ends, color=INK, linewidth=1)
    ax.set_title(f"slope {found.slope}; SD of the reference {found.reference_sd} W, of the device {found.device_sd} W")
    ax.set_xlabel("reference, W")
    ax.set_ylabel("device, W")
    return figure


def repeated_correlation() -> Figure:
    """Power and heart rate of six riders: within each they rise together, between riders they do not."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(13)
    rider = np.repeat(np.arange(6), 6)
    power = np.tile(np.linspace(150, 300, 6), 6) + 20.0 * rider
    pulse = 90 + 0.3 * (power - 20 * rider) - 8 * rider + rng.normal(0, 3, 36)
    for k in range(6):
        ax.plot(power[rider == k], pulse[rider == k], "o-", markersize=4, linewidth=1,
                color=(BLUE, ORANGE, GREY, INK, "#5c8a3a", "#7b5aa6")[k])
    ax.set_title(f"within riders {agree.repeated_correlation(power, pulse, subject=rider).correlation}; "
                 f"of all points {np.corrcoef(power, pulse)[0, 1]:.2f}")
    ax.set_xlabel("power, W")
    ax.set_ylabel("heart rate, bpm")
    return figure


def equivalence() -> Figure:
    """Four mean errors with 90 % intervals against a margin of 3 W."""
    figure, (ax,) = new_figure(height=2.4)
    for k, (offset, noise, n) in enumerate(((0.5, 4, 60), (2.4, 4, 60), (0.5, 9, 15), (5.5, 4, 60))):
        result = agree.equivalence(*pairs(n, scale=1, offset=offset, noise=noise, seed=20 + k), margin=3)
        item = result.estimate
        color = BLUE if result.equivalent else ORANGE
        ax.plot([item.low, item.high], [k, k], color=color, linewidth=2)
        ax.plot(item.value, k, "o", color=color)
        ax.text(13, k, "equivalent" if result.equivalent else "not shown", va="center", ha="right")
    ax.axvspan(-3, 3, color=ALLOWED, zorder=0)
    ax.set_yticks([])
    ax.set_xlim(-6, 13)
    ax.set_ylim(-0.6, 3.6)
    ax.set_xlabel("mean error, W")
    return figure
