"""The interval shown is the one that decides; what rounding, skew and equal means of trials change in it."""

import numpy as np
import pytest
from scipy import special

from agree import check_trials, pair_trials, plan_trials
from agree.estimators.trials.common_step import common_step
from agree.estimators.trials.shares_within import binomial_limits, effective_trials
from agree.estimators.trials.skewed_mean import skewed_mean_error
from agree.estimators.trials.unweighted import mean_error, subject_errors
from agree.trials import planning, simulated
from agree.verdict.rule import HOLDS


def paired(error, level, *, each=1, **options):
    subject = np.repeat(np.arange(len(error) // each), each)
    keys = {"subject": [f"{k:03d}" for k in subject], "x_cm": level, "y_cm": np.asarray(level) + np.asarray(error)}
    if options.pop("unpaired", False):
        x, y = ({"subject": keys["subject"], name: keys[name]} for name in ("x_cm", "y_cm"))
        return pair_trials(x, y, by="subject", unpaired=True)
    return pair_trials(keys, by="subject", reference_column="x_cm", device_column="y_cm")


LEVEL = 30.0 + np.arange(40)


@pytest.mark.parametrize("meaning", ["average", "levels", "readings", "next_subject", "mean_absolute"])
def test_nearly_equal_errors_in_whole_steps(meaning):
    # The device reads 1.45 cm too high and scatters by 0.05 cm: 38 errors show 1 cm and two show 2.
    error = np.where(np.arange(40) % 20 == 7, 2.0, 1.0)
    check = check_trials(paired(error, LEVEL), "1.4 cm", meaning=meaning, assume="normal")
    assert check.verdict == "not settled"


@pytest.mark.parametrize(("out", "high"), [(0, 1.5), (2, 1.5), (4, 1.5)])
def test_the_mean_reaches_the_next_step(out, high):
    error = 1.0 + (np.arange(40) < out)
    assert check_trials(paired(error, LEVEL), "2 cm").bias.high == pytest.approx(high)


def test_errors_spread_over_steps_lose_nothing():
    error = np.round(np.random.default_rng(1).normal(0, 2, 40))
    fine = check_trials(paired(error + 1e-4 * np.arange(40) ** 1.5, LEVEL), "2 cm").bias
    steps = check_trials(paired(error, LEVEL), "2 cm").bias
    assert (steps.high - steps.low) / (fine.high - fine.low) == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize(("readings", "step"), [
    (np.round(LEVEL * 0.7) * 2, 2.0), (np.round(LEVEL) * 0.5, 0.5), (LEVEL * 2.54, 2.54),
    ((LEVEL - 32) / 1.8, 1 / 1.8), (LEVEL * 0.1, 0.1), (LEVEL**1.5, 0.0), (LEVEL[:4] * 10, 1.0)])
def test_steps_of_instruments(readings, step):
    assert common_step(readings, readings[::-1]) == pytest.approx(step, rel=1e-6)


def test_a_limit_that_cuts_a_step():
    # Readings in whole cm, a limit of 2.1: of the errors that show 2 cm, most of four in ten are outside.
    error = np.tile([0.0, 0.0, 0.0, 0.0, 1.0, 1.0, -1.0, -1.0, 2.0, -2.0], 15)
    check = check_trials(paired(error, np.tile(LEVEL[:15], 10)), "2.1 cm", meaning="readings")
    assert check.answer.estimate.value == 1.0
    assert check.answer.estimate.low == pytest.approx(0.86, abs=0.02)
    assert check.verdict == "not settled"
    assert "readings in whole steps are coarse beside this limit" in " ".join(check.summary().split())
    fine = check_trials(paired(error + 1e-4 * np.arange(150) ** 1.1, np.tile(LEVEL[:15], 10)), "2.1 cm",
                        meaning="readings")
    assert fine.verdict == "holds"


def test_a_step_as_wide_as_the_limit_does_not_fail():
    # Errors of up to 2.9 cm, readings in steps of 3 cm: what shows 3 cm is within half a step of it.
    error = np.tile([0.0, 3.0, -3.0, 0.0, 0.0], 30)
    level = 3.0 * np.round(np.tile(LEVEL[:15], 10))
    check = check_trials(paired(error, level), "2.9 cm", meaning="readings")
    assert (check.verdict, check.answer.estimate.high) == ("not settled", 1.0)
    assert check_trials(paired(error, level), "1.4 cm", meaning="readings").verdict == "does not hold"


def test_equal_means_of_trials_are_counted():
    # 90 subjects with three trials each, all means within 2 cm: too wide for the margin, enough to be counted.
    rng = np.random.default_rng(4)
    error = np.repeat(rng.uniform(-1.8, 1.8, 90), 3) + rng.normal(0, 0.05, 270)
    level = np.tile(LEVEL[:30], 9) + 0.01 * np.arange(270) ** 0.9
    check = check_trials(paired(error, level, each=3), "2 cm", meaning="next_subject", mean_of=3)
    assert (check.verdict, check.answer.assumes) == ("holds", ("any_shape",))
    assert check.answer.estimate.low == pytest.approx(0.025 ** (1 / 90))
    some = check_trials(paired(error[:180], level[:180], each=3), "2 cm", meaning="next_subject", mean_of=3)
    assert some.verdict == "not settled"
    other = check_trials(paired(error, level, each=3), "2 cm", meaning="next_subject", mean_of=2)
    assert other.verdict == "not settled"  # no subject did two


@pytest.mark.parametrize("unpaired", [True, False])
@pytest.mark.parametrize("claim", ["0.3 cm", "1 cm", "3 cm"])
def test_one_figure_has_the_interval_that_decides(unpaired, claim):
    rng = np.random.default_rng(3)
    still = np.repeat(30 + 5 * rng.normal(size=30), 3)
    error = np.repeat(rng.normal(0.1, 0.2, 30), 3) + rng.normal(0, 0.2, 90)
    check = check_trials(paired(error, still, each=3, unpaired=unpaired), claim, meaning="readings")
    for item in (check.of("readings"), check.of("next_subject")):
        said = HOLDS if item.estimate.low >= 0.95 else "does not hold" if item.estimate.high < 0.95 else "not settled"
        assert item.verdict == said


def test_a_mean_that_skew_may_carry_out_is_not_settled():
    error = np.exp(np.random.default_rng(8).normal(size=12))
    level = LEVEL[:12] ** 1.01
    bias = check_trials(paired(error, level), "9 cm").bias
    check = check_trials(paired(error, level), f"{bias.high + 0.01:.4f} cm")
    assert check.bias.high < check.scaled.limit
    assert (check.verdict, check.answer.ground.kind) == ("not settled", "trials_skew_decides")
    end = float(check.answer.ground.values["high"])
    assert f"with that allowed for, the mean is {check.answer.ground.values['low']:.3g} to {end:.3g} cm" in (
        " ".join(check.summary().split()))
    assert check_trials(paired(error, level), f"{end + 0.01:.4f} cm").verdict == "holds"


def test_a_plan_for_counted_trials_keeps_what_it_says(monkeypatch):
    monkeypatch.setattr(planning, "DRAWN", 13)
    monkeypatch.setattr(simulated, "STUDIES", 400)
    row = plan_trials("2 cm", subject_sd=0.4, trial_sd=0.5, trials=3).rows[1]
    assert (row.meaning, row.rule) == ("readings", "counted")
    rng, held, index = np.random.default_rng(9), 0, np.repeat(np.arange(row.subjects), 3)
    for _ in range(100):
        error = 0.4 * rng.normal(size=row.subjects)[index] + 0.5 * rng.normal(size=index.size)
        number = effective_trials(subject_errors(error, index))
        held += binomial_limits(float((np.abs(error) <= 2).mean()), number, 0.95)[0] >= 0.95
    assert held >= 70  # 80 % promised, less 2.5 standard errors; with the effective number as known it is 50 %


@pytest.mark.parametrize(("unit", "times", "zero", "claim"), [
    ("m", 0.01, 0, "2 cm"), ("mm", 10, 0, "2 cm"), ("in", 1 / 2.54, 0, "2 cm"), ("°F", 1.8, 32, "2 °C"),
    ("K", 1, 273.15, "2 °C")])
def test_whole_readings_in_another_unit_have_one_answer(unit, times, zero, claim):
    rng = np.random.default_rng(2)
    subject, x = np.repeat(np.arange(15), 3), np.round(30 + 5 * rng.normal(size=45))
    y = np.round(x + 1.2 + 0.3 * rng.normal(size=45))
    found = []
    for own, by, add in ((claim[2:], 1.0, 0.0), (unit, times, zero)):
        table = {"subject": subject, f"x_{own}": x * by + add, f"y_{own}": y * by + add}
        check = check_trials(pair_trials(table, by="subject", reference_column=f"x_{own}", device_column=f"y_{own}"),
                             claim)
        found.append(([item.verdict for item in check.meanings],
                      [end / check.scaled.limit for end in (check.bias.low, check.bias.high)]))
    assert found[0][0] == found[1][0]
    assert found[0][1] == pytest.approx(found[1][1], rel=1e-9)


# LEAST_DISTINCT of common_step
@pytest.mark.parametrize(("distinct", "step"), [(4, 1.0), (5, 10.0)])
def test_few_readings_tell_no_step_but_their_decimal(distinct, step):
    assert common_step(10.0 * np.arange(distinct), 10.0 * np.arange(distinct)[::-1]) == step


# LEAST_SUBJECTS of skewed_mean
@pytest.mark.parametrize(("subjects", "wider"), [(2, False), (3, True)])
def test_subjects_of_which_a_skew_can_be_told(subjects, wider):
    errors = subject_errors(np.array([0.1, 0.2, 1.7])[:subjects], np.arange(subjects))
    plain, skewed = mean_error(errors, 0.95), skewed_mean_error(errors, 0.95)
    assert (skewed.high > plain.high) == wider
    assert skewed.low <= plain.low


def test_points_of_the_reference_are_points_of_the_error():
    rng = np.random.default_rng(3)
    left = 48 + rng.normal(0, 1.5, 40)
    trials = pair_trials({"subject": np.arange(40), "a (%)": left, "b (%)": left + 0.4 + rng.normal(0, 0.3, 40)},
                         by="subject", reference_column="a (%)", device_column="b (%)")
    check = check_trials(trials, "1 point", reference_uncertainty="0.5 points k=2")
    assert (check.unit, check.reference_u) == ("points", 0.25)  # not 0.25/48 of a hundred
    assert "points" in check.summary().split("mean error")[2]


def test_the_size_of_errors_that_show_nothing():
    # Normal errors of SD 0.7 steps: half of them show 0, and the mean size shown is 0.05 steps too small.
    z = special.ndtri((np.arange(400) + 0.5) / 400) * 0.7
    error = np.round(z)[np.random.default_rng(1).permutation(400)]
    check = check_trials(paired(error, np.tile(LEVEL, 10), each=4), "2 cm", meaning="mean_absolute")
    item = check.answer.estimate
    assert np.abs(z).mean() - item.value == pytest.approx(0.05, abs=0.01)
    assert item.high - item.value >= 0.1 * (error == 0).mean() > 0.05


@pytest.mark.parametrize(("subjects", "away"), [(3, 0.708), (4, 0.602), (6, 0.5), (30, 0.5)])
def test_few_subjects_with_equal_errors_by_chance(subjects, away):
    bias = check_trials(paired(np.ones(8 * subjects), LEVEL[:1].repeat(8 * subjects) + np.arange(8 * subjects), each=8),
                        "3 cm").bias
    assert bias.high - 1 == pytest.approx(away, abs=0.001)
