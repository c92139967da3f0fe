"""Findings in words: the name of a cause, its number to quote, and what speaks for and against it."""

from __future__ import annotations

from dataclasses import replace

from agree.core.interval.estimate import Estimate
from agree.diagnosis.finding import Finding
from agree.report.story.language.digits import interval_text, plain

NAMES: dict[str, str] = {
    "scale": "scale", "offset": "offset", "torque_offset": "offset in N m", "drift": "drift",
    "temperature_drift": "drift with temperature", "sessions_differ": "differs between sessions", "step": "step",
    "bend": "changes with power", "cadence_gain": "changes with cadence", "warm_up": "warm-up", "delay": "delay",
    "delay_that_varies": "delay that varies",
    "wandering": "an error that wanders",
    "noise_in_proportion": "noise in proportion to power", "crank_length": "crank length set wrong",
    "unit": "power in another unit", "one_side_doubled": "one side doubled",
    "uneven_response": "uneven response", "held_readings": "readings held at stops",
    "one_side_not_doubled": "one side not doubled", "one_side_doubled_twice": "one side doubled twice",
    "loss": "loss between the two"}
FAULTS: dict[str, str] = {
    "late_start": "wakes late", "early_end": "ends early", "saturation": "saturates", "dropout": "dropouts",
    "partial": "partial readings", "held": "held values", "spike": "spikes"}
PACES = {"slowing": "fastest at first", "quickening": "fastest at the end",
         "not told": "how fast at which time the data do not tell"}
VARIES = {"delay_that_varies": 2, "wandering": 1}  # causes whose size is an SD, and its decimals
CANNOT_TELL = "the data cannot tell it from "
RESPONSES = {"two lags": "two lags in a row", "mean and lag": "running mean, then a lag"}


def name(cause: str, role: str = "") -> str:
    """Name of a cause."""
    if cause == "smoothing":
        return f"the {role or 'other'} smooths more"
    if cause in FAULTS:
        return f"{FAULTS[cause]} of one of the two" if role == "either" else f"{role} {FAULTS[cause]}"
    return NAMES[cause]


def title(item: Finding) -> str:
    """Name of a finding, with what it cannot be told from."""
    if item.cause in ("crank_length", "unit", "one_side_not_doubled", "one_side_doubled_twice", "loss"):
        return name(item.cause)
    # That W and N m are one where the cadence is not known goes without saying in a title.
    tried = {one.cause for one in item.compared}
    rivals = [cause for cause in item.rivals if cause != "torque_offset" or cause in tried]
    words = " or ".join(name(cause) for cause in (item.cause, *rivals))
    return f"{words}, perhaps {name(item.perhaps)} too" if item.perhaps else words


def amount(item: Estimate, unit: str) -> str:
    """Return a size without its sign where its whole interval has one, such as "2.7 % (2.6 to 2.9)"."""
    if not (item.low > 0 or item.high < 0):
        return interval_text(item, unit)
    low, high = sorted((abs(item.low), abs(item.high)))
    return interval_text(replace(item, value=abs(item.value), low=low, high=high), unit).replace("+", "")


def key(item: Finding) -> str:
    """Return the number to quote."""
    values = item.values
    if item.cause in FAULTS:
        return f"{values['seconds']} s"
    if item.cause == "crank_length":
        return f"{values['entered_mm']:g} mm for {values['fitted_mm']:g} mm?"
    if item.cause == "unit":
        return (f"g = {values['gravity']}" if "gravity" in values else f"{values['written']} taken for "
                f"{values['taken_for']}")
    if item.cause == "sessions_differ":
        return " to ".join(plain(float(values[f"{end}_percent"]), 1, sign=True) for end in ("lowest", "highest")) + " %"
    if item.cause == "loss" and item.size is not None:
        return f"{interval_text(item.size, '%')} and {values['offset_W']:+.1f} W"
    if item.cause in VARIES and item.size is not None:
        return f"SD {item.size.value:.{VARIES[item.cause]}f} {item.unit}"
    if item.cause in ("smoothing", "uneven_response", "held_readings"):
        return _response(item)
    if item.cause == "one_side_doubled" and item.size is not None:
        return f"scatter {item.size.value:.0f} %"
    if item.cause in ("bend", "cadence_gain"):
        return _along(item)
    if item.size is None:
        return f"factor {values['factor']:.4f}" if "factor" in values else ""
    pace = str(values.get("pace", "straight"))
    if pace != "straight":
        whole = item.size.scaled(float(values["hours"]))
        return f"{interval_text(whole, item.unit.removesuffix(' per hour'))} from start to end, {PACES[pace]}"
    text = interval_text(item.size, item.unit)
    when = {"step": (" at", "at_s"), "warm_up": (", settled at", "settled_s")}.get(item.cause)
    return text if when is None else f"{text}{when[0]} {float(values[when[1]]) / 60:.0f} min{_of_session(item)}"


