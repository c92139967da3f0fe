"""Thresholds of quantities other than power, each tried just inside and just outside; its name stands beside it."""

import numpy as np
import pytest
from scipy import optimize, special

from agree import Claim
from agree.core.interval.engine import spread
from agree.core.quantities.known import quantity
from agree.estimators.trials.shares_within import normal_share
from agree.estimators.trials.unweighted import SubjectErrors
from agree.quantities.answer import share_of_small_errors
from agree.quantities.delays import delay
from agree.quantities.delays.lag_curve import nearest_peak
from agree.quantities.faults import find_trace_faults
from agree.quantities.overlay import Overlay, lay_over
from agree.verdict.columns import Windows

T = np.arange(1200.0)
STRAP = np.round(130 + 10 * np.sin(T / 60))


def kinds(device, reference=STRAP, of="heart rate", steps=None):
    over = lay_over((T, reference), (T, device), quantity(of), absolute=True,
                    shadow=None if steps is None else (T, steps))
    return {fault.kind for fault in find_trace_faults(over)}


@pytest.mark.parametrize(("gap", "away", "seconds", "found"), [
    (3, 12, 30, True), (3.1, 12, 30, False), (3, 8.1, 30, True), (3, 8, 30, False), (3, 12, 29, False)])
# LOCK_NEAR, LOCK_AWAY, LOCK_S
def test_lock(gap, away, seconds, found):
    device = STRAP.copy()
    device[500:500 + seconds] = STRAP[500:500 + seconds] + away
    assert ("cadence_lock" in kinds(device, steps=STRAP + away - gap)) == found


# HALF_NEAR, HALF_S
@pytest.mark.parametrize(("ratio", "seconds", "found"), [(0.524, 5, True), (0.526, 5, False), (0.524, 4, False)])
def test_half(ratio, seconds, found):
    flat = np.full(T.size, 150.0)
    device = flat.copy()
    device[300:300 + seconds] = ratio * 150
    assert ("half_or_double" in kinds(device, flat)) == found


# FROZEN_LONG_S
@pytest.mark.parametrize(("seconds", "found"), [(20, True), (19, False)])
def test_frozen(seconds, found):
    moving = 130 + np.round(20 * np.sin(T / 8))
    device = moving + (T % 2)
    device[300:300 + seconds] = 131
    device[[299, 300 + seconds]] = 120, 121
    assert ("lost_contact" in kinds(device, moving)) == found


# EXCHANGED_POINTS
@pytest.mark.parametrize(("share", "found"), [(51.05, True), (50.95, False)])
def test_exchanged(share, found):
    # Both ways and about 50: no one offset does that.
    reference = 50 + (share - 50) * np.array([1.0, 0.0, -1.0, 0.0])[(T // 100).astype(int) % 4]
    assert ("sides_exchanged" in kinds(100 - reference, reference, "balance")) == found


# SPREAD_MARGIN
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
    assert (share_of_small_errors(windows, Claim.parse("1 cm"), "serial", 0.95) >= 0.95) == settled


# FAR_LAG_FIT
@pytest.mark.parametrize(("fit", "lag"), [(0.71, -400), (0.69, 0)])
def test_a_far_lag_must_be_a_good_one(fit, lag):
    lags = np.arange(-600, 601)
    curve = np.where(lags == -400, fit, np.where(lags == 0, 0.3, 0.0))
    assert lags[nearest_peak(lags, curve)] == lag


# AVERAGING_GAIN
@pytest.mark.parametrize(("left", "named"), [(0.81, False), (0.79, True)])
def test_averaging_is_named_from_what_it_leaves(monkeypatch, left, named):
    monkeypatch.setattr(delay, "_best", lambda x, y, everywhere: (0.0, 0.1, 0.9))
    monkeypatch.setattr(delay, "_best_fit", lambda x, y, lag: 1 - 0.1 * left)  # of a misfit of 0.1 without averaging
    t = np.arange(900.0)
    wave = 130 + 20 * np.sin(t / 30)
    seen = lay_over((t, wave), (t, wave + np.cos(t)), quantity("heart rate"), absolute=True)
    assert (delay.find_delay(seen).averaged_s > 1) == named


# ALIKE_PEAKS
@pytest.mark.parametrize(("rival", "lag"), [(1.95, 20), (2.15, -114)])
def test_the_nearer_of_peaks_about_as_high(rival, lag):
    # At -114 s the misfit is 0.1. A peak nearer to 0 is taken up to twice that, and a hundredth for rounding.
    lags = np.arange(-120, 121)
    curve = np.where(lags == -114, 0.9, np.where(lags == 20, 1 - 0.1 * rival, 0.0))
    assert lags[nearest_peak(lags, curve)] == lag


# MOST_LAG_SE_S
@pytest.mark.parametrize(("se", "told"), [(4.95, True), (5.05, False)])
def test_a_lag_that_is_hardly_known_is_not_told(monkeypatch, se, told):
    monkeypatch.setattr(delay, "_best", lambda x, y, everywhere: (40.0, se, 0.9))
    t = np.arange(900.0)
    wave = 130 + 20 * np.sin(t / 30) + np.random.default_rng(1).normal(0, 1, (2, 900))
    seen = lay_over((t, wave[0]), (t, wave[1]), quantity("heart rate"), absolute=True)
    assert np.isfinite(delay.find_delay(seen).lag_s) == told


def lagging(monkeypatch, lag, se, reference=None, steps=(0.0, 0.0)):
    """Delay of a strap on clocks set by satellite, whose lag and standard error are given."""
    monkeypatch.setattr(delay, "_best", lambda x, y, everywhere: (lag, se, 0.9))
    trace = 130 + 20 * np.sin(np.arange(900.0) / 30) if reference is None else reference
    return delay.find_delay(Overlay(reference=trace, device=trace, shadow=None, quantity=quantity("heart rate"),
                                    absolute=True, steps=steps))


# DELAY_CERTAIN_S
@pytest.mark.parametrize(("lag", "owner"), [(2.25, "device"), (2.15, "unknown"), (-2.25, "device"), (-2.15, "unknown")])
def test_a_lag_that_clocks_do_not_explain(monkeypatch, lag, owner):
    assert lagging(monkeypatch, lag, 0.1).belongs_to == owner  # 0.196 s of it may be chance


# ROUNDING_LAG
@pytest.mark.parametrize(("step", "told"), [(28.5, True), (30.2, False)])
def test_rounding_leaves_a_lag_unknown(monkeypatch, step, told):
    # Changes of 0.88 a second, as a rule: a step of 29.3 moves the lag by 0.15 * 29.3/0.88 = 5 s, the most told.
    trace = 130 + 40 * np.sin(np.arange(2000.0) / 24)
    assert np.isfinite(lagging(monkeypatch, 1.0, 0.0, trace, (step, step)).lag_s) == told
