"""Sentences for notes of the verdict: what to record next, why nothing is entered, what the answer rests on."""

from __future__ import annotations

from collections.abc import Callable

from agree.core.results.note import Note
from agree.core.results.words import percent
from agree.core.thresholds import LEAST_DAYS

HARDLY_SETTLES = 0.2  # chance below which so much riding is said to hardly settle an answer; else the chance is given
WORDS = {"average": "the mean error", "bands": "each power band", "readings": "single readings",
         "next_session": "the next session"}


def _open(note: Note) -> tuple[str, str]:
    asked = [WORDS.get(name, name) for name in str(note.values["meanings"]).split(",")]
    return "nothing needed for this question.", f"Still open: {', '.join(asked)}."


def _sessions(note: Note) -> str:
    have = int(note.values["have"])
    differ = f"if they differ as these {have} do" if have > 1 else "if they differ as is usual"
    return (f"about {note.values['sessions']} sessions in all; they settle it {_in_ten(note)} {differ}.")


def _in_ten(note: Note) -> str:
    chance = float(note.values.get("chance", 0.8))
    return "4 times in 5" if abs(chance - 0.8) < 0.005 else f"with a chance of {100 * chance:.0f} %"


def _known_first(note: Note) -> str:
    return "find the drivetrain loss" if note.values.get("loss") else "have the reference calibrated"


def _luck(note: Note) -> str:
    values = note.values
    unit = values["unit"]
    ways = [f"holds if sessions settle on ±{values['holds_within']:.2g} {unit} or less"] * bool(values["can_hold"])
    ways += [f"fails beyond ±{values['fails_beyond']:.2g} {unit}"] * bool(values["can_fail"])
    return (f"{_known_first(note)}, to about ±{values['needed']:.2g} {unit}; without that, more sessions "
            f"settle it only if another error comes out: it {' and '.join(ways)}.")


def _whose(note: Note) -> str:
    return "the drivetrain loss" if note.values.get("loss") else "the reference"


def _hardly(note: Note) -> tuple[str, ...]:
    """How far the error lies from the limit, and what the most that is thought of would still leave open."""
    values, unit, most = note.values, note.values["unit"], note.values["most"]
    left = f"{values['value']:+.2g} {unit} lies {values['gap']:.2g} {unit} from the limit"
    chance = float(values.get("chance", 0.0))
    by_chance = f"only with a chance of {100 * chance:.0f} %, were the error to stay as it is"
    if values["one"]:
        how = (f"even {most} times as long a ride would hardly settle it if the error stays as it is"
               if chance < HARDLY_SETTLES else f"even {most} times as long a ride would settle it {by_chance}")
        return (f"sessions on other days: {how}.", f"{left}, and this ride leaves ±{values['half']:.2g} {unit} open.")
    how = (f"even {most} sessions would hardly settle it if the error stays as it is" if chance < HARDLY_SETTLES else
           f"even {most} sessions would settle it {by_chance}")
    return (f"{how}: {left}, and sessions differ by SD {values['sd']:.2g} {unit}.",)


def _one_day(note: Note) -> str:
    values = note.values
    if values["most"] == values["sessions"]:
        return (f"all {values['sessions']} sessions are of one day ({values['day']}): what differs from day to day is "
                "not in the interval.")
    stands = "; an answer must stand with one mean for each day too" if int(values["days"]) >= LEAST_DAYS else ""
    return (f"{values['most']} of {values['sessions']} sessions are of one day ({values['day']}): the interval takes "
            f"them for sessions of different days, and may be too narrow{stands}.")


DECLARED = {"claim": "the claim", "meaning": "the question", "level": "the level", "rule": "the decision rule",
            "bands": "the power bands", "looks": "looks after sessions", "splits": "splits of the recording",
            "reference_uncertainty": "the accuracy of the reference", "loss": "the drivetrain loss",
            "window_s": "the averaging time of a reading, s", "faults": "what is done with faulty seconds"}


