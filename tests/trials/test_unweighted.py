"""The unweighted analysis, by hand and by its properties."""

import numpy as np
import pytest

from agree import SampleSizeError, check_trials, limits_of_agreement, pair_trials
from agree.estimators.trials.level_line import level_line
from agree.estimators.trials.shares_within import binomial_limits, counted_share, effective_trials, normal_share
from agree.estimators.trials.side_by_side import side_by_side
from agree.estimators.trials.unweighted import mean_error, spread_and_limits, subject_errors

ERROR = np.array([1.0, 3.0, 2.0, 2.0, 4.0, 6.0])
SUBJECT = np.array([0, 0, 1, 2, 2, 2])  # means 2, 2, 4; sizes 2, 1, 3


def test_by_hand():
    found = subject_errors(ERROR, SUBJECT)
    # SSW = 1 + 1 + (4 + 0 + 4) = 10 on 6 - 3 degrees of freedom; V of 2, 2, 4 is 4/3; harmonic mean 3/(1/2 + 1 + 1/3).
    assert found.bias == pytest.approx(8 / 3)
    assert found.within == pytest.approx(10 / 3)
    assert found.of_means == pytest.approx(4 / 3)
    harmonic = 3 / (1 / 2 + 1 + 1 / 3)
    assert found.trial_parts[0].coefficient == pytest.approx(1 / harmonic)
    assert sum(p.coefficient * p.square for p in found.parts()) == pytest.approx(4 / 3 + (1 - 1 / harmonic) * 10 / 3)
    assert found.variance() == pytest.approx(10 / 3)  # the floor: below the scatter of a trial itself it cannot be


def test_mean_is_a_t_interval_of_subjects():
    item = mean_error(subject_errors(ERROR, SUBJECT), 0.95)
    # t of 2 degrees of freedom at 97.5 %: 4.302653; SE = sqrt((4/3)/3)
    assert item.high - item.value == pytest.approx(4.302653 * (4 / 9) ** 0.5, rel=1e-6)


def test_one_trial_each_is_the_exact_sd():
    values = np.array([1.0, 2.0, 4.0, 7.0])
    found = subject_errors(values, np.arange(4))
    sd, lower, upper = spread_and_limits(found, mean_error(found, 0.95), 0.95, 0.95)
    # Chi-square of 3 degrees of freedom: 0.2157953 and 9.348404.
    s2 = values.var(ddof=1)
    assert (sd.low, sd.high) == pytest.approx(((3 * s2 / 9.348404) ** 0.5, (3 * s2 / 0.2157953) ** 0.5), rel=1e-6)
    assert upper.value - lower.value == pytest.approx(2 * 1.959964 * s2**0.5, rel=1e-6)


@pytest.mark.filterwarnings("ignore:the errors are not normal")
@pytest.mark.parametrize("step", [0.0, 1.0])
def test_limits_of_one_trial_each_are_those_of_limits_of_agreement(step):
    """Two doors, one figure; with fewer than 8, and with repeats, the method says that errors are taken as normal."""
    rng = np.random.default_rng(2)
    x = np.round(rng.normal(40, 6, 30), 0 if step else 3)
    y = np.round(x + rng.exponential(0.4 if step else 2, 30), 0 if step else 3)
    table = {"subject": [f"p{k:02d}x" for k in range(30)], "x_cm": x, "y_cm": y}
    check = check_trials(pair_trials(table, by="subject", reference_column="x_cm", device_column="y_cm"), "5 cm")
    one = limits_of_agreement(x, y, interval="robust")
    for found, other in ((check.lower, one.lower), (check.upper, one.upper)):
        assert found.value == pytest.approx(other.value)
        if step:  # the mean of trials in whole steps is less sure
            assert other.low - step / 4 < found.low <= other.low < other.high <= found.high < other.high + step / 4
        else:
            assert (found.low, found.high) == pytest.approx((other.low, other.high), rel=1e-9)
        assert other.method.startswith(found.method)
    assert "trials_limits_normal" not in [note.kind for note in check.notes]
    few = {name: column[:7] for name, column in table.items()}
    check = check_trials(pair_trials(few, by="subject", reference_column="x_cm", device_column="y_cm"), "5 cm")
    assert check.upper.method == "MOVER, normal errors"
    assert "95 % limits if normal: " in check.summary()


