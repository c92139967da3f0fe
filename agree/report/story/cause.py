"""What is likely wrong, in sentences: the largest cause that is likely first."""

from __future__ import annotations

from collections.abc import Sequence

from agree.assessment.claim_check import ClaimCheck
from agree.assessment.find_correction import SETTINGS
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import FIXED_SHARE, HINT_LAST, NAMED_STRENGTH, WORTHWHILE_PERCENT
from agree.diagnosis.finding import Finding
from agree.diagnosis.over_sessions import merged
from agree.diagnosis.set_aside_faults import KINDS
from agree.report.story.cause_evidence import amount, key
from agree.report.story.language.digits import interval_text, plain, side_words
from agree.report.story.language.vocabulary import FAULTS, WHO
from agree.verdict.rule import FAILS, HOLDS

ZEROS = {"offset", "torque_offset"}
BEFORE_A_STEP = ("scale", "offset", "torque_offset")
SAME_PERCENT = 0.05  # less is written as 0.0
STARTING = ("drift", "temperature_drift")  # counted from the start of each session, where a zero was set
CAUSES = {
    "scale": "reads a {same} {side}{every}: {size}",
    "offset": "a zero error: {size} {side} at every power",
    "torque_offset": "a zero error: {size} {side} at any torque",
    "drift": "drifts within the session",
    "temperature_drift": "drifts with temperature",
    "bend": "the error changes with power, by no fixed percentage or number of watts",
    "cadence_gain": "the error changes with cadence",
    "step": "the zero or the scale changed once within the session",
    "warm_up": "a warm-up: the error settles after the start",
    "sessions_differ": "the error changes from session to session",
    "crank_length": "a wrong crank length in the settings",
    "unit": "power in another unit",
    "loss": "the scale and the zero together may be a drivetrain loss between the two measuring points",
    "delay": "the device is late against the reference",
    "delay_that_varies": "a delay that varies within the session",
    "smoothing": "the {role} averages over longer than the other",
    "uneven_response": "the {role} answers to more power in another time than to less",
    "held_readings": "after pedalling ends the {role} goes on with its last reading",
    "one_side_doubled": "the device doubles the reading of one side",
    "wandering": "the error wanders over minutes",
    "one_side_not_doubled": "the device reads one side and does not double it",
    "one_side_doubled_twice": "the device doubles the reading of one side twice",
}
PERHAPS = {"offset": ", perhaps with a zero error", "scale": ", perhaps with a wrong scale"}
# Causes that the data cannot tell from one another.
OR_RESPONSE = ", or a response that no kind of filter describes: the data cannot tell which"
RIVALS: dict[tuple[str, ...], str] = {
    ("scale", "uneven_response"): "a wrong scale" + OR_RESPONSE,
    ("offset", "uneven_response"): "a zero error" + OR_RESPONSE,
    ("torque_offset", "uneven_response"): "a zero error in torque" + OR_RESPONSE,
    ("scale", "offset", "uneven_response"): "a wrong scale, a wrong zero" + OR_RESPONSE,
    ("offset", "scale", "uneven_response"): "a wrong scale, a wrong zero" + OR_RESPONSE,
    ("scale", "torque_offset", "uneven_response"): "a wrong scale, a wrong zero" + OR_RESPONSE,
    ("torque_offset", "scale", "uneven_response"): "a wrong scale, a wrong zero" + OR_RESPONSE,
    ("bend", "uneven_response"): "the error changes with power" + OR_RESPONSE,
    ("scale", "offset"): "a wrong scale or a wrong zero: the range ridden cannot tell which",
    ("offset", "torque_offset"): "a zero error, in watts or in torque: the data cannot tell which",
    ("torque_offset", "offset"): "a zero error, in watts or in torque: the data cannot tell which",
    ("cadence_gain", "torque_offset"): "changes with cadence, or a zero error in torque: the data cannot tell which",
    ("torque_offset", "cadence_gain"): "a zero error in torque, or changes with cadence: the data cannot tell which",
    ("bend", "cadence_gain"): "the error changes with power, or with cadence: the data cannot tell which",
    ("cadence_gain", "bend"): "the error changes with cadence, or with power: the data cannot tell which",
    ("one_side_doubled", "noise_in_proportion"): "the device doubles the reading of one side, or is noisy",
    ("one_side_doubled", "wandering"): "the device doubles the reading of one side, or its error wanders",
}


