"""Second by second: response, best efforts, several devices; and whole recordings."""

import numpy as np
from matplotlib.figure import Figure
from pictures.invented import BLUE, GREY, INK, ORANGE, new_figure, ride

import agree


def _slow() -> agree.Pairs:
    watts = ride(20)
    rng = np.random.default_rng(14)
    device = np.convolve(watts, np.ones(5) / 5)[:watts.size]
    reference = watts + rng.normal(0, 3, watts.size)
    return agree.Pairs(reference=reference.clip(0), device=(device + rng.normal(0, 1, watts.size)).clip(0))


def response_difference() -> Figure:
    """A sprint seen by a reference and by a device that averages over five seconds."""
    figure, (ax,) = new_figure()
    pairs = _slow()
    found = agree.response_difference(pairs)
    ax.plot(range(40), pairs.reference[490:530], color=INK, drawstyle="steps-mid", label="reference")
    ax.plot(range(40), pairs.device[490:530], color=ORANGE, drawstyle="steps-mid",
            label=f"device: {found.kind} over {found.width_s} s")
    ax.set_xlabel("time, s")
    ax.set_ylabel("power, W")
    ax.legend()
    return figure


def match_response() -> Figure:
    """Error from second to second, as recorded and at a matched response."""
    figure, (ax,) = new_figure()
    pairs = _slow()
    matched = agree.match_response(pairs)
    seconds = slice(450, 750)
    ax.plot((pairs.device - pairs.reference)[seconds], color=GREY, label="as recorded")
    ax.plot((matched.matched_device - matched.matched_reference)[seconds], color=BLUE, label="matched response")
    ax.set_xlabel("time, s")
    ax.set_ylabel("device − reference, W")
    ax.legend()
    return figure


def best_efforts() -> Figure:
    """Best mean power of both devices by duration."""
    figure, (ax,) = new_figure()
    efforts = [item for item in agree.best_efforts(_slow()).efforts if np.isfinite(item.reference_w)]
    places = [item.duration_s for item in efforts]
    ax.plot(places, [item.reference_w for item in efforts], "o-", color=INK, markersize=4, label="reference")
    ax.plot(places, [item.device_w for item in efforts], "D-", color=ORANGE, markersize=4, label="device")
    ax.set_xscale("log")
    ax.set_xticks(places, [f"{place}" for place in places])
    ax.minorticks_off()
    ax.set_xlabel("duration, s")
    ax.set_ylabel("best mean power, W")
    ax.legend()
    return figure


def split_errors() -> Figure:
    """The error of each of three devices, none of which is trusted."""
    figure, (ax,) = new_figure()
    rng = np.random.default_rng(15)
    true = rng.uniform(150, 350, 80)
    result = agree.split_errors(*(true + rng.normal(0, sd, 80) for sd in (2, 4, 8)), names=("crank", "pedals", "hub"))
    for k, item in enumerate(result.sd):
        ax.plot([k, k], [item.low, item.high], color=BLUE, linewidth=2)
        ax.plot(k, item.value, "o", color=BLUE)
    ax.plot(range(3), (2, 4, 8), "x", color=ORANGE, markersize=8, label="put in")
    ax.set_xticks(range(3), result.names)
    ax.set_xlim(-0.5, 2.5)
    ax.set_ylim(0)
    ax.set_ylabel("SD of the error, W")
    ax.legend()
    return figure


def pair_recordings() -> Figure:
    """Two recordings 12 s apart, before and after pairing."""
    figure, panels = new_figure(2, sharey=True)
    watts, seconds = ride(20), np.arange(1200)
    pairs = agree.pair_recordings((seconds, watts), (seconds + 12, 0.97 * watts))
    panels[0].plot(watts[450:550], color=INK, label="reference")
    panels[0].plot(range(12, 112), 0.97 * watts[450:550], color=ORANGE, label="device")
    panels[0].set_title("by their own clocks")
    panels[1].plot(pairs.reference[450:550], color=INK)
    panels[1].plot(pairs.device[450:550], color=ORANGE)
    panels[1].set_title(f"paired: lag {pairs.alignment.lag_s:.0f} s")
    panels[0].legend()
    panels[0].set_ylabel("power, W")
    for ax in panels:
        ax.set_xlabel("time, s")
    return figure
