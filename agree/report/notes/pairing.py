"""Sentences of the notes of pairing: how the clocks were matched, and what is doubtful in it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from agree.core.results.note import Note


def _when(seconds: float) -> str:
    minutes, second = divmod(round(seconds), 60)
    hours, minute = divmod(minutes, 60)
    return f"{hours}:{minute:02}:{second:02}" if hours else f"{minute}:{second:02}"


def _apart(minutes: int) -> str:
    """Say a whole number of quarter hours in words."""
    hours, rest = divmod(minutes, 60)
    return " ".join(part for part in (f"{hours} h" if hours else "", f"{rest} min" if rest else "") if part)


def _step(note: Note) -> str:
    values = note.values
    error = f" (standard error {values['se_s']:.2f})" if "se_s" in values else ""
    return (f"the {values['loser']}'s clock lost {values['lost_s']:.1f} s{error} against the {values['other']}'s at "
            f"{_when(float(values['at_s']))}, as when a recorder pauses by itself or its clock is set: the device was "
            "re-timed, and seconds that exist on one clock only are missing")


def _correlation(note: Note) -> str:
    rival = f"; next best {note.values['next_best']:.2f}" if "next_best" in note.values else ""
    return f"correlation of fast changes at the lag: {note.values['correlation']:.2f}{rival}"


def _agree(note: Note) -> str:
    said = ", ".join(f"{name.removesuffix('_s')} {lag:+.1f} s" for name, lag in note.values.items())
    return f"the lag by other channels, which agree: {said}"


def _differs(note: Note) -> str:
    values = note.values
    apart = float(values["lag_s"]) - float(values["of_s"])
    side = "before" if apart < 0 else "after"
    return (f"{values['channel']} says {values['lag_s']:+.1f} s, {abs(apart):.1f} s {side} the lag of {values['of']}, "
            f"{values['of_s']:+.1f} s: more than a mean over some seconds explains; check which is right")


def _given(note: Note) -> str:
    best = (f"; the traces match best at {note.values['best_s']:.1f} s (correlation {note.values['correlation']:.2f})"
            if "best_s" in note.values else "")
    return f"the lag was given: {note.values['lag_s']:g} s{best}"


def _stamps(note: Note) -> str:
    values = note.values
    rival = (f" and at {values['rival_lag_s']:+.0f} s (correlation {values['correlation']:.2f} and "
             f"{values['rival_correlation']:.2f})" if "rival_lag_s" in values else "")
    return (f"the recordings are alike at {values['lag_s']:+.0f} s{rival}, as equal intervals are; the lag was taken "
            "that agrees with the stamps of both: if a clock was wrong by an interval, efforts are mixed up")


def merged_delay(notes: Sequence[Note]) -> Note:
    """Return one note of the delays of several sessions that have one cause: from the least to the largest."""
    sizes = [abs(float(note.values["rest_s"])) for note in notes]
    explained = max((float(note.values["explained_s"]) for note in notes), key=abs)
    return replace(notes[0], values={**notes[0].values, "least_s": min(sizes), "explained_s": explained,
                                     "rest_s": math.copysign(max(sizes), float(notes[0].values["rest_s"]))})


def _delay(note: Note) -> str:
    values = note.values
    rest, explained = float(values["rest_s"]), float(values["explained_s"])
    least = float(values.get("least_s", abs(rest)))
    most = "up to " * ("least_s" in values)
    known = f", beyond the {most}{abs(explained):.1f} s that the difference in response explains" if explained else ""
    who = "device" if rest > 0 else "reference"
    size = f"{abs(rest):.1f}" if f"{least:.1f}" == f"{abs(rest):.1f}" else f"{least:.1f} to {abs(rest):.1f}"
    late = f"by the stamps of both, which have a date, the {who} is {size} s late{known}"
    ends = {"device": f"cadence is not late, so it is the power of the {who} that comes late",
            "clock": "cadence is late too, or so much is no device's delay: the clocks differ",
            "undecided": f"a delay of the {who}, or a difference of the clocks: nothing in the files decides it"}
    return f"{late}: {ends[str(values['cause'])]}; the lag was taken out"


def _drift(note: Note) -> str:
    values = note.values
    told = (f"the clocks drift by {values['ppm']:.0f} ppm (standard error {values['se_ppm']:.0f}): the device was "
            "re-timed along a straight line; the lag is that in the middle")
    if "most_ppm" not in values:
        return told
    most = f"{values['most_ppm']:g} ppm, the most that two clocks differ by"
    loses = "one of the recordings seems to lose seconds" if values["beyond"] else (
        "if so, one of the recordings loses seconds")
    return (f"{told}; that is {'more' if values['beyond'] else 'perhaps more'} than {most}: {loses}, as when it leaves "
            "out short pauses" + ("" if values["dated"] else "; files with dates would tell"))


def _stops_untold(note: Note) -> str:
    values = note.values
    often = "" if values["times"] == 1 else f"{values['times']} times, for "
    return (f"the {values['role']} reads 0 {often}{'for ' if not often else ''}{values['seconds']} s from "
            f"{_when(float(values['at_s']))}{' on' if often else ''} while the other works: as the {values['loser']}'s "
            "clock loses seconds in this ride, that may be a stop which it did not count and which was not found (the "
            "step told next is then too long), or a dropout; these seconds are not used")


SENTENCES: dict[str, str | Callable[[Note], str]] = {
    "pair_clock_step": _step,
    "pair_stops_untold": _stops_untold,
    "pair_clock_drift": _drift,
    "pair_clock_kinds": "the clocks are of different kinds ({reference} and {device}): the lag is counted from the "
                        "first stamp of each",
    "pair_identical": "the two recordings are identical: a file compared with itself says nothing about a device",
    "pair_correlation": _correlation,
    "pair_witnesses_agree": _agree,
    "pair_witness_differs": _differs,
    "pair_lag_given": _given,
    "pair_lag_by_channel": "the lag comes from {channel}, of which the match is clear (correlation {correlation:.2f}, "
                           "strength {strength:.1f}); power alone was refused: {refusal}",
    "pair_lag_by_own_changes": "the steps of power are alike at several lags, or there are none; what the rider does "
                               "between them is alike at one only (strength {strength:.1f}, next best {next:.1f})",
    "pair_one_clock": "both columns have one clock: a lag of 0 s is taken; {refusal}",
    "pair_zone": lambda note: (
        f"the clocks differ by {_apart(int(note.values['minutes']))}, as after a wrong time zone; the lag of "
        f"{note.values['lag_s']:.1f} s was taken out"),
    "pair_lag_unusual": "a lag of {lag_s:.1f} s is unusual for two clocks of one kind: check that both are of the same "
                        "ride",
    "pair_stamps_decided": _stamps,
    "pair_minutes_unlike": lambda note: (
        f"for {note.values['minutes']} min from {_when(float(note.values['from_s']))} the recordings are not alike, "
        f"though {100 * float(note.values['share']):.0f} % of the other minutes are: a device may have failed there, "
        "a clock changed, or a file went on into another ride"),
    "pair_faults_untold": lambda note: (
        "beside so slow a trace it is not told which seconds are faulty: with others, as likely, the device would read "
        f"{100 * float(note.values['low']):+.1f} to {100 * float(note.values['high']):+.1f} % of this"),
    "pair_average_paused": "the {role} averages, and after stops that its recorder leaves out the average has frozen, "
                           "or begins anew: {seconds} s after these are not used, as nothing tells what it should read",
    "pair_delay": _delay,
    "pair_programme_untold": lambda note: (
        "the recordings may be of one programme, by two riders or on two days: their steps of power coincide, but "
        + (f"between them ({note.values['seconds']} s) nothing shows one ride (correlation "
           f"{float(note.values['correlation']):.2f}), as with a trainer that holds power"
           if note.values["seconds"] else "leave too little between them to show one ride")
        + ("; cadence in both would tell" if note.values.get("dated") else "; files with dates, or cadence in both, "
           "would tell")),
}