# What an error may do in time, and what it may go with where power goes with time.
MAY: dict[str, str] = {
    "drift": "drifts within the session", "step": "changed once", "warm_up": "warmed up",
    "scale": "goes with power, as a wrong scale or zero does", "bend": "goes with power",
}


def _may(causes_told: Sequence[str]) -> str:
    """Say what an error may do where the data cannot tell; "" of causes that do not go with time."""
    if not {"drift", "warm_up"} & set(causes_told):
        return ""
    words = list(dict.fromkeys(MAY["scale" if one in ZEROS else one] for one in causes_told if one in {*MAY, *ZEROS}))
    return "" if len(words) < 2 else f"{', '.join(words[:-1])}, or {words[-1]}: the data cannot tell which"


def cause_words(item: Finding) -> str:
    """Say one cause with its size."""
    quoted = key(item)
    if item.cause == "held_readings":
        return _held(item)
    if item.cause in FAULTS and item.cause not in CAUSES:
        return _of_either(item) if item.role == "either" else f"the {item.role} {FAULTS[item.cause]} ({quoted})"
    tried = {one.cause for one in item.compared}
    told = [rival for rival in item.rivals if rival != "torque_offset" or rival in tried]
    # That the response is not known bears on all the others.
    pairs = [(item.cause, rival) for rival in sorted(told, key=lambda rival: rival != "uneven_response")]
    rivals = _may((item.cause, *told)) or next(
        (RIVALS[one] for one in [(item.cause, *told), *pairs] if one in RIVALS), "")
    if rivals:
        if item.cause in ("drift", "warm_up"):
            return f"{rivals} ({quoted}){PERHAPS.get(item.perhaps, '')}"
        # Of an unknown response the size as a scale, or as a zero, would say nothing.
        sized = item.size if "uneven_response" not in told else None
        return rivals + ("" if sized is None else f" ({_value(sized, item.unit)})")
    low = item.size is not None and item.size.value < 0
    size = "" if item.size is None else amount(item.size, item.unit)
    same, every = ("fixed percentage", " at every power") if is_fixed(item) else (
        "percentage", ", but not the same at every power")
    known = CAUSES[item.cause].format(side="too low" if low else "too high", role=item.role or "one", size=size,
                                      same=same, every=every)
    known += PERHAPS.get(item.perhaps, "")
    if "{size}" in CAUSES[item.cause] or not quoted:
        return known
    return f"{known}: {quoted}" if "(" in quoted else f"{known} ({quoted})"


def is_fixed(item: Finding) -> bool:
    """Whether low and high power show a scale as large as it is told, the other causes taken out."""
    ends = [float(item.values[f"at_{at}_percent"]) for at in ("low", "high") if f"at_{at}_percent" in item.values]
    size = 0.0 if item.size is None else item.size.value
    return all(abs(end - size) <= max(FIXED_SHARE * abs(size), WORTHWHILE_PERCENT) for end in ends)


def _held(item: Finding) -> str:
    """Say that readings go on after pedalling ends, what that adds to the mean, and what is read while pedalling."""
    adds, rest = (float(item.values[name]) for name in ("energy_percent", "pedalling_percent"))
    reads = side_words(rest, 1, "%") if abs(rest) >= SAME_PERCENT else "the same as the reference"
    return (f"{CAUSES[item.cause].format(role=item.role)} {key(item)}, which adds {plain(abs(adds), 1)} % that was not "
            f"pedalled; while pedalling {'it' if item.role == 'device' else 'the device'} reads {reads}")


