"""Faults of a sharp trace beside one that averages over half a minute and more: found by energy, all at once."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import linear_filter
from agree.estimators.response.nonlinear.any_filter import through
from agree.faults.behind_slow import joint
from agree.faults.behind_slow.bridge import answered_over
from agree.faults.behind_slow.candidates import maybe_faulty
from agree.faults.behind_slow.coasting import falling
from agree.faults.behind_slow.explain import kind_of
from agree.faults.behind_slow.filter_and_faults import explained_by_filter, much_slower
from agree.faults.behind_slow.joint import Choice, best_of, in_doubt, most_likely
from agree.faults.behind_slow.refine_filter import refined
from agree.faults.set_aside import set_aside

RIDE = Path(__file__).parent.parent / "data" / "rides" / "single-road-78min.csv"
LENGTH = 1500


def mean(x, width):
    return lfilter(np.full(width, 1 / width), [1], x)


def lag(x, tau):
    keep = np.exp(-1 / tau)
    return lfilter([1 - keep], [1, -keep], x)


@pytest.fixture(scope="module")
def ride():
    rows = pd.read_csv(RIDE)
    second = (rows["time_s"] - rows["time_s"].iloc[0]).to_numpy(int)
    true = np.zeros(second[-1] + 1)
    true[second] = np.nan_to_num(rows["power_W"])
    return true[600:600 + LENGTH]


def strewn(x, rng):
    """A twentieth of the seconds lost."""
    x = x.copy()
    x[rng.choice(np.flatnonzero(x > 20), round(0.05 * (x > 20).sum()), replace=False)] = 0
    return x


def halved(x, rng):
    """A fifth of the seconds at a half or a quarter, in runs of 3 to 60 s."""
    y, start = x.copy(), 40
    while start < x.size - 120:
        stop = start + int(rng.integers(3, 61))
        if (x[start:stop] > 20).all():
            y[start:stop] = np.rint(x[start:stop] * rng.choice([0.5, 0.25]))
            start = stop + int(rng.integers(60, 100))
        start += 10
    return y


def recorded(ride, exact):
    """The ride twice: with noise of 5 W, and what a slow device shows of it with noise of 4 W."""
    rng = np.random.default_rng(3)
    x = np.rint(np.where(ride > 0, np.maximum(ride + rng.normal(0, 5, ride.size), 1), 0))
    return x, np.rint(np.maximum(exact + rng.normal(0, 4, ride.size), 0) * (exact >= 0.5)), rng


def test_the_mean_beside_a_slow_device_is_right(ride):
    x, y, rng = recorded(ride, mean(ride, 30))
    setting = set_aside(strewn(x, rng), y)
    used = setting.reason == ""
    u, v = setting.matched.reference[used], setting.matched.device[used]
    assert setting.matched.smoother == "device"
    assert used.sum() > 0.85 * ride.size
    lost = sum(one.stop - one.start for one in setting.faults if (one.kind, one.side) == ("dropout", "reference"))
    assert lost > 0.9 * 0.05 * (x > 20).sum()
    assert abs(100 * (v.sum() / u.sum() - 1)) < 0.2  # 4 points before all were weighed at once


def test_faults_are_found_with_the_filter(ride):
    x, y, rng = recorded(ride, lag(ride, 20))
    faulty = halved(x, rng)
    nowhere = np.zeros(x.size, bool)
    made, right = explained_by_filter(faulty, y, linear_filter(faulty, y), (nowhere, nowhere), ("partial", "spike"))
    assert (made.smoother, right.role) == ("device", "reference")
    assert {kind_of(one.run) for one in right.faults} == {"partial"}
    assert (right.changed & (faulty != x)).sum() > 0.9 * (faulty != x).sum()
    assert abs(right.trace.sum() / x.sum() - 1) < 0.005


def test_nothing_is_told_where_nothing_is_wrong(ride):
    x, y, _ = recorded(ride, lag(ride, 45))
    nowhere = np.zeros(x.size, bool)
    _, right = explained_by_filter(x, y, linear_filter(x, y), (nowhere, nowhere), ("dropout", "partial", "spike"))
    assert not right.faults
    assert right.unsure == (0.0, 0.0)


def flat(start, stop, level, seconds=300):
    x = np.full(seconds, 200.0)
    x[start:stop] = level
    return x


@pytest.mark.parametrize(("level", "share"), [
    pytest.param(143.0, 0.5, id="MAYBE_PARTIAL_SHARES half"), pytest.param(145.0, None, id="MAYBE_PARTIAL_SHARES half"),
    pytest.param(31.0, 0.25, id="MAYBE_PARTIAL_SHARES least"),
    pytest.param(29.0, None, id="MAYBE_PARTIAL_SHARES least")])
def test_what_may_be_partial(level, share):
    found = [one for one in maybe_faulty(flat(100, 101, level), np.full(300, 200.0)) if one.stop - one.start == 1]
    assert [one.adds.sum() for one in found] == ([] if share is None else [level * (1 / share - 1)])


@pytest.mark.parametrize(("seconds", "count"), [pytest.param(300, 1, id="MAYBE_PARTIAL_S"),
                                                pytest.param(301, 0, id="MAYBE_PARTIAL_S")])
def test_how_long_a_partial_run_may_be(seconds, count):
    some = maybe_faulty(flat(100, 100 + seconds, 100.0, 600), np.full(600, 200.0))
    found = [one for one in some if one.kind == "partial"]
    assert [(one.start, one.stop) for one in found] == [(100, 100 + seconds)] * count


@pytest.mark.parametrize(("seconds", "usual"), [pytest.param(30, 200.0, id="MAYBE_FILL_S"),
                                                pytest.param(31, 150.0, id="MAYBE_FILL_S")])
def test_long_zeros_are_filled_by_what_is_usual(seconds, usual):
    found, = maybe_faulty(flat(100, 100 + seconds, 0.0), np.full(300, 150.0))
    assert found.kind == "dropout"
    assert found.adds.tolist() == [usual] * seconds


BY = Kernel(0, np.full(20, 0.05))


def chosen(energy, noise, seed=1):
    """Runs that are faulty where a lost second at 200 W shows so much energy, W s, beside noise, W."""
    rng = np.random.default_rng(seed)
    x = 200 + 5 * np.sin(np.arange(600) / 9)
    x[300] = 0.0
    full = x.copy()
    full[300] = energy
    y = np.convolve(full, BY.weights)[:600] + noise * rng.normal(size=600)
    return [one.run.kind for one in most_likely(x, y, BY, maybe_faulty(x, x)).runs if one.faulty]


@pytest.mark.parametrize(("energy", "faulty"), [pytest.param(80.0, [], id="MAYBE_LEAST"),
                                                pytest.param(120.0, ["dropout"], id="MAYBE_LEAST")])
def test_half_of_the_energy_must_be_shown(energy, faulty):
    assert chosen(energy, 0.05) == faulty


@pytest.mark.parametrize(("noise", "faulty"), [pytest.param(8.0, ["dropout"], id="MAYBE_ODDS"),
                                               pytest.param(13.0, [], id="MAYBE_ODDS")])
def test_one_fault_must_be_sure(noise, faulty):
    # Its 10 W over 20 s are 5.6 and 3.4 standard errors.
    assert [chosen(200.0, noise, seed) for seed in range(5)].count(faulty) >= 4


@pytest.mark.parametrize(("more", "apart", "unsure"), [
    pytest.param(29.9, 0.0021, True, id="MAYBE_DOUBT"), pytest.param(30.1, 0.0021, False, id="MAYBE_DOUBT"),
    pytest.param(5.0, 0.0021, True, id="RATIOS_ALIKE"), pytest.param(5.0, 0.0019, False, id="RATIOS_ALIKE")])
def test_other_faults_may_be_as_likely(more, apart, unsure):
    one, other = Choice((), 1.0, 100.0, 1.0, 1.0), Choice((), 1 + apart, 100.0 + more, 1 + apart, 1 + apart)
    assert best_of([other, one]).unsure == unsure


@pytest.mark.parametrize(("hidden", "known"), [pytest.param(4, True, id="BRIDGED_SHARE"),
                                               pytest.param(5, False, id="BRIDGED_SHARE")])
def test_a_fifth_may_be_unknown(hidden, known):
    x, at = np.full(100, 200.0), np.isin(np.arange(100), 40 + 2 * np.arange(hidden))
    x[at] = np.nan
    assert np.isfinite(answered_over(x, at, BY)[50]) == known


@pytest.mark.parametrize(("seconds", "known"), [pytest.param(15, True, id="BRIDGED_S"),
                                                pytest.param(16, False, id="BRIDGED_S")])
def test_a_line_reaches_over_some_seconds(seconds, known):
    x = np.full(300, 200.0)
    x[100:100 + seconds] = np.nan
    assert np.isfinite(answered_over(x, np.isnan(x), Kernel(0, np.full(100, 0.01)))[150]) == known


@pytest.mark.parametrize(("ratio", "rough", "slower"), [
    pytest.param(1.85, 0.0, "device", id="SLOW_CHANGES"), pytest.param(1.75, 0.0, "", id="SLOW_CHANGES"),
    pytest.param(1.2, 0.9, "device", id="SLOW_CHANGES rough"), pytest.param(1.2, 0.1, "", id="SLOW_CHANGES rough")])
def test_a_slow_trace_changes_less(ratio, rough, slower):
    wave = 30 * np.sin(np.arange(2000) / 20)
    x = 200 + wave + rough * 5 * np.tile([1.0, -1.0], 1000)
    assert much_slower(x, 200 + wave / ratio) == slower
    assert much_slower(200 + wave / ratio, x) == slower.replace("device", "reference")


@pytest.mark.parametrize(("period", "slower"), [
    pytest.param(9, "reference", id="SLOW_APART_S"), pytest.param(10, "device", id="SLOW_APART_S"),
    pytest.param(11, "reference", id="SLOW_APART_S")])
def test_changes_within_10_s_tell_which_trace_is_slow(period, slower):
    """Waves of one period of so many seconds come back after them: they are no change, however fast they are."""
    t = np.arange(1980)
    x, y = (200 + size * np.sin(2 * np.pi * t / every) for size, every in ((10, 20), (50, period)))
    assert much_slower(x, y) == slower


@pytest.mark.parametrize(("after", "found"), [pytest.param(7, 1, id="COAST_BESIDE_S"),
                                              pytest.param(8, 0, id="COAST_BESIDE_S")])
def test_zeros_beside_which_the_other_trace_falls(after, found):
    zero = np.zeros(60, bool)
    zero[30:33] = True
    other = np.full(60, 200.0)
    other[33 + after:] = 100.0
    assert len(falling(zero, np.where(zero, 0.0, 200.0), other)) == found


def many_halves(halves):
    """Halves of one second strewn over 15 min, beside a lag of 45 s and noise of 4 W: each is 2.6 standard errors."""
    rng = np.random.default_rng(3)
    full = 200 + 10 * np.sin(np.arange(900) / 9) + rng.normal(0, 3, 900)
    x, by = full.copy(), lag_of(45)
    x[50 + rng.choice(400, halves, replace=False) * 2] /= 2
    y = through(full, by) + 4 * rng.normal(size=900)
    some = maybe_faulty(x, x)
    return x, y, by, some, most_likely(x, y, by, some)


def lag_of(tau):
    keep = np.exp(-1 / tau)
    weights = keep ** np.arange(300)
    return Kernel(0, weights / weights.sum())


@pytest.mark.parametrize(("halves", "found"), [pytest.param(60, 60, id="MAYBE_ODDS_LEAST"),
                                               pytest.param(0, 0, id="MAYBE_ODDS_LEAST")])
def test_where_next_to_all_that_may_be_faulty_are_each_is_likely(halves, found):
    """With even odds a tenth would be left in."""
    assert many_halves(halves)[-1].faulty_s == found


def test_runs_that_the_slow_trace_does_not_tell_leave_the_ratio_in_doubt(monkeypatch):
    """MAYBE_WEAK: the more such runs there are, the more may be left."""
    given = many_halves(25)
    near = in_doubt(*given)
    assert near.lowest < 1.0 < near.highest
    monkeypatch.setattr(joint, "MAYBE_WEAK", 2.0)
    far = in_doubt(*given)
    assert far.lowest < near.lowest < near.highest < far.highest


def test_a_lag_over_most_of_a_minute_is_made_exact(ride):
    x, y, _ = recorded(ride, lag(ride, 45))
    rough = linear_filter(x, y)
    made = refined(rough, x, y)
    assert made.choice.size.value == pytest.approx(45, abs=1.0)
    assert abs(made.choice.size.value - 45) < abs(rough.choice.size.value - 45)
    assert made.choice.size.high - made.choice.size.low == pytest.approx(
        rough.choice.size.high - rough.choice.size.low)