def _as_done(note: Note) -> str:
    left = str(note.values.get("exclusions", ""))
    also = f"; whether no more was left out than declared ({left}) is the tester's to say" if left else ""
    return f"checked as declared beforehand (digest {note.values['digest']}){also}."


def _otherwise(note: Note) -> str:
    values = note.values
    before, done = (_declared(str(values["what"]), str(values[name])) for name in ("declared", "done"))
    return f"declared beforehand: {DECLARED.get(str(values['what']), values['what'])}: {before}; done: {done}."


def _declared(what: str, value: str) -> str:
    if what == "level":
        return f"{100 * float(value):g} %"
    none = {"bands": "the usual ones", "faults": "the usual"}.get(what, "none")
    return none if value == "none" else WORDS.get(value, value)


SUSPICIONS = {"files exchanged": "; its two files look exchanged", "one side only": "; it looks like one side only",
              "twice as much": "; it looks doubled", "metric horsepower": "; its unit looks like metric horsepower"}


def _odd(note: Note) -> str:
    values = note.values
    return (f"session {values['session']} reads {values['value']:+.2g} {values['unit']} against "
            f"{values['others']:+.2g} in the others{SUSPICIONS.get(str(values['suspicion']), '')}.")


def _alike(note: Note) -> str:
    low, high = (f"{note.values[name]:.2f}" for name in ("correlation", "most"))
    between = low if low == high else f"{low} to {high}"
    turned = ", played backwards" if note.values["backwards"] else ""
    return (f"sessions {note.values['sessions']} follow each other second by second (correlation {between}{turned}), "
            "as one ride does that is recorded more than once: they do not show how days differ.")


def _lost_how(note: Note) -> str:
    missing = note.values.get("missing", 0)
    if not missing:
        return "was set aside as faulty"
    return "is missing" if missing == note.values["seconds"] else "is missing or was set aside as faulty"


def _alone(note: Note) -> bool:
    return note.values.get("sessions", 1) == 1


def _part_used(note: Note) -> str:
    """How much of the reference's riding was used; of several sessions the least, and how much in all."""
    values = note.values
    share = f"{values['percent']:.0f} %"
    if _alone(note):
        return f"{share} of the reference's riding was used; the answer speaks of that part only."
    if values["partly"] == 1:
        return (f"in session {values['session']} only {share} of the reference's riding was used "
                f"({values['whole']:.0f} % in all); the answer speaks of that part only.")
    return (f"in {values['partly']} of {values['sessions']} sessions only a part of the reference's riding was used, "
            f"least in session {values['session']} ({share}; {values['whole']:.0f} % in all); the answer speaks of "
            "that part only.")


def _span(seconds: float | int | str | bool) -> str:
    return f"{float(seconds):.0f} s" if float(seconds) < 120 else f"{float(seconds) / 60:.0f} min"


