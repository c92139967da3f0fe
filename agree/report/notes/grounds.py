"""Sentences for the ground of an answer, and of a correction: why it is as it is."""

from __future__ import annotations

from collections.abc import Callable

from agree.core.results.note import Note

INSIDE = {"holds": "inside", "does not hold": "outside", "not settled": "across the edge of"}
CLEAR = {"holds": "inside", "does not hold": "outside", "not settled": "less than that from"}


def _guard(note: Note) -> str:
    return (f"with a guard band of {note.values['half']:.2g} the mean error lies {CLEAR[str(note.values['verdict'])]} "
            "the limit")


def _reach(note: Note) -> str:
    values = note.values
    if values["shortest_s"]:
        return f"holds from {values['shortest_s']} s on"
    return f"at no averaging time up to {values['longest_s']} s"


def _share(note: Note) -> str:
    values = note.values
    return (f"{100 * float(values['share']):.0f} % of {values['window_s']}-s means are within the claim, "
            f"{100 * float(values['wanted']):g} % wanted; {_reach(note)}")


def _bands(note: Note) -> str:
    values = note.values
    text = {"holds": f"all {values['judged']} bands lie inside their limits",
            "does not hold": f"wholly outside at {values['where']} W",
            "not settled": f"open at {values['where']} W"}[str(values["verdict"])]
    return text + (f"; {values['not_judged']} band(s) not judged" if values["not_judged"] else "")


def _line(note: Note) -> str:
    v = note.values
    return (f"slope {v['slope']:.4f} [{v['slope_low']:.4f}, {v['slope_high']:.4f}], intercept {v['intercept']:.1f} "
            f"[{v['intercept_low']:.1f}, {v['intercept_high']:.1f}] W")


SETTINGS = {"unit": "it looks like another unit", "one_side_not_doubled": "it looks like one side, not doubled",
            "one_side_doubled_twice": "it looks doubled twice"}


def _whose(what: str) -> str:
    return "the reference's own uncertainty" if what == "reference" else f"the uncertainty of the {what}"


def _passes(note: Note) -> str:
    """Say what to do of an error that is not there at every time."""
    if "minutes" in note.values:
        return f"the error goes with the warm-up; ride {float(note.values['minutes']):.0f} min, then set the zero"
    if note.values["cause"] == "step":
        return "the error comes of one change within a session; set the zero afresh before each ride"
    return "the error comes of a drift within the session; set the zero before each ride, and again on the way"


SETTLED = {"warm_up": "it is found on what comes after the warm-up", "step": "it is found on one side of the step",
           "drift": "it is found with the drift taken off"}

AFTER = {"warm_up": " after the warm-up", "step": " on one side of the step",
         "drift": " with the drift taken off", "temperature_drift": " with the drift taken off"}

