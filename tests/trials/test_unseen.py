"""What few trials cannot show is said: a kind of error that was not met, and limits that rest on normal errors."""

import numpy as np

from agree import check_trials, pair_trials
from agree.report.notes.sentence import note_text


def checked(errors, claim, meaning):
    """Errors (subjects, trials) in cm, beside levels of 30 to 50."""
    subjects, each = errors.shape
    x = np.repeat(np.linspace(30, 50, subjects), each) + np.tile(np.linspace(0, 1.23, each), subjects)
    table = {"subject": np.repeat([f"p{k:02d}x" for k in range(subjects)], each), "trial": list(range(each)) * subjects,
             "x_cm": x, "y_cm": x + errors.ravel()}
    return check_trials(pair_trials(table, by=("subject", "trial"), reference_column="x_cm", device_column="y_cm"),
                        claim, meaning=meaning)


def told(check, kind):
    return [note_text(note) for note in check.notes if note.kind == kind]


def test_an_answer_from_few_small_errors_says_which_share_of_another_kind_is_possible():
    """Where 7 % of trials are 3 cm off, "holds" for 2 cm is wrong in 13 to 25 % of studies of 8 to 30 trials."""
    errors = np.random.default_rng(1).normal(0, 0.3, (30, 1))
    check = checked(errors, "2 cm", "readings")
    assert check.verdict == "holds"
    assert "up to 10 % of all trials" in told(check, "trials_kind_not_met")[0]
    check = checked(errors.reshape(10, 3), "2 cm", "readings")
    assert "up to 10 % of all trials, or of up to 30 % of subjects" in told(check, "trials_kind_not_met")[0]
    assert not told(checked(errors, "0.3 cm", "readings"), "trials_kind_not_met")  # not "holds"
    assert not told(checked(errors, "2 cm", "average"), "trials_kind_not_met")
    assert not told(checked(np.tile(errors, (4, 1)), "2 cm", "readings"), "trials_kind_not_met")  # counted


def test_limits_of_repeats_say_that_they_are_for_normal_errors_and_whether_these_are():
    rng = np.random.default_rng(2)
    for errors, words in ((rng.normal(size=(20, 4)), "which few trials hardly show"),
                          (rng.exponential(size=(20, 4)), "errors are not normal (skewness")):
        check = checked(errors, "5 cm", "average")
        assert words in told(check, "trials_limits_normal")[0]
        assert "95 % limits if normal: " in " ".join(check.summary().split())
        assert check.upper.method == "MOVER, normal errors"
