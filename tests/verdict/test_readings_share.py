"""The share of readings within the claim: how many windows count, and from which width on it holds."""

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter

from agree import Claim, Estimate, Pairs, pair_recordings
from agree.verdict.columns import Windows, table
from agree.verdict.meanings import share_within, shortest_width
from agree.verdict.reference import ReferenceUncertainty

EXACT = ReferenceUncertainty.parse(None)


def share(low, high, windows=400.0):
    return Estimate(value=(low + high) / 2, low=low, high=high, level=0.95, method="binomial", df=windows)


def test_every_longer_width_must_hold():
    holds, fails, unsettled, few = share(0.96, 1), share(0.5, 0.7), share(0.9, 0.97), share(0.9, 1, 71)
    assert shortest_width({1: fails, 5: holds, 30: holds}) == 5
    assert shortest_width({1: holds, 5: fails, 30: holds}) == 30  # not "from 1 s on"
    assert shortest_width({1: holds, 5: unsettled, 30: None}) is None
    assert shortest_width({1: holds, 5: holds, 30: few}) == 1  # 71 effective windows cannot show 95 %, 72 can
    assert shortest_width({1: holds, 5: holds, 30: share(0.9, 1, 72)}) is None
    assert math.log(0.025) / math.log(0.95) == pytest.approx(71.9, abs=0.1)


def test_what_counts_is_whether_neighbours_exceed(rng):
    """An error of one size whose sign changes slowly: squares are not alike in neighbours, signs are."""
    n = 7200
    sign = np.where(np.sin(np.arange(n) / 300) > 0, 1.0, -1.0)
    watts = 200 + 40 * np.sin(np.arange(n) / 50)
    device = watts + sign * np.abs(rng.normal(0, 1.0, n))
    data = table(Pairs(reference=watts, device=device), 30)
    item = share_within(data, data.windows(1), Claim.parse("1.5 %"), EXACT, 0.95)
    assert item.df > 2000


@pytest.mark.parametrize("sign", [1, -1])
def test_the_references_error_may_lie_on_either_side(sign, rng):
    """All errors on one side of 0, near the limit: the reference may be too high as well as too low."""
    watts = 200 + 40 * np.sin(np.arange(3600) / 50)
    device = watts * (1 + sign * 0.012 + rng.normal(0, 0.001, 3600))
    data = table(Pairs(reference=watts, device=device), 30)
    exact, unsure = (share_within(data, data.windows(1), Claim.parse("1.5 %"), ReferenceUncertainty.parse(text), 0.95)
                     for text in (None, "1 %"))
    assert exact.low > 0.95
    assert unsure.low < 0.05


@pytest.mark.parametrize("sessions", [2])
def test_two_sessions_do_not_show_that_all_will_do(sessions):
    """Sessions that differ by SD 1 %: 87 % of them lie within 1.5 %, whatever two of them show."""
    wrong, runs = 0, 200
    for seed in range(runs):
        rng = np.random.default_rng(seed)
        pairs = []
        for _ in range(sessions):
            watts = 200 + 40 * np.sin(np.arange(900) / 50 + rng.uniform(0, 6))
            pairs.append(Pairs(reference=watts, device=watts * (1 + 0.01 * rng.normal()) + rng.normal(0, 0.4, 900)))
        data = table(pairs, 30)
        item = share_within(data, data.windows(1), Claim.parse("1.5 %"), EXACT, 0.95)
        wrong += item.low >= 0.95
    assert wrong / runs <= 0.025 + 3 * math.sqrt(0.025 * 0.975 / runs)


def of_sessions(rng, lengths, between, within, shares=None):
    """Share of readings of sessions of so many readings, whose errors differ so, within limits that hold 95 %."""
    session = np.repeat(np.arange(len(lengths)), lengths)
    error = between * rng.normal(size=len(lengths))[session] + within * rng.normal(size=session.size)
    if shares is not None:
        error = np.concatenate([np.repeat([0.0, 9.0], [round(k * n), n - round(k * n)])
                                for k, n in zip(shares, lengths, strict=True)])
    windows = Windows(np.full(error.size, 100.0), 100 + error, session * 0.0, session, 30)
    claim = Claim.parse(f"{1.959964 * math.hypot(between, within)} %")
    return share_within(SimpleNamespace(sampling="sessions", sessions=len(lengths)), windows, claim, EXACT, 0.95)


@pytest.mark.parametrize("lengths", [(60, 60, 60), (60,) * 5, (40, 40, 40, 360)])
def test_few_sessions_that_are_alike_by_chance_do_not_hold(lengths, rng):
    """95 % of all readings lie inside, the most that does not hold; three alike sessions said 99 % in one of nine."""
    runs = 150
    wrong = sum(of_sessions(rng, lengths, 1.0, 1.0).low >= 0.95 for _ in range(runs)) / runs
    assert wrong <= 0.025 + 3 * math.sqrt(0.025 * 0.975 / runs)


def test_sessions_weigh_in_the_share_as_they_do_in_the_mean(rng):
    """Of 20 and 180 min with 60 and 90 % inside: weights 20/25 and 180/185, not 1 to 9."""
    item = of_sessions(rng, (40, 360), 1.0, 1.0, (0.6, 0.9))
    assert item.value == pytest.approx((0.8 * 0.6 + 180 / 185 * 0.9) / (0.8 + 180 / 185))


def half_a_second_apart(rng, lag_s):
    """Stop and go, sampled eight times a second: an exact device whose seconds begin half a second later."""
    parts = [np.repeat([rng.uniform(150, 280), 0.0], [8 * int(rng.integers(25, 90)), 8 * int(rng.integers(5, 40))])
             for _ in range(45)]
    fine = np.concatenate(parts)[:8 * 3000]
    late = np.r_[np.zeros(4), fine[:-4]]
    if lag_s:
        late = lfilter([1 - math.exp(-1 / (8 * lag_s))], [1, -math.exp(-1 / (8 * lag_s))], late)
    columns = []
    for power in (fine, late):
        mean = power.reshape(-1, 8).mean(axis=1)
        columns.append(pd.DataFrame({"time_s": np.arange(mean.size), "power_W": np.rint(np.where(
            mean > 0.5, np.maximum(mean + rng.normal(0, 2, mean.size), 0), 0))}))
    return pair_recordings(*columns)


@pytest.mark.parametrize(("lag_s", "inside"), [(0, True), (3, False)])
def test_readings_of_an_exact_device_do_not_fail_for_the_phase_of_its_seconds(rng, lag_s, inside):
    """Half a second between two recorders failed a third of an exact device's readings; a slow device still fails."""
    data = table(half_a_second_apart(rng, lag_s), 30)
    found = share_within(data, data.windows(30), Claim.parse("1.5 %"), EXACT, 0.95)
    assert (found.value > 0.95) is inside
    assert (found.high < 0.95) is not inside
