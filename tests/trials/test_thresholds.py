"""Thresholds of trials and of quantities, each tried just inside and just outside."""

import numpy as np
import pytest
from scipy import optimize, special

from agree import Claim, check_trials, pair_trials
from agree.core.interval.engine import spread
from agree.core.quantities.known import quantity
from agree.estimators.trials.shares_within import normal_share
from agree.estimators.trials.unweighted import SubjectErrors
from agree.quantities import delay
from agree.quantities.answer import errors_are_small
from agree.quantities.faults import find_trace_faults
from agree.quantities.lag_curve import nearest_peak
from agree.quantities.overlay import lay_over
from agree.trials.remarks import skewness
from agree.verdict.columns import Windows


def checked(error, claim, *, each=1, level=None, **options):
    subject = np.repeat(np.arange(len(error) // each), each)
    x = np.full(len(error), 40.0) if level is None else np.asarray(level, float)
    table = {"subject": [f"{k:03d}" for k in subject], "x_cm": x, "y_cm": x + np.asarray(error)}
    trials = pair_trials(table, by="subject", reference_column="x_cm", device_column="y_cm")
    return check_trials(trials, claim, **options)


def noted(check):
    return {note.kind for note in check.notes}


@pytest.mark.parametrize(("score", "named"), [(2.99, False), (3.01, True)])
def test_skew(score, named):
    z = np.linspace(-2, 2, 40)
    a = optimize.brentq(lambda a: skewness(z + a * np.exp(2 * z)) - score, 0, 50)
    assert ("trials_skewed" in noted(checked(z + a * np.exp(2 * z), "5 cm"))) == named


@pytest.mark.parametrize(("at", "named"), [(1.86, True), (1.89, False)])
@pytest.mark.parametrize("side", [1, -1])
def test_few_subjects_do_not_show_a_skew(at, named, side):
    # 16 subjects: an answer must stand 1 + 3.5/4 = 1.875 times its interval to go without a word.
    z = np.linspace(-2, 2, 16)
    half = checked(z, "5 cm").bias.high
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


@pytest.mark.parametrize(("discordant", "named"), [(56, False), (55, True)])
def test_spread_grows(discordant, named):
    # 20 subjects: Kendall's score is (190 - 2 discordant)/30.82, 2.53 and 2.60 around the threshold of 2.58.
    size = 1.0 + 0.1 * permutation(20, discordant)
    error = np.column_stack((size, -size)).ravel()
    check = checked(error, "5 cm", each=2, level=np.repeat(np.linspace(20, 60, 20), 2))
    assert ("trials_spread_grows" in noted(check)) == named


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


@pytest.mark.parametrize(("by", "answer"), [(1.805, "holds"), (1.795, "not settled")])
def test_margin_of_holds(by, answer):
    first = checked(Z, "5 cm")
    check = checked(Z, f"{by * edge(1, 'low', first):.6f} cm", meaning="readings")
    assert (check.verdict, check.of("next_subject").verdict) == (answer, answer)


@pytest.mark.parametrize(("by", "answer"), [(1 / 2.01, "does not hold"), (1 / 1.99, "not settled")])
def test_margin_of_fails(by, answer):
    error = np.repeat(Z, 3) + np.tile([0.1, 0.0, -0.1], 24)
    first = checked(error, "5 cm", each=3)
    check = checked(error, f"{by * edge(3, 'high', first):.6f} cm", each=3, meaning="next_subject", mean_of=3)
    assert check.verdict == answer


@pytest.mark.parametrize(("by", "answer"), [(1 / 1.105, "does not hold"), (1 / 1.095, "not settled")])
def test_margin_of_fails_with_normal_errors(by, answer):
    first = checked(Z, "5 cm")
    check = checked(Z, f"{by * edge(1, 'high', first):.6f} cm", meaning="readings", assume="normal")
    assert check.verdict == answer


T = np.arange(1200.0)
STRAP = np.round(130 + 10 * np.sin(T / 60))


def kinds(device, reference=STRAP, of="heart rate", steps=None):
    over = lay_over((T, reference), (T, device), quantity(of), absolute=True,
                    shadow=None if steps is None else (T, steps))
    return {fault.kind for fault in find_trace_faults(over)}


@pytest.mark.parametrize(("gap", "away", "seconds", "found"), [
    (3, 12, 30, True), (4, 12, 30, False), (3, 9, 30, True), (3, 8, 30, False), (3, 12, 29, False)])
def test_lock(gap, away, seconds, found):
    device = STRAP.copy()
    device[500:500 + seconds] = STRAP[500:500 + seconds] + away
    assert ("cadence_lock" in kinds(device, steps=STRAP + away - gap)) == found


@pytest.mark.parametrize(("ratio", "seconds", "found"), [(0.52, 5, True), (0.53, 5, False), (0.52, 4, False)])
def test_half(ratio, seconds, found):
    flat = np.full(T.size, 150.0)
    device = flat.copy()
    device[300:300 + seconds] = ratio * 150
    assert ("half_or_double" in kinds(device, flat)) == found


@pytest.mark.parametrize(("seconds", "found"), [(20, True), (19, False)])
def test_frozen(seconds, found):
    moving = 130 + np.round(20 * np.sin(T / 8))
    device = moving + (T % 2)
    device[300:300 + seconds] = 131
    device[[299, 300 + seconds]] = 120, 121
    assert ("lost_contact" in kinds(device, moving)) == found


@pytest.mark.parametrize(("share", "found"), [(51.5, True), (51.0, False)])
def test_exchanged(share, found):
    reference = np.full(T.size, share)
    assert ("sides_exchanged" in kinds(100 - reference, reference, "balance")) == found


@pytest.mark.parametrize(("by", "settled"), [(0.99, True), (1.01, False)])
def test_a_constant_error_is_not_widened_with_its_scatter(by, settled):
    # 60 windows, half the limit off: what scatters about that must stay within at 2.6 times its size.
    z = np.random.default_rng(7).permutation(special.ndtri((np.arange(60) + 0.5) / 60))
    z = z - z.mean()
    se = spread(z, "serial", cautious=True).standard_error
    number = int(min(max(z.var(ddof=1) / se**2, 2), 60))
    shape = np.linspace(-1, 1, number)

    def low(sd):
        wide = 2.6 * sd * z.std(ddof=1)
        found = SubjectErrors(means=0.5 + wide * shape / shape.std(ddof=1), of_means=wide**2, trial_parts=(), n=number)
        return normal_share(found, 1.0, 0.95).low - 0.95

    sd = by * optimize.brentq(low, 1e-4, 0.3)
    windows = Windows(np.full(60, 40.0), 40.0 + 0.5 + sd * z, np.arange(60.0), np.zeros(60, int), 30)
    assert errors_are_small(windows, Claim.parse("1 cm"), "serial", 0.95) == settled


@pytest.mark.parametrize(("fit", "lag"), [(0.71, -400), (0.69, 0)])
def test_a_far_lag_must_be_a_good_one(fit, lag):
    lags = np.arange(-600, 601)
    curve = np.where(lags == -400, fit, np.where(lags == 0, 0.3, 0.0))
    assert lags[nearest_peak(lags, curve)] == lag


@pytest.mark.parametrize(("left", "named"), [(0.81, False), (0.79, True)])
def test_averaging_is_named_from_what_it_leaves(monkeypatch, left, named):
    monkeypatch.setattr(delay, "_best", lambda x, y, everywhere: (0.0, 0.1, 0.9))
    monkeypatch.setattr(delay, "_best_fit", lambda x, y, lag: 1 - 0.1 * left)  # of a misfit of 0.1 without averaging
    t = np.arange(900.0)
    wave = 130 + 20 * np.sin(t / 30)
    seen = lay_over((t, wave), (t, wave + np.cos(t)), quantity("heart rate"), absolute=True)
    assert (delay.find_delay(seen).averaged_s > 1) == named


@pytest.mark.parametrize(("rival", "lag"), [(1.95, 20), (2.15, -114)])
def test_the_nearer_of_peaks_about_as_high(rival, lag):
    # At -114 s the misfit is 0.1. A peak nearer to 0 is taken up to twice that, and a hundredth for rounding.
    lags = np.arange(-120, 121)
    curve = np.where(lags == -114, 0.9, np.where(lags == 20, 1 - 0.1 * rival, 0.0))
    assert lags[nearest_peak(lags, curve)] == lag


@pytest.mark.parametrize(("se", "told"), [(4.95, True), (5.05, False)])
def test_a_lag_that_is_hardly_known_is_not_told(monkeypatch, se, told):
    monkeypatch.setattr(delay, "_best", lambda x, y, everywhere: (40.0, se, 0.9))
    t = np.arange(900.0)
    wave = 130 + 20 * np.sin(t / 30) + np.random.default_rng(1).normal(0, 1, (2, 900))
    seen = lay_over((t, wave[0]), (t, wave[1]), quantity("heart rate"), absolute=True)
    assert np.isfinite(delay.find_delay(seen).lag_s) == told