def _response(item: Finding) -> str:
    """Seconds of a response."""
    if item.size is None:
        return f"for {item.values['seconds']} s"
    if item.cause == "smoothing":
        second = f" and {item.values['second_s']:.1f} s" if "second_s" in item.values else ""
        kind = str(item.values["response"])
        return f"{RESPONSES.get(kind, kind)}, {item.size.value:.1f} s{second}"
    return f"{item.size.value:.1f} s up, {item.values['down_s']:.1f} s down"


def _of_session(item: Finding) -> str:
    """Name the session of a slow fault, or say in how many it is; nothing where there is but one."""
    if "sessions" in item.values:
        return f", in {item.values['in_sessions']} sessions"
    return f" of session {item.values['session']}" if "session" in item.values else ""


def _along(item: Finding) -> str:
    """Errors at some powers, or cadences."""
    values = item.values
    if item.cause == "bend":
        return ", ".join(f"{values[f'at_{at}_percent']:+.1f} % at {values[f'{at}_W']:.0f} W"
                         for at in ("low", "middle", "high"))
    return ", ".join(f"{values[f'{at}_percent']:+.1f} % at {values[f'{at}_rpm']:.0f} rev/min"
                     for at in ("slow", "fast"))


def evidence(item: Finding) -> list[str]:
    """What speaks for a finding."""
    values, texts = item.values, []
    if item.cause in FAULTS:
        events = "event" if values["events"] == 1 else "events"
        texts.append(f"{values['seconds']} s in {values['events']} {events}; left in, they would change the mean error "
                     f"by {plain(float(values['effect_percent']), 2, sign=True)} %")
    elif "energy_percent" in values:
        doubt = ", if such a lag is all of it" if values.get("gain_doubtful") else ""
        texts.append(f"it makes {plain(float(values['energy_percent']), 2, sign=True)} % of this mean error{doubt}")
    elif item.percent:
        texts.append(f"{item.percent:.1f} % of mean power in 30-s means")
    if "explained" in values:
        texts.append(f"explains {100 * float(values['explained']):.0f} % of their mean square error")
    if "at_low_percent" in values and item.cause != "bend":
        texts.append(f"{values['at_low_percent']:+.1f} % at the lowest third of power, "
                     f"{values['at_high_percent']:+.1f} % at the highest")
    if item.cause == "bend" and item.size is not None:
        texts.append(f"from about {values['knot_W']:.0f} W on it leaves the line through lower power: at "
                     f"{values['high_W']:.0f} W by {interval_text(item.size, '%')}")
    if item.cause == "uneven_response" and item.size is not None:
        texts.append(f"time constant upwards {amount(item.size, 's')}, downwards {values['down_s']:.2g} s "
                     f"({values['down_low_s']:.2g} to {values['down_high_s']:.2g})")
    if item.cause == "cadence_gain" and item.size is not None:
        texts.append(f"{interval_text(item.size, item.unit)}")
    if item.cause == "sessions_differ":
        texts.append(f"session {values['furthest_session']} is the furthest, "
                     f"{plain(float(values['furthest_percent']), 2, sign=True)} %")
    if "in_sessions" in values:
        texts.append(f"sessions {values['sessions']}")
    if item.cause == "crank_length":
        texts.append(f"{values['fitting']} pairs of lengths fit, {values['least_difference_mm']:+g} to "
                     f"{values['largest_difference_mm']:+g} mm")
    return texts + ["just after a rest, as when a device sets its zero" if one.moment == "after a rest" else
                    f"{one.count} of {one.of} events: {one.moment} (by chance {100 * one.expected:.0f} %)"
                    for one in item.patterns]


def against(item: Finding) -> list[str]:
    """What speaks against a finding, and what it cannot be told from."""
    texts = [CANNOT_TELL + name(cause) for cause in item.rivals]
    texts += [f"not {name(one.cause)} instead: {one.left:.2f} times the mean square error (level {one.apart:.3f})"
              for one in item.compared if one.cause not in item.rivals]
    if item.cause == "crank_length":
        texts.append(f"{item.values['rivals']} other ratios fit too; only where a device computes with a length")
    if item.cause == "loss":
        texts.append(f"it needs the {item.role} to measure further down the drive; say where each measures")
    if item.cause == "one_side_doubled":
        texts.append("only a recorded balance of left and right would tell for certain")
    if "one_side_untold" in item.values:
        texts.append(_one_side(item))
    return texts


def _one_side(item: Finding) -> str:
    """Say that one side doubled cannot be told from a total, what of it shows, and what would tell."""
    why = ("; beside a slower reference its scatter from stroke to stroke does not show"
           if item.values["one_side_untold"] == "slow_reference" else "")
    return ("a device that doubles one side would read so too, if the rider's sides differ: not to be told from a total"
            f"{why}; a recording of both sides, or of their balance, would tell")
