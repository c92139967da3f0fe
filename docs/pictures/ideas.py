"""Pictures of the explanations."""

import numpy as np
from matplotlib.figure import Figure
from pictures.invented import ALLOWED, BLUE, GREY, INK, ORANGE, new_figure

import agree


def three_answers() -> Figure:
    """Five intervals against a claim."""
    figure, (ax,) = new_figure(height=2.2)
    rows = ((0.3, 0.6, "holds", BLUE), (-0.9, 0.5, "holds", BLUE), (2.4, 0.6, "does not hold", ORANGE),
            (1.2, 0.7, "not settled", INK), (0.2, 2.1, "not settled", INK))
    ax.axvspan(-1.5, 1.5, color=ALLOWED, zorder=0)
    for k, (value, half, word, color) in enumerate(rows):
        ax.plot([value - half, value + half], [-k, -k], color=color, linewidth=2)
        ax.plot(value, -k, "D" if color == ORANGE else "o", color=color,
                markerfacecolor="white" if color == INK else color)
        ax.text(3.6, -k, word, va="center")
    ax.set_yticks([])
    ax.set_xlim(-3, 5)
    ax.set_ylim(-4.6, 0.6)
    ax.set_xticks([-1.5, 0, 1.5], ["−1.5", "0", "+1.5"])
    ax.set_xlabel("error, %; shaded: the claim of ±1.5 %")
    return figure


def on_average() -> Figure:
    """A device that is right on average and nowhere else."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(16)
    watts = rng.uniform(100, 400, 200)
    error = 3 * (watts - 250) / 150 + rng.normal(0, 0.8, 200)
    ax.axhspan(-1.5, 1.5, color=ALLOWED, zorder=0)
    ax.plot(watts, error, "o", color=GREY, markersize=3, markerfacecolor="none")
    ax.axhline(error.mean(), color=BLUE, label=f"mean error {error.mean():+.1f} %".replace("-", "−"))
    ax.set_xlabel("power of the reference, W")
    ax.set_ylabel("error, %")
    ax.legend()
    return figure


def sessions() -> Figure:
    """What minutes and what sessions do to the uncertainty of the error on all days."""
    figure, panels = new_figure(2, sharey=True)
    within, between = 0.37, 0.8
    minutes = np.linspace(10, 300, 60)
    one = 1.96 * np.sqrt(between**2 + within**2 * 60 / minutes)
    panels[0].plot(minutes, one, color=ORANGE)
    panels[0].axhline(1.96 * between, color=INK, linewidth=0.6, linestyle=":", label="endless ride")
    panels[0].set_xlabel("minutes, in one session")
    panels[0].set_ylabel("95 % half-width, %\n(SDs known: 0.8 between, 0.37 within)")
    count = np.arange(1, 13)
    panels[1].plot(count, 1.96 * np.sqrt((between**2 + within**2) / count), "o-", color=BLUE, markersize=4)
    panels[1].set_xlabel("sessions of 60 min")
    panels[0].set_ylim(0)
    panels[0].legend()
    return figure


def correlation() -> Figure:
    """Two devices with the same correlation, one right and one wrong."""
    figure, panels = new_figure(2, sharey=True)
    rng = np.random.default_rng(17)
    reference = rng.uniform(100, 400, 150)
    right = reference + rng.normal(0, 12, 150)
    for ax, device, name in ((panels[0], right, "right"), (panels[1], 0.9 * right + 15, "10 % low, zero 15 W high")):
        ax.plot(reference, device, "o", color=GREY, markersize=3, markerfacecolor="none")
        ax.plot([100, 400], [100, 400], color=INK, linewidth=0.6, linestyle=":")
        limits = agree.limits_of_agreement(reference, device)
        ax.set_title(f"{name}: r = {np.corrcoef(reference, device)[0, 1]:.3f}\n"
                     f"limits of agreement {limits.lower.value:.0f} to {limits.upper.value:.0f} W")
        ax.set_xlabel("power of the reference, W")
    panels[0].set_ylabel("power of the device, W")
    return figure
