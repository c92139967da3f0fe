"""Thresholds of tables of trials, each tried just inside and just outside; its name stands beside it."""

import numpy as np
import pytest
from scipy import optimize

from agree import Estimate, check_trials, pair_trials
from agree.core.errors import InputError
from agree.core.quantities.known import quantity
from agree.core.quantities.mixups import mixup
from agree.estimators.trials.shares_within import normal_share
from agree.trials.doubtful import refuse_large_limit, refuse_same
from agree.trials.doubts.remarks import skewness
from agree.trials.doubts.withheld import unread_notes
from agree.trials.meanings import share_verdict
from agree.trials.trials import Trials


def checked(error, claim, *, each=1, level=None, **options):
    subject = np.repeat(np.arange(len(error) // each), each)
    x = np.full(len(error), 40.0) if level is None else np.asarray(level, float)
    table = {"subject": [f"{k:03d}" for k in subject], "x_cm": x, "y_cm": x + np.asarray(error)}
    trials = pair_trials(table, by="subject", reference_column="x_cm", device_column="y_cm")
    return check_trials(trials, claim, **options)


def noted(check):
    return {note.kind for note in check.notes}


# TRIALS_SKEW
@pytest.mark.parametrize(("score", "named"), [(2.99, False), (3.01, True)])
def test_skew(score, named):
    z = np.linspace(-2, 2, 40)
    a = optimize.brentq(lambda a: skewness(z + a * np.exp(2 * z)) - score, 0, 50)
    assert ("trials_skewed" in noted(checked(z + a * np.exp(2 * z), "5 cm"))) == named


# TRIALS_SKEW_MARGIN
@pytest.mark.parametrize(("at", "named"), [(1.46, True), (1.49, False)])
@pytest.mark.parametrize("side", [1, -1])
def test_few_subjects_do_not_show_a_skew(at, named, side):
    # 16 subjects: an answer must stand 1 + 3.8/8 = 1.475 times its interval, with skew allowed for, to go without a
    # word.
    z = np.linspace(-2, 2, 16)
    half = float(checked(z, "5 cm").answer.ground.values["high"])
    for verdict, mean in (("holds", 5 - at * half), ("does not hold", 5 + at * half)):
        check = checked(side * (z + mean), "5 cm")
        assert check.verdict == verdict
        assert ("trials_skew_margin" in noted(check)) == named
        assert ("if errors are strongly skewed" in " ".join(check.summary().split())) == named
    assert "trials_skew_margin" not in noted(checked(z + 5 - at * half, "5 cm", meaning="readings"))
    assert "trials_skew_margin" not in noted(checked(z + 5, "5 cm"))  # not settled as it is


def permutation(count, inversions):
    """Ranks with so many inversions."""
    left, result = list(range(count)), []
    for place in range(count):
        take = min(inversions, count - 1 - place)
        result.append(left.pop(take))
        inversions -= take
    return np.array(result)


# TRIALS_SPREAD_GROWS
@pytest.mark.parametrize(("discordant", "named"), [(56, False), (55, True)])
def test_spread_grows(discordant, named):
    # 20 subjects: Kendall's score is (190 - 2 discordant)/30.82, 2.53 and 2.60 around the threshold of 2.58.
    size = 1.0 + 0.1 * permutation(20, discordant)
    error = np.column_stack((size, -size)).ravel()
    check = checked(error, "5 cm", each=2, level=np.repeat(np.linspace(20, 60, 20), 2))
    assert ("trials_spread_grows" in noted(check)) == named


# TRIALS_NOISY_REFERENCE
@pytest.mark.parametrize(("cv", "named"), [(0.0444, False), (0.0450, True)])
def test_noisy_reference(cv, named):
    # A tenth of 2 % is 0.2 %, the square of 4.47 %.
    noise = np.tile([1, -1], 10) * cv * 40 / 2**0.5
    true = 40 + np.tile([3, 3, -3, -3], 5)  # what subjects did, seen by both: it is nobody's noise
    assert ("trials_noisy_reference" in noted(checked(-noise, "2 %", each=2, level=true + noise))) == named


Z = np.random.default_rng(5).normal(size=24)
Z = 0.1 + 0.3 * (Z - Z.mean()) / Z.std(ddof=1)


def edge(mean_of, end, of):
    """Limit at which the share of normal errors of `of` begins to hold (end "low"), or no longer fails ("high")."""
    errors = of.scaled.errors
    return optimize.brentq(lambda t: getattr(normal_share(errors, t, 0.95, mean_of), end) - 0.95, 0.05, 20)


# TRIALS_HOLDS_MARGIN
@pytest.mark.parametrize(("by", "answer"), [(1.805, "holds"), (1.795, "not settled")])
def test_margin_of_holds(by, answer):
    first = checked(Z, "5 cm")
    check = checked(Z, f"{by * edge(1, 'low', first):.6f} cm", meaning="readings")
    assert (check.verdict, check.of("next_subject").verdict) == (answer, answer)


# TRIALS_FAILS_MARGIN
@pytest.mark.parametrize(("by", "answer"), [(1 / 2.01, "does not hold"), (1 / 1.99, "not settled")])
def test_margin_of_fails(by, answer):
    error = np.repeat(Z, 3) + np.tile([0.1, 0.0, -0.1], 24)
    first = checked(error, "5 cm", each=3)
    check = checked(error, f"{by * edge(2, 'high', first):.6f} cm", each=3, meaning="next_subject", mean_of=2)
    assert check.verdict == answer


# TRIALS_NORMAL_FAILS
@pytest.mark.parametrize(("by", "answer"), [(1 / 1.105, "does not hold"), (1 / 1.095, "not settled")])
def test_margin_of_fails_with_normal_errors(by, answer):
    first = checked(Z, "5 cm")
    check = checked(Z, f"{by * edge(1, 'high', first):.6f} cm", meaning="readings", assume="normal")
    assert check.verdict == answer


# TRIALS_COUNTED_SHARE
@pytest.mark.parametrize(("low", "high", "answer"), [
    (0.951, 1.0, "holds"), (0.949, 1.0, "not settled"), (0.9, 0.951, "not settled"), (0.9, 0.949, "does not hold")])
def test_share_that_a_claim_about_single_trials_means(low, high, answer):
    assert share_verdict(Estimate(value=(low + high) / 2, low=low, high=high, level=0.95, method="t")) == answer


# TRIALS_COARSE_STEP
@pytest.mark.parametrize(("limit", "narrower"), [(0.494, True), (0.504, False)])
def test_steps_coarser_than_a_fiftieth_of_the_limit_move_counts(limit, narrower):
    # Readings to 0.01 cm, one error at the limit but for rounding: part of its step is outside.
    error = np.tile([0.0, 0.01, 0.02, 0.03], 25)
    error[7] = limit - limit % 0.01
    level = 40 + np.arange(100) * 0.01
    low = checked(error, f"{limit} cm", level=level, meaning="readings").answer.estimate.low
    assert (low < 0.025 ** (1 / 100)) == narrower


# TRIALS_FEW_SUBJECTS
@pytest.mark.parametrize(("subjects", "answer"), [(7, "not settled"), (8, "holds")])
def test_few_subjects_do_not_speak_for_others(subjects, answer):
    check = checked(np.tile([0.1, -0.1, 0.05, -0.05], 8)[:4 * subjects], "5 cm", each=4, meaning="next_subject",
                    assume="normal")
    assert (check.verdict, "trials_few_subjects" in noted(check)) == (answer, subjects == 7)


def silent(*missing):
    """Notes where the device has no reading at these levels; where it has, the reference read 0, 1 .. 99."""
    held = np.arange(100.0)
    return unread_notes(Trials(reference=held, device=held, subject=np.arange(100) % 10,
                               subjects=tuple("abcdefghij"), quantity=quantity("cm"), unread=np.array(missing)))


# TRIALS_ONE_END
@pytest.mark.parametrize(("level", "end"), [(90.5, "high"), (88.5, ""), (10.5, ""), (8.5, "low")])
def test_missing_readings_lie_at_one_end(level, end):
    assert silent(*[level] * 50)[0].values["end"] == end


# MOST_LEFT_OUT
@pytest.mark.parametrize(("missing", "told"), [(25, False), (26, True)])
def test_share_of_missing_readings_that_is_told(missing, told):
    assert bool(silent(*[50.0] * missing)) == told  # a fifth of 125, and more than that of 126


# TRIALS_LIMIT_OF_READINGS
def test_a_limit_of_half_the_usual_reading():
    refuse_large_limit(np.full(3, 4.0), 1.99, quantity("cm"))
    with pytest.raises(InputError, match="the usual reading is 4"):
        refuse_large_limit(np.full(3, 4.0), 2.01, quantity("cm"))


# MIXUP_APART: near -40 a temperature is much the same in degrees C and F. MIXUP_NEAR: a kilogram is 2.2046 lb.
@pytest.mark.parametrize(("unit", "reference", "device", "found"), [
    ("°C", -58.6, 1.8 * -58.6 + 32, True), ("°C", -57.9, 1.8 * -57.9 + 32, False),
    ("kg", 70.0, 70 * 2.2046 * 1.049, True), ("kg", 70.0, 70 * 2.2046 * 1.051, False)])
def test_units_mixed_up(unit, reference, device, found):
    assert (mixup(np.full(3, reference), np.full(3, device), unit) is not None) == found


@pytest.mark.parametrize(("distinct", "refused"), [((1.5, 2.5), False), ((1.5, 2.5, 3.5), True)])
def test_readings_that_show_a_method_beside_itself(distinct, refused):
    """LEAST_BROKEN."""
    readings = np.repeat(distinct, 4)
    if refused:
        with pytest.raises(InputError, match="compared with itself"):
            refuse_same(readings, readings, ("one", "two"))
    else:
        refuse_same(readings, readings, ("one", "two"))
