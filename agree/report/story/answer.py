"""The answer in one sentence: how far off, the interval that decides, and where it lies against the claim."""

from __future__ import annotations

import math

from agree.assessment.claim_check import ClaimCheck
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.words import percent
from agree.report.notes.sentence import note_text
from agree.report.story.language.digits import Shown, interval_is, plain, shown, side_words, unit_after
from agree.report.story.language.names import opponent, subject
from agree.report.story.language.vocabulary import PLACE, counted, duration, question
from agree.verdict.bands import BandCheck
from agree.verdict.meanings import Reading
from agree.verdict.rule import FAILS, HOLDS, OPEN, deciding, three_way


def decisive(reading: Reading, rule: str) -> Estimate | None:
    """Return the estimate with the ends that decide: of its interval, or of the guard band that a rule asks for."""
    if reading.decides is not None or reading.estimate is None or reading.unit == "share":
        return reading.decides or reading.estimate
    return deciding(reading.estimate, rule)


def interval_name(check: ClaimCheck) -> str:
    """Name the interval that decides."""
    if check.decision_rule == "interval":
        return f"the {percent(check.level)} interval"
    return "the error alone" if check.decision_rule == "plain" else f"the error with its {check.decision_rule} band"


def claim_line(check: ClaimCheck) -> str:
    """Say what is judged, by which question, and on how much."""
    used = duration(check.seconds()["used"])
    count = "one session" if len(check.pairs) == 1 else counted(len(check.pairs), "session")
    return f"claim {claim_in_range(check)}, judged by {_asked(check)} ({count}, {used} used)"


def claim_in_range(check: ClaimCheck) -> str:
    """Return the claim, and of which power alone the answer speaks where an end of the range was lost to faults."""
    lost = [item.values for item in check.notes if isinstance(item, Note) and item.kind == "range_lost"]
    ends = [f"{'below' if item['side'] == 'above' else 'above'} {item['watts']:g} W" for item in lost]
    return check.claim.text + (f" {' and '.join(ends)} only" if ends else "")


def _asked(check: ClaimCheck) -> str:
    words = question(check.meaning, check.window_s)
    return f"the {words}" if check.meaning == "average" else words


def limit_words(check: ClaimCheck, seen: Shown, unit: str) -> str:
    """Say the limit; where it is not the claim's own figure, that it is the claim at the powers ridden."""
    text = f"±{seen.limit:.15g}{unit_after(unit)}"
    return text if text == check.claim.text else f"{text} at these levels"


def place_words(verdict: str, limit: str) -> str:
    """Say where an interval lies against a limit."""
    return f"{PLACE[verdict]} {limit}" + (", partly outside" if verdict == OPEN else "")


def in_watts(check: ClaimCheck, seen: Shown) -> str:
    """Give an error in per cent also in the unit of the readings, at the mean level recorded."""
    level = check.reading.details.get("mean_w")
    if check.claim.unit != "%" or level is None or seen.value == 0 or not math.isfinite(seen.value):
        return ""
    size = abs(seen.value) / 100 * level
    return f" ({size:.{1 if size < 20 else 0}f} W at {level:.0f} W)"


def unless_given(reading: Reading, own: str) -> str:
    """Say why the answer is open where the figure alone, by its place against the limit, would give one."""
    if own == reading.verdict:
        return ""
    return f", but {reading.verdict}, because {note_text(reading.because).rstrip('.')}"


def sentence(check: ClaimCheck) -> str:
    """Return the answer in one sentence."""
    makers = {"average": _mean, "bands": _bands, "readings": _readings, "next_session": _next}
    reading = check.reading
    item = decisive(reading, check.decision_rule)
    if item is None:
        return f"It cannot be judged: {note_text(reading.because)}."
    return makers[check.meaning](check, reading, item)


def _mean(check: ClaimCheck, reading: Reading, item: Estimate) -> str:
    seen = shown(item, reading.limit)
    own = three_way(item.low, item.high, reading.limit)
    where = place_words(own, limit_words(check, seen, reading.unit)) + unless_given(reading, own)
    # Of one session the value is that of the recording, and the interval that of rides like it, not of other days.
    of_what = " for such rides" if len(check.pairs) == 1 and check.decision_rule == "interval" else ""
    return (f"{subject(check)} {reads(check, seen, reading.unit)}; {interval_name(check)}{of_what} "
            f"{interval_is(seen, reading.unit)}: {where}.")


