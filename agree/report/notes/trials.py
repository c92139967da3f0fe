"""Sentences of what a reader must know about a check of trials."""

from __future__ import annotations

from collections.abc import Callable

from agree.core.results.note import Note


def _readings(note: Note) -> str:
    values = note.values
    have, need = float(values["effective"]), int(values["needed"])
    text = f"counted, {have:.0f} trials' worth; a share like this needs {need}" if need else (
        "a share of about 95 % is not settled by any number of trials")
    if values.get("coarse"):
        text = (f"counted, {have:.0f} trials' worth; readings in whole steps are coarse beside this limit, and what "
                "shows an error within may be outside: read finer")
    normal = str(values["normal"])
    return text + ("" if normal == "not settled" else f"; if errors are normal: {normal} (--assume normal)") + "."


def _normal(note: Note) -> str:
    normal = str(note.values["normal"])
    return "open even if errors are normal." if normal == "not settled" else (
        f"if errors are normal: {normal} (--assume normal, chosen beforehand); skewed ones need more.")


def _spread(note: Note) -> str:
    if note.values["percent_claim"]:
        return "errors in per cent grow with the level; look at both ends of the range."
    way = "; a claim in per cent may fit better" if note.values["percent_possible"] else ""
    return f"errors grow with the level{way}."


def _unread(note: Note) -> str:
    values = note.values
    text = f"the device has no reading in {values['missing']} of the reference's {values['trials']} trials"
    if not values["end"]:
        return f"{text}: what it did not read may be what it gets wrong."
    high = values["end"] == "high"
    level = f"{float(values['level']):.3g} {values['unit']}"
    return (f"{text}, nearly all {'above' if high else 'below'} {level}: this speaks for levels "
            f"{'up to' if high else 'from'} {level}{'' if high else ' on'} alone.")


def _far_off(note: Note) -> str:
    values, one = note.values, note.values["count"] == 1
    read = (f"subject {values['subject']}: {float(values['reference']):.4g} {values['unit']} by the reference, "
            f"{float(values['device']):.4g} by the device")
    text = f"{values['count']} {'trial stands' if one else 'trials stand'} far apart from all others ({read})"
    text += "; a 0 is seldom a reading." if values["zeros"] else "."
    if values["without"]:
        answer = "the same" if values["without"] == values["verdict"] else f"'{values['without']}'"
        text += f" {'It is' if one else 'They are'} in the answer; without {'it' if one else 'them'} it is {answer}."
    return f"{text} Look {'it' if one else 'them'} up; leave out only what is shown to be wrong."


def _not_met(note: Note) -> str:
    values = note.values
    text = (f"{values['trials']} trials do not exclude errors of a kind that was not met: they may be up to "
            f"{float(values['percent']):.0f} % of all trials")
    if values["subjects"] != values["trials"]:
        text += f", or of up to {float(values['subjects_percent']):.0f} % of subjects"
    return text + " (rule of three)."


def _limits_normal(note: Note) -> str:
    values = note.values
    if not values["seen"]:
        return ("limits of agreement rest on normal errors; of skewed ones, which few trials hardly show, the limit on "
                "the long side lies too near.")
    return (f"errors are not normal (skewness {float(values['skewness']):.1f}, kurtosis "
            f"{float(values['kurtosis']):.1f}; 0 and 3 if they were): the limits of agreement are for normal ones, and "
            "lie too near on the side of the long tail.")


SENTENCES: dict[str, str | Callable[[Note], str]] = {
    "trials_readings": _readings,
    "trials_share_normal": _normal,
    "trials_readings_small": "the {trials} trials would be too few to count, but errors are so small that even skewed "
                             "ones stay inside.",
    "trials_far_off": _far_off,
    "trials_unread": _unread,
    "trials_share_of_few": "{subjects} subjects may be alike by chance: what single trials or new subjects do is not "
                           "called within the claim from fewer than {wanted}.",
    "trials_of_fewer_persons": "{subjects} subjects with names like '{one}' look like trials of {persons} persons "
                               "(their levels are as much alike, correlation {correlation:.2f}): give the person a "
                               "column of its own and name it in --by; counted as many, few make the interval too "
                               "narrow. If each is a person, name them without a number after a blank or a dash.",
    "trials_few_subjects": "{subjects} subjects are few: the intervals were tried from {wanted} on.",
    "trials_neighbours_alike": "errors of subjects that stand side by side are alike (correlation {correlation:.2f}): "
                               "if some rows are trials of one person, name the person as the subject; counted as "
                               "many, one person makes the interval too narrow.",
    "trials_skewed": "subjects' mean errors are skewed to the {side} side; an answer for the average is then wrong in "
                     "4 to 8 % of studies, in 12 to 21 where the skew is of a few subjects far off, not in 2.5 %.",
    "trials_skew_margin": "few subjects hardly show a skew: if errors are strongly skewed, an answer like this is "
                          "wrong in 4 to 8 % of studies, and in 12 to 21 if 1 subject of 17 is far off; it would have "
                          "to stand {times:.1f} times the interval.",
    "trials_kind_not_met": _not_met,
    "trials_limits_normal": _limits_normal,
    "trials_skew_decides": "the interval alone would settle it, but few errors as skewed as these do not show how far "
                           "they reach: with that allowed for, the mean is {low:.3g} to {high:.3g} {unit}.",
    "trials_spread_grows": _spread,
    "trials_spread_shrinks": "errors are smaller at high levels; look at both ends of the range.",
    "trials_noisy_reference": "the reference's own noise, {cv_percent:.1f} %, adds {bias_percent:.2f} points to a "
                              "mean per cent; a claim in the unit itself is free of that.",
    "trials_mean_absolute": "a mean absolute error hides delays and rare large errors; look at single readings too.",
    "trials_one_each": "with one trial each, differences between subjects and trials cannot be told apart.",
    "trials_subjects_left_out": "column '{column}' names {count} subjects, but '{taken}' was taken for the subject: "
                                "trials of one subject are no independent subjects; begin --by with '{column}'.",
    "trials_subjects_nearly": "subjects '{one}' and '{two}' are taken for two; if they are one, write them alike "
                              "({count} of this kind).",
    "trials_unit_of_claim": "no column names a unit; readings are taken to be in {unit}, as the claim is.",
    "trials_unit_unknown": "no column names a unit, nor does the claim.",
}
