"""Trials that look too good: rounding, few subjects and readings that are missing leave no "holds"."""

import numpy as np
import pytest

from agree import check_trials, pair_trials

SUBJECT = np.repeat(np.arange(12), 3)
TRIAL = np.tile(np.arange(3), 12)
WHOLE = 30.0 + SUBJECT + 4 * TRIAL


def checked(reference, device, claim, *, subject=SUBJECT, trial=TRIAL, unpaired=False, **options):
    keys = {"subject": [f"s{k:02d}" for k in subject], "trial": list(trial)}
    if unpaired:
        trials = pair_trials({"subject": keys["subject"], "x_cm": reference},
                             {"subject": keys["subject"], "y_cm": device}, by="subject", unpaired=True)
    else:
        trials = pair_trials(keys | {"x_cm": reference, "y_cm": device}, reference_column="x_cm", device_column="y_cm")
    return check_trials(trials, claim, **options)


@pytest.mark.parametrize("meaning", ["average", "levels", "readings", "next_subject", "mean_absolute"])
def test_equal_errors_in_whole_steps_may_be_half_a_step_off(meaning):
    # The device reads 1.35 cm too high, in whole cm: every error is 1 cm.
    device = np.round(WHOLE + 1.35)
    assert checked(WHOLE, device, "1.2 cm", meaning=meaning, assume="normal").verdict == "not settled"
    assert checked(WHOLE, device, "2.5 cm", meaning="average").verdict == "holds"
    assert checked(WHOLE / 10, device / 10, "0.12 cm", meaning=meaning).verdict == "not settled"  # tenths likewise


@pytest.mark.parametrize(("claim", "verdict"), [("1.51 cm", "holds"), ("1.49 cm", "not settled")])
def test_the_mean_reaches_half_a_step(claim, verdict):
    check = checked(WHOLE, WHOLE + 1, claim)
    assert check.verdict == verdict
    assert (check.bias.low, check.bias.high) == (0.5, 1.5)
    assert check.bias.high == check.of("average").estimate.high
    assert check.reference_u == 0  # of the reference nothing was said


def test_rounding_of_per_cent_and_of_unpaired_trials():
    percent = checked(WHOLE, WHOLE + 1, "3 %").bias
    assert percent.high - percent.value >= 50 * (1 / WHOLE).mean() * (1 - 1e-9)
    still = 30.0 + SUBJECT
    assert checked(still, still + 1, "1.2 cm", unpaired=True).verdict == "not settled"


def test_readings_in_whole_steps_have_a_least_standard_error():
    # Each subject's mean error is 0.5: no scatter between subjects, and 24 trials rounded to whole cm.
    subject, trial = np.repeat(np.arange(12), 2), np.tile([0, 1], 12)
    level = 30.0 + subject
    bias = checked(level, level + trial, "2 cm", subject=subject, trial=trial).bias
    assert bias.standard_error == pytest.approx((2 / 12 / 24) ** 0.5)
    assert bias.high - 0.5 == pytest.approx(2.200985 * bias.standard_error, rel=1e-5)
    level = level + 0.1234567 * subject
    fine = checked(level, level + trial, "2 cm", subject=subject, trial=trial).bias
    assert fine.high - fine.low < 1e-9  # not rounded


def small(subjects, meaning, **options):
    """Errors far inside the claim, in readings that are not rounded."""
    keep = subjects > SUBJECT
    error = 0.1 + 0.02 * np.random.default_rng(1).normal(size=36)
    return checked(WHOLE[keep] + 0.1234567, (WHOLE + 0.1234567 + error)[keep], "5 cm", subject=SUBJECT[keep],
                   trial=TRIAL[keep], meaning=meaning, **options)


@pytest.mark.parametrize("options", [{}, {"assume": "normal"}])
@pytest.mark.parametrize("meaning", ["readings", "next_subject"])
def test_few_subjects_do_not_speak_for_new_ones(meaning, options):
    assert small(8, meaning, **options).verdict == "holds"
    check = small(7, meaning, **options)
    assert check.verdict == "not settled"
    assert check.of("average").verdict == "holds"
    assert (check.answer.ground.kind, check.answer.ground.values["wanted"]) == ("trials_share_of_few", 8)
    assert "Mind: 7 subjects may be alike by chance" in " ".join(check.summary().split())