GROUNDS: dict[str, str | Callable[[Note], str]] = {
    "because_few_seconds": "only {seconds} s in the range of the claim: too few to judge",
    "because_interval": lambda note: (
        f"the interval of the mean error lies {INSIDE[str(note.values['verdict'])]} the limit"),
    "because_guard": _guard,
    "because_plain": "the mean error alone, whatever its uncertainty: a risk of up to 50 % at the limit",
    "because_no_uncertainty": "no standard uncertainty is known",
    "because_share": _share,
    "because_few_windows": lambda note: (
        f"too few windows, {100 * float(note.values['wanted']):g} % wanted; {_reach(note)}"),
    "because_one_session": "one session cannot tell how much the next one will differ",
    "because_prediction": "prediction from {sessions} sessions, which differ by SD {sd:.2g} {unit}",
    "because_no_band": "no band has {least_s} s",
    "because_bands": _bands,
    "because_faults": "too many seconds were set aside as faulty",
    "because_gaps": "too many seconds are missing or faulty at an end of the range of power",
    "because_one_ride": lambda note: (
        f"sessions {note.values['sessions']} look like one ride{' each' if note.values['rides'] != 1 else ''}"),
    "because_one_day": "all sessions are of one day, and the next one may be of another",
    "because_days": ("sessions of one day share what differs from day to day: one mean for each of {days} days gives "
                     "{low:+.2g} to {high:+.2g} {unit}"),
    "because_not_followed": "the device does not move with the reference",
    "because_minutes_unlike": "for some minutes the recordings are not alike, and the answer hangs on them",
    "because_faults_untold": "which seconds are faulty is not told, and the answer hangs on it",
    "because_programme": "the two files may be two rides of one programme",
    "because_slower": ("errors that wander too slowly to show in so short a recording would reach beyond the "
                       "limit"),
    "because_copy": "a correction that was not shown to come from other rides proves nothing on this one",
    "because_too_little": "too little was recorded",
    "because_between_looks": "no look was declared after this number of sessions",
    "correction_small": lambda note: (f"the mean error is at most {note.values['percent']:g} %"
                                      + AFTER.get(str(note.values.get("beside")), "")),
    "correction_small_value": lambda note: (f"a mean error of {note.values['error']:+.2g} % is too small to correct"
                                            + AFTER.get(str(note.values.get("beside")), "")),
    "correction_short": "the recording is too short to test a correction on a part left out",
    "correction_nothing_common": "the sessions differ by SD {sd:.2g} % and have no error in common",
    "correction_no_gain": "on {left_out} left out no correction clearly lowers the error",
    "correction_reference": lambda note: (
        f"{_whose(str(note.values['whose']))} (standard uncertainty {note.values['u']:.2g} %) can make such a "
        "difference"),
    "correction_perhaps_none": ("the error is not shown to differ from 0 (a correction of {low:+.2g} to {high:+.2g} "
                                "{unit} would fit)"),
    "correction_below_step": "it is less than half of the device's step of {step:g} %",
    "correction_scatter": "the {left_out} differ by SD {sd:.2g} %, too much for a correction of {size:.2g} %",
    "correction_as_days": ("a correction of {size:.2g} % is no more than sessions often differ by; record {least} to "
                           "see"),
    "correction_clear": "clearly the lowest error on {left_out} left out",
    "correction_bend": ("no single factor or zero brings the whole range inside the claim: what helps at one power "
                        "harms at another"),
    "correction_response": ("the error comes of how the two respond to changes, not of a scale or a zero: with a "
                            "factor entered, steady power would be wrong"),
    "correction_cadence": ("the error goes with cadence: a factor or a zero would be wrong as soon as the cadence at a "
                           "power is another"),
    "correction_no_factor": "the readings do not tell what factor to enter",
    "correction_passes": _passes,
    "correction_settled": lambda note: SETTLED.get(str(note.values["cause"]), SETTLED["drift"]),
    "correction_not_followed": ("the device does not move with the reference (correlation {correlation:.2f}): it is "
                                "stuck, or the two are not of one ride"),
    "correction_setting": lambda note: (
        f"{SETTINGS[str(note.values['cause'])]}: set that right first; a factor would hide it"),
    "correction_narrow": ("the power varies by a factor of {range:.2g} only: scale and offset look alike; record from "
                          "low to high power (a factor of {least:g} at least)"),
    "correction_line": _line,
    "correction_perhaps": lambda note: f"{note.values['first']}, perhaps {note.values['second']} too: {_line(note)}",
    "correction_not_apart": lambda note: f"the mean is off, but scale and offset are not told apart: {_line(note)}",
    "correction_tested": "on {left_out} left out it brings the mean error from {before:.2g} to {after:.2g} %",
    "correction_one_session": "one session cannot show whether it lasts",
    "correction_one_ride": "sessions {sessions} look like one ride, and cannot show whether it lasts",
    "correction_one_day": "all sessions are of one day, and cannot show whether it lasts",
    "correction_few_sessions": "{least} sessions are needed to show whether it lasts",
    "correction_no_power": "a session without power of the device cannot show whether it lasts",
    "correction_ageing": "the error changes from session to session",
    "correction_spread": lambda note: (
        f"between sessions it varies by SD {note.values['sd']:.2g} %, and would make the next one worse with a "
        f"probability of {max(float(note.values['harm']), 0.01):.0%}"),
}