def test_one_subject_is_refused():
    with pytest.raises(SampleSizeError, match="at least 2 subjects"):
        subject_errors(np.array([1.0, 2.0]), np.array([0, 0]))


def test_counted_share_needs_72():
    # Printed nowhere: 0.025^(1/n) >= 0.95 solves to n = ln 0.025/ln 0.95 = 71.9.
    assert binomial_limits(1.0, 71, 0.95)[0] < 0.95 <= binomial_limits(1.0, 72, 0.95)[0]


def test_effective_number_between_subjects_and_trials():
    rng = np.random.default_rng(1)
    subject = np.repeat(np.arange(10), 6)
    alone = subject_errors(rng.normal(size=60), subject)
    shared = subject_errors(np.repeat(rng.normal(size=10), 6) + 1e-6 * rng.normal(size=60), subject)
    assert 30 < effective_trials(alone) <= 60
    assert effective_trials(shared) == pytest.approx(10, abs=1e-3)


def test_normal_share_of_one_trial_each_is_the_tolerance_factor():
    # One-sided in effect: with a bias far to one side the lower limit of the share is that of a one-sided tolerance
    # limit; k = 2.566 for n = 15, 95 % of the population, confidence 95 % (printed table, from memory).
    rng = np.random.default_rng(2)
    values = rng.normal(size=15)
    values = (values - values.mean()) / values.std(ddof=1)
    found = subject_errors(values + 100.0, np.arange(15))
    share = normal_share(found, 100.0 + 2.566, 0.90)
    assert share.low == pytest.approx(0.95, abs=0.002)


def test_lattice_gives_one_answer():
    found = subject_errors(ERROR, SUBJECT)
    assert normal_share(found, 5.0, 0.95).to_dict() == normal_share(found, 5.0, 0.95).to_dict()


def test_a_noisy_reference_makes_no_trend():
    # Regression of the error on a noisy reference has slope -var(noise)/var(reading); other trials know nothing of it.
    rng = np.random.default_rng(3)
    subject = np.repeat(np.arange(200), 4)
    level = np.repeat(rng.normal(50, 2, 200), 4)
    x, y = level + rng.normal(0, 2, 800), level + rng.normal(0, 0.1, 800)
    line = level_line(y - x, x, y, subject, 0.95)
    naive = np.polyfit(x, y - x, 1)[0]
    assert naive < -0.4
    assert line.slope.low < 0 < line.slope.high
    assert not line.trend


def test_a_true_trend_is_found_and_its_slope_covered():
    rng = np.random.default_rng(4)
    subject = np.repeat(np.arange(15), 3)
    hits = 0
    for _ in range(100):
        level = np.repeat(rng.normal(50, 8, 15), 3)
        x, y = level + rng.normal(0, 1, 45), 1.1 * level - 5 + rng.normal(0, 1, 45)
        line = level_line(y - x, x, y, subject, 0.95)
        hits += line.slope.low < 0.1 < line.slope.high
    assert hits >= 88  # 95 less 3 standard errors
    assert line.trend


def test_four_subjects_have_no_line():
    assert level_line(ERROR, 10 + ERROR, ERROR, SUBJECT, 0.95) is None


def test_ratio_of_equal_methods_covers_one_and_turns_over():
    rng = np.random.default_rng(5)
    subject = np.repeat(np.arange(12), 4)
    x, y = rng.normal(size=48), 2 * rng.normal(size=48)
    one, other = (side_by_side(*pair, 0.95) for pair in ((x, subject, y, subject), (y, subject, x, subject)))
    assert one.ratio.value == pytest.approx(1 / other.ratio.value)
    assert (one.ratio.low, one.ratio.high) == pytest.approx((1 / other.ratio.high, 1 / other.ratio.low))


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_the_reference_may_err_to_either_side(side):
    """All errors within the limit, and all beyond it if the reference errs away from them: the interval says both."""
    error, subject = side * np.linspace(0.85, 0.95, 24), np.arange(24)
    found = counted_share(error, np.ones(24), subject, subject_errors(error, subject), 0.95, shift=0.2)
    assert (found.value, found.low) == (1.0, 0.0)