def reads(check: ClaimCheck, seen: Shown, unit: str) -> str:
    """Say how far off a device reads on average."""
    where = "over this recording" if len(check.pairs) == 1 else "on average"
    if seen.value == 0:
        return f"reads the same as {opponent(check)} {where}"
    return (f"reads {side_words(seen.value, seen.each[0], unit)} {where} against {opponent(check)}"
            f"{in_watts(check, seen)}")


def shown_band(check: ClaimCheck) -> BandCheck | None:
    """Return the band to name: of those with the answer given, the one furthest outside or reaching furthest out."""
    verdict = bands_verdict(check)
    found = [band for band in check.bands if band.verdict == verdict]
    return max(found, key=lambda band: _reach(band, verdict), default=None)


def bands_verdict(check: ClaimCheck) -> str:
    """Return the answer that the bands give, whether or not it is withheld."""
    verdicts = {band.verdict for band in check.bands if band.verdict in (HOLDS, FAILS, OPEN)}
    return FAILS if FAILS in verdicts else HOLDS if verdicts == {HOLDS} else OPEN


def _reach(band: BandCheck, verdict: str) -> float:
    near, far = sorted((abs(band.deciding.low), abs(band.deciding.high)))
    return (near if verdict == FAILS else far) / band.limit_percent


def band_name(band: BandCheck) -> str:
    """Return the ends of a band such as "150–200 W"."""
    return f"{band.low:g}–{band.high:g} W"


def _bands(check: ClaimCheck, reading: Reading, item: Estimate) -> str:
    band = shown_band(check)
    judged = sum(one.verdict in (HOLDS, FAILS, OPEN) for one in check.bands)
    if band is None:
        return f"It cannot be judged: {note_text(reading.because)}."
    own = bands_verdict(check)
    same = sum(one.verdict == own for one in check.bands)
    seen = shown(band.deciding, band.limit_percent)
    device, every = subject(check), counted(judged, "power band")
    kept = "keeps" if reading.verdict == own else "is inside"
    first = {HOLDS: f"{device} {kept} the claim in each of {every}; nearest to the limit is",
             FAILS: f"{device} is outside the claim in {same} of {every}; furthest is",
             OPEN: f"{same} of {every} {'is' if same == 1 else 'are'} not settled; least known is"}[own]
    where = place_words(band.verdict, limit_words(check, seen, "%"))
    place = "" if math.isinf(seen.low) and math.isinf(seen.high) else f", {where}"
    return (f"{first} {band_name(band)}: {side_words(seen.value, seen.each[0], '%')} on average; the interval that "
            f"decides {interval_is(seen, '%')}{place}{unless_given(reading, own)}.")


def share_text(item: Estimate, needed: float) -> tuple[str, str]:
    """Return a share in per cent and its interval, which never seems to reach what is needed if it does not."""
    places = 0
    low, high, asked = 100 * item.low, 100 * item.high, 100 * needed
    while places < 6 and ((float(f"{low:.{places}f}") >= asked) != (item.low >= needed)
                          or (float(f"{high:.{places}f}") < asked) != (item.high < needed)):
        places += 1
    return f"{100 * item.value:.0f} %", f"{plain(low, places)} to {plain(high, places)} %"


def _readings(check: ClaimCheck, reading: Reading, item: Estimate) -> str:
    share, between = share_text(item, reading.limit)
    own = HOLDS if item.low >= reading.limit else FAILS if item.high < reading.limit else OPEN
    place = {HOLDS: "all of it above", FAILS: "all of it below", OPEN: "partly above and partly below"}[own]
    return (f"{share} of the {question('readings', check.window_s)} against {opponent(check)} lie inside "
            f"{check.claim.text}; {interval_name(check)} is {between}: {place} the {percent(reading.limit)} needed"
            f"{unless_given(reading, own)}.")


def _next(check: ClaimCheck, reading: Reading, item: Estimate) -> str:
    seen = shown(item, reading.limit)
    own = three_way(item.low, item.high, reading.limit)
    where = place_words(own, limit_words(check, seen, reading.unit)) + unless_given(reading, own)
    told = "the same as the reference" if seen.value == 0 else side_words(seen.value, seen.each[0], reading.unit)
    return (f"The next session is expected to read {told}; {interval_name(check)} for it "
            f"{interval_is(seen, reading.unit)}: {where}.")
