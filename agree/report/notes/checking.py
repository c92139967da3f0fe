"""Sentences for notes of the verdict: what to record next, why nothing is entered, what the answer rests on."""

from __future__ import annotations

from collections.abc import Callable

from agree.core.results.note import Note

WORDS = {"average": "the mean error", "bands": "each power band", "readings": "single readings",
         "next_session": "the next session"}


def _open(note: Note) -> str:
    asked = [WORDS.get(name, name) for name in str(note.values["meanings"]).split(",")]
    return f"nothing needed for this question. Still open: {', '.join(asked)}."


def _sessions(note: Note) -> str:
    have = int(note.values["have"])
    differ = f"if they differ as these {have} do" if have > 1 else "if they differ as is usual"
    return (f"about {note.values['sessions']} sessions in all; they settle it {_in_ten(note)} {differ}.")


def _in_ten(note: Note) -> str:
    chance = float(note.values.get("chance", 0.8))
    return "4 times in 5" if abs(chance - 0.8) < 0.005 else f"with a chance of {100 * chance:.0f} %"


def _luck(note: Note) -> str:
    values = note.values
    unit = values["unit"]
    ways = [f"holds if sessions settle on ±{values['holds_within']:.2g} {unit} or less"] * bool(values["can_hold"])
    ways += [f"fails beyond ±{values['fails_beyond']:.2g} {unit}"] * bool(values["can_fail"])
    return (f"have the reference calibrated, to about ±{values['needed']:.2g} {unit}; without that, more sessions "
            f"settle it only if another error comes out: it {' and '.join(ways)}.")


SUSPICIONS = {"files exchanged": "; its two files look exchanged", "one side only": "; it looks like one side only",
              "twice as much": "; it looks doubled", "metric horsepower": "; its unit looks like metric horsepower"}


def _odd(note: Note) -> str:
    values = note.values
    return (f"session {values['session']} reads {values['value']:+.2g} {values['unit']} against "
            f"{values['others']:+.2g} in the others{SUSPICIONS.get(str(values['suspicion']), '')}.")


SENTENCES: dict[str, str | Callable[[Note], str]] = {
    "next_nothing": "nothing: all four questions are answered.",
    "next_other_days": "{sessions} or more sessions on other days, the zero set afresh each time.",
    "next_open": _open,
    "next_band_minutes": "more minutes at {low:g} to {high:g} W: that part of the range is not settled.",
    "next_more_windows": "a longer session, or more of them: there are too few readings of that length.",
    "next_calibrate": "nothing yet: first have the reference calibrated, to about ±{needed:.2g} {unit} or better.",
    "next_ride_longer": lambda note: (
        f"about {note.values['minutes']:.0f} min of such riding in all settle it {_in_ten(note)} if the error stays as "
        f"it is ({note.values['ridden']:.0f} min so far). Sessions on other days are worth more."),
    "next_more_sessions": _sessions,
    "next_too_close": "more riding will not settle it: {value:.2g} {unit} is too close to the limit.",
    "next_spread": "more sessions sharpen the forecast, but sessions differ by SD {sd:.2g} {unit}: it stays that wide.",
    "next_odd": "find out what was different in session {session} (zero, battery, crank length), then ride 2 more.",
    "next_reference_or_luck": _luck,
    "next_look": "ride until {sessions} sessions are recorded: the next look was declared for then.",
    "looks_undeclared": ("looking after each session and stopping at the first answer makes a wrong one up to "
                         "{percent:g} % likely on either side, not {promised:g} %. Declare looks with --looks."),
    "looks_between": "no look was declared after {sessions} sessions: no answer is given before the next.",
    "looks_spent": "looks after {looks} sessions were declared; this one is answered at level {level:.4g}.",
    "faults_too_many": ("{percent:.0f} % of the riding was set aside as faulty, and counted in the mean error is "
                        "outside: what is left cannot speak for the device."),
    "declared_otherwise": "declared beforehand: {what} {declared}; done: {done}.",
    "declared_as_done": "checked as declared beforehand (digest {digest}).",
    "session_odd": _odd,
    "without_odd": "without session {sessions} the answer to the same question is: {verdict}.",
    "sessions_trend": "the error changes by {change:+.2g} {unit} from session to session: it is not constant yet.",
    "next_ride_above": "ride above {watts:g} W: the claim is made for that range only.",
}