def _of_either(item: Finding) -> str:
    """Say a fault of which the data do not tell whose it is: what is known, and what may have made it."""
    if "lower" not in item.values:
        return f"{WHO[item.role]} {FAULTS[item.cause]} ({key(item)}); which one is not told"
    lower, part = str(item.values["lower"]), float(item.values["part_percent"])
    other = "reference" if lower == "device" else "device"
    why = f"it lost part of its reading, or the {other} read too much"
    return f"for {key(item)} the {lower} read {part:.0f} % of the {other}: {why}; which of the two is not told"


def has_zero_error(found: Sequence[Finding]) -> bool:
    """Whether a zero error is among the causes, certain or not."""
    return any(ZEROS & {item.cause, item.perhaps, *item.rivals} for item in found)


def _value(size: Estimate, unit: str) -> str:
    return interval_text(size, unit).split(" (")[0]


def causes(check: ClaimCheck) -> tuple[str, ...]:
    """Return the causes in words, in the order of `told_causes`; empty if nothing stands out.

    Seconds set aside that would hardly move the mean error explain none of it: they come last, and alone are no cause.
    """
    told = [(item.cause in KINDS and item.percent < WORTHWHILE_PERCENT, words) for item, words in told_causes(check)]
    told.sort(key=lambda one: one[0])
    return () if not told or told[0][0] else tuple(words for _, words in told)


def no_cause(check: ClaimCheck) -> str:
    """Say that there is no cause: none is needed where no error is shown, and an error with none is not passed over."""
    reading = next((item for item in check.readings if item.meaning == "average"), None)
    mean = None if reading is None else reading.estimate
    if reading is None or mean is None:
        return "nothing stands out"
    shown = not mean.low <= 0 <= mean.high
    if not shown and check.verdict == HOLDS:
        return "none: no error is shown"
    if reading.unit != "%" or abs(mean.value) < WORTHWHILE_PERCENT:
        return "nothing stands out"
    error = f"the mean error of {_value(mean, reading.unit)}"
    if shown:
        return f"not told: these data do not show where {error} comes from"
    return f"none shows: {error} may be chance"


def told_causes(check: ClaimCheck) -> tuple[tuple[Finding, str], ...]:
    """Return the causes with their words in order of size times strength, hints last.

    In one recording with a step, a scale and a zero are those before it: they stand behind the step, and say so.
    Sessions that show no error in common stand first, as in the findings.
    Where the claim does not hold with the faulty seconds set aside, what is wrong with the others stands first.
    """
    steps = [float(item.values["at_s"]) for item in check.findings if item.cause == "step"
             and item.strength >= NAMED_STRENGTH] if len(check.pairs) == 1 else []
    stepped = bool(steps)

    unlike = next(iter(check.findings), None)

    def place(item: Finding) -> tuple[bool, bool, bool, float]:
        # A setting that explains a scale comes before the scale.
        weight = 1.01 if item.cause in SETTINGS and item.strength >= NAMED_STRENGTH else item.strength
        first = item is unlike and item.cause == "sessions_differ"
        return not first, item.strength < HINT_LAST, stepped and item.cause in BEFORE_A_STEP, -item.percent * weight

    placed = sorted(merged(check.findings), key=place)
    if check.verdict == FAILS:
        left = [item for item in placed if item.cause not in KINDS and item.strength >= NAMED_STRENGTH
                and item.percent >= WORTHWHILE_PERCENT]
        placed = left[:1] + [item for item in placed if item not in left[:1]]
    return tuple((item, _when(item, steps, check) + cause_words(item)) for item in placed)


def _when(item: Finding, steps: Sequence[float], check: ClaimCheck) -> str:
    """Say when a scale or a zero was so: before the first step, or at the start of what drifts from there on."""
    if item.cause not in BEFORE_A_STEP:
        return ""
    if steps:
        return f"until the {'first ' * (len(steps) > 1)}change at {min(steps) / 60:.0f} min "
    drifting = {one.unit for one in check.findings if one.cause in STARTING}
    if not drifting & ({"% per hour", "% per degree C"} if item.cause == "scale" else {"W per hour", "W per degree C"}):
        return ""
    return "at the start " if len(check.pairs) == 1 else "at the start of each session "