SENTENCES: dict[str, str | Callable[[Note], str | tuple[str, ...]]] = {
    "next_nothing": "nothing: all four questions are answered.",
    "next_other_days": "{sessions} or more sessions on other days, the zero set afresh each time.",
    "next_open": _open,
    "next_band_minutes": "more minutes at {low:g} to {high:g} W: that part of the range is not settled.",
    "next_more_windows": "a longer session, or more of them: there are too few readings of that length.",
    "next_calibrate": lambda note: (
        f"nothing yet: first {_known_first(note)}, to about ±{note.values['needed']:.2g} {note.values['unit']} or "
        "better."),
    "next_ride_longer": lambda note: (
        f"about {note.values['minutes']:.0f} min of such riding in all settle it {_in_ten(note)} if the error stays as "
        f"it is ({note.values['ridden']:.0f} min so far).", "Sessions on other days are worth more."),
    "next_more_sessions": _sessions,
    "next_hardly": _hardly,
    "next_sessions_first": lambda note: (
        f"about {note.values['sessions']} sessions in all: how far they differ (SD {note.values['sd']:.2g} "
        f"{note.values['unit']}) is more of the doubt than {_whose(note)}.", f"If the error stays at "
        f"{note.values['value']:+.2g} {note.values['unit']}, {_whose(note)} must then be known to "
        f"±{note.values['needed']:.2g} {note.values['unit']}."),
    "next_spread": "more sessions sharpen the forecast, but sessions differ by SD {sd:.2g} {unit}: it stays that wide.",
    "next_odd": "find out what was different in session {session} (zero, battery, crank length), then ride 2 more.",
    "next_files_exchanged": lambda note: (
        f"first check which file of session {note.values['session']} is the device's: the two look exchanged.",
        "If they are, change them over and check again; more rides come after that."),
    "next_find_trend": lambda note: (
        f"first find out why the error changes by {note.values['change']:+.2g} {note.values['unit']} from session to "
        "session (battery, mounting, wear), and mend it; then new sessions.",
        "No number of sessions like these can be said to settle it."),
    "next_reference_or_luck": _luck,
    "next_look": "ride until {sessions} sessions are recorded: the next look was declared for then.",
    "looks_undeclared": ("looking after each session and stopping at the first answer makes a wrong one up to "
                         "{percent:g} % likely on either side, not {promised:g} %. Declare looks with --looks."),
    "looks_between": lambda note: (
        f"no look was declared after {note.values['sessions']} sessions: no answer is given before the next"
        + (f", after {note.values['next']}; the interval is no answer either." if "next" in note.values else ".")),
    "looks_over": ("the last declared look was after {last} sessions; these are {sessions}. The answer given then "
                   "stands: another look would err more often than the level says."),
    "next_looks_over": "nothing for these looks; for a new answer declare new looks, and ride new sessions for them.",
    "looks_spent": lambda note: (
        f"looks after {note.values['looks']} sessions were {'' if note.values.get('declared', True) else 'not '}"
        f"declared; this one is answered at the level {percent(float(note.values['level']))}."),
    "next_dates": ("record cadence in both, or export both files with dates (date and time in each row) if they have "
                   "none: that shows whether they are of one ride; if you know that they are, give the lag (--lag)."),
    "used_programme_untold": lambda note: (
        "the two files" + ("" if note.values["all"] == 1 else f" of session {note.values['sessions']}")
        + " may be of one programme, by two riders or on two days: steps of power coincide, but between them nothing "
        "shows one ride, nor does cadence. What agrees may be the programme."),
    "next_cut_unlike": "look at both recordings in those minutes, and cut both files to what is of one ride, or record "
                       "again.",
    "next_faults_untold": "record again with the averaging of the slower device set to none, or to the shortest there "
                          "is: then single seconds show in it.",
    "used_faults_untold": lambda note: (
        "many seconds" + ("" if note.values["all"] == 1 else f" of session {note.values['sessions']}")
        + " may be faulty or the rider's own, and one of the two devices averages over so long that it does not show "
        f"which: a mean error from {float(note.values['low']):+.1f} to {float(note.values['high']):+.1f} "
        f"{note.values['unit']} is about as likely."),
    "used_minutes_unlike": lambda note: (
        "for some minutes" + ("" if note.values["all"] == 1 else f" of session {note.values['sessions']}")
        + " the two recordings are not alike, though they are in the others: a device may have failed, or a file goes "
        f"on into another ride. The mean error is {float(note.values['with']):+.1f} {note.values['unit']} with "
        f"these minutes and {float(note.values['without']):+.1f} {note.values['unit']} without."),
    "faults_too_many": ("{percent:.0f} % of the riding was set aside as faulty, and counted in the mean error is "
                        "outside: what is left cannot speak for the device."),
    "faults_or_gaps_too_many": ("{percent:.0f} % of the riding is missing or faulty, and that goes with the power: "
                                "what is left cannot speak for the device."),
    "verdict_with_faults": ("with the faulty seconds counted in the answer is \"{verdict}\": mean error {error:+.2f} "
                            "{unit} ({low:+.2f} to {high:+.2f})."),
    "used_too_short": lambda note: (
        f"only {_span(note.values['seconds'])} could be used: an error that wanders more slowly cannot be seen in "
        f"them; 'holds' needs {_span(note.values['least'])} or more."),
    "used_short": lambda note: (
        f"{int(float(note.values['minutes']))} min do not show how an error wanders over 5 min or more; the answer "
        "leaves room for it. 45 min or a second day show it."),
    "used_slower": lambda note: (
        f"an error that wanders over 5 min or more could leave ±{note.values['half']:.2g} {note.values['unit']}, "
        f"beyond the limit, and {int(float(note.values['minutes']))} min do not show one. 45 min or a second day do."),
    "used_hardly_any": lambda note: (
        f"only {note.values['percent']:.0f} % of the reference's riding "
        + ("could be used: that cannot speak for the rest of the ride." if _alone(note) else
           f"in session {note.values['session']} could be used: that cannot speak for the rest of that ride.")),
    "used_part": _part_used,
    "range_lost": lambda note: (
        f"the answer does not speak of power {note.values['side']} {note.values['watts']:g} W: most of it "
        f"({note.values['seconds']} s) {_lost_how(note)}."),
    "used_not_followed": ("the device does not move with the reference (correlation {correlation:.2f}): it is stuck, "
                          "or the two are not of one ride; a mean that agrees proves nothing."),
    "range_thin": ("{percent:.0f} % of the work at {low:g} to {high:g} W is missing or faulty: were the device "
                   "{needed:.2g} % wrong in it, the claim would not hold there."),
    "used_with_gaps": ("{seconds} s of the riding ({percent:.0f} %) are missing in one of the two recordings: the "
                       "answer does not speak of them."),
    "next_mend_recording": lambda note: (
        f"first find out why the {note.values['role']} lost {note.values['percent']:.0f} % of the riding, mend that, "
        "and ride again.", "More riding with the same loss settles nothing."),
    "next_ride_at_least": "ride {minutes:.0f} min or more in one recording: this one is too short.",
    "next_record_whole_ride": lambda note: (
        "record the whole ride with both: the device's recording covers too little of "
        + ("it." if _alone(note) else f"it in session {note.values['session']}.")),
    "declared_otherwise": _otherwise,
    "declared_as_done": _as_done,
    "session_odd": _odd,
    "sessions_alike": _alike,
    "next_another_day": lambda note: (
        f"leave out session {note.values['later']} if it is the same ride; if it is another day, ride one that does "
        "not follow the same programme." if note.values["left_out"] == 1 else
        f"leave out sessions {note.values['later']} if each is a ride already there; if they are other days, ride "
        "some that do not follow the same programme."),
    "sessions_of_athletes": ("the {sessions} sessions are of {athletes} athletes, and those of one are alike: over the "
                             "athletes' means the answer is {verdict} ({low:+.2g} to {high:+.2g} {unit})."),
    "sessions_of_one_day": _one_day,
    "sessions_undated": lambda note: (
        f"{'no' if note.values['undated'] == note.values['sessions'] else 'not every'} recording shows its date: that "
        "the sessions are of different days is your word; pieces of one ride are one session."),
    "without_odd": "without session {sessions} the answer to the same question is: {verdict}.",
    "sessions_trend": "the error changes by {change:+.2g} {unit} from session to session: it is not constant yet.",
    "next_ride_in_bands": ("ride {least_s} s or more in a band that is asked for, or ask for bands that were ridden: "
                           "leave out --bands for thirds of the ride."),
    "bands_not_ridden": lambda note: (
        f"{note.values['bands']} W {'was' if note.values['count'] == 1 else 'were'} hardly ridden (under "
        f"{note.values['least_s']} s): the answer does not speak of {'it' if note.values['count'] == 1 else 'them'}."),
    "next_ride_above": "ride above {watts:g} W: the claim is made for that range only.",
}