def test_two_subjects_with_equal_errors():
    keep = SUBJECT < 2
    error = np.tile([0.0, 0.1, 0.2], 2)
    check = checked(WHOLE[keep], WHOLE[keep] + error, "5 cm", subject=SUBJECT[keep], trial=TRIAL[keep])
    assert {check.of(meaning).verdict for meaning in ("readings", "next_subject")} == {"not settled"}


LEVEL = np.linspace(25.0, 50.0, 45)
OF_LEVEL = np.tile(np.arange(15), 3)
OF_TRIAL = np.repeat(np.arange(3), 15)


def blank(where, claim="5 cm", **options):
    """A good device without readings at some of 45 levels."""
    device = LEVEL + 0.2 + 0.1 * np.random.default_rng(2).normal(size=45)
    device[where] = np.nan
    return checked(LEVEL, device, claim, subject=OF_LEVEL, trial=OF_TRIAL, **options)


@pytest.mark.parametrize("meaning", ["average", "levels", "readings", "next_subject", "mean_absolute"])
def test_a_device_that_is_blank_at_the_high_end(meaning):
    check = blank(LEVEL > 37, meaning=meaning)
    assert check.verdict == "not settled"
    said = " ".join(check.summary().split())
    assert said.count("the device has no reading in 23 of the reference's 45 trials, nearly all above 36.9 cm: this "
                      "speaks for levels up to 36.9 cm alone.") == 1
    assert blank(LEVEL > 60, meaning="average").verdict == "holds"
    assert blank(LEVEL > 37, "0.05 cm", meaning="average").verdict == "does not hold"


def test_a_device_that_is_blank_at_the_low_end_or_anywhere():
    check = blank(LEVEL < 37)
    assert (check.verdict, check.answer.ground.values["end"]) == ("not settled", "low")
    assert "speaks for levels from 37.5 cm on alone" in " ".join(check.summary().split())
    assert blank(LEVEL < 37, "5 cm above 38 cm").verdict == "holds"  # none is missing there
    check = blank(np.arange(45) % 3 == 0)
    assert (check.verdict, check.answer.ground.values["end"]) == ("not settled", "")
    assert "what it did not read may be what it gets wrong" in " ".join(check.summary().split())


@pytest.mark.parametrize(("missing", "verdict"), [(9, "holds"), (10, "not settled")])
def test_how_many_readings_may_be_missing(missing, verdict):
    assert blank(np.arange(45) < missing).verdict == verdict  # a fifth of 45 is 9


@pytest.mark.parametrize(("inside", "end"), [(1, "high"), (2, "")])
def test_missing_at_one_end(inside, end):
    # Of ten missing, one (or two) at the low end and the rest at the high one: 0.9 (or 0.8) of pairs.
    where = np.r_[np.arange(inside), np.arange(45 - 10 + inside, 45)]
    assert blank(where).answer.ground.values["end"] == end


def test_rows_that_are_not_there_are_missing_too():
    device = LEVEL + 0.2
    keep = LEVEL <= 37
    keys = {"subject": [f"s{k:02d}" for k in OF_LEVEL], "trial": list(OF_TRIAL)}
    short = {name: list(np.array(values)[keep]) for name, values in keys.items()} | {"y_cm": device[keep]}
    options = {"reference_column": "x_cm", "device_column": "y_cm"}
    trials = pair_trials(keys | {"x_cm": LEVEL}, short, **options)
    assert trials.unread.tolist() == LEVEL[LEVEL > 37].tolist()
    assert check_trials(trials, "5 cm").verdict == "not settled"
    for missing, verdict in ((9, "holds"), (10, "not settled")):
        high = keys | {"y_cm": np.where(np.arange(45) >= 45 - missing, np.nan, device)}
        unpaired = pair_trials(keys | {"x_cm": LEVEL}, high, by="subject", unpaired=True, **options)
        assert unpaired.unread.size == missing
        assert check_trials(unpaired, "50 cm").verdict == verdict
    whole = pair_trials(keys | {"x_cm": LEVEL}, keys | {"y_cm": device}, by="subject", unpaired=True, **options)
    assert check_trials(whole, "50 cm").verdict == "holds"
