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
    fine = checked(level + 0.1234567, level + trial + 0.1234567, "2 cm", subject=subject, trial=trial).bias
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
