"""What may be partial beside a slow trace, and how such runs are weighed: both sides of each limit."""

import numpy as np
import pytest

from agree.estimators.response.kernels import Kernel
from agree.faults.behind_slow.candidates import Maybe, maybe_faulty
from agree.faults.behind_slow.explain import jumps
from agree.faults.behind_slow.joint import most_likely, starts

BY = Kernel(0, np.full(20, 0.05))


@pytest.mark.parametrize(("readings", "found"), [
    pytest.param([149, *[110] * 9], True, id="MAYBE_JUMPS down"),
    pytest.param([151, *[110] * 9], False, id="MAYBE_JUMPS down"),
    pytest.param([*[110] * 9, 153], True, id="MAYBE_JUMPS up"),
    pytest.param([*[110] * 9, 155], False, id="MAYBE_JUMPS up"),
    pytest.param([159, 100], True, id="MAYBE_LOW"), pytest.param([161, 100], False, id="MAYBE_LOW"),
    pytest.param([149, 206, 206, *[80] * 9], True, id="MAYBE_WIDER first"),
    pytest.param([149, 207, 207, *[80] * 9], False, id="MAYBE_WIDER first"),
    pytest.param([*[80] * 9, 206, 206, 149], True, id="MAYBE_WIDER last"),
    pytest.param([*[80] * 9, 207, 207, 149], False, id="MAYBE_WIDER last")])
def test_a_run_that_may_be_partial(readings, found):
    """Beside 200 W."""
    x = np.full(200, 200.0)
    x[100:100 + len(readings)] = readings
    spans = [(one.start, one.stop) for one in maybe_faulty(x, x) if one.kind in ("partial", "short")]
    assert ((100, 100 + len(readings)) in spans) == found


def faulty(x, full, noise, seed):
    y = np.convolve(full, BY.weights)[:x.size] + noise * np.random.default_rng(seed).normal(size=x.size)
    return sum(one.faulty for one in most_likely(x, y, BY, maybe_faulty(x, x)).runs)


def wave(seconds):
    return 200 + 5 * np.sin(np.arange(seconds) / 9)


@pytest.mark.parametrize(("share", "times"), [pytest.param(0.7, 5, id="MAYBE_SPREAD"),
                                              pytest.param(0.5, 1, id="MAYBE_SPREAD")])
def test_how_far_the_size_of_a_partial_run_may_be_from_expected(share, times):
    """A half for 4 s, of which so much is shown beside noise of 12 W: three and five SD of sizes less than all."""
    x = wave(600)
    x[300:304] /= 2
    full = x.copy()
    full[300:304] *= 1 + share
    assert sum(faulty(x, full, 12.0, seed) for seed in range(5)) == times


@pytest.mark.parametrize(("others", "least", "most"), [pytest.param(4, 4, 5, id="MAYBE_COMMON"),
                                                       pytest.param(2, 0, 1, id="MAYBE_COMMON")])
def test_faults_that_tell_how_common_they_are(others, least, most):
    """A second that is lost, with noise of 14 W (3.2 standard errors), and others of 4 s that are sure."""
    x = wave(1400)
    full, starts = x.copy(), 200 + 200 * np.arange(others + 1)
    for start, lost in zip(starts, [*[4] * others, 1], strict=True):
        x[start:start + lost] = 0
    assert least <= sum(faulty(x, full, 14.0, seed) - others for seed in range(5)) <= most


@pytest.mark.parametrize(("late", "seconds"), [pytest.param(0.009, 599, id="SLOW_HISTORY"),
                                               pytest.param(0.011, 499, id="SLOW_HISTORY")])
def test_seconds_whose_history_is_known(late, seconds):
    """A filter of which so much comes 100 s late: less than a hundredth may be from before the begin."""
    by = Kernel(0, np.r_[1 - late, np.zeros(99), late])
    assert most_likely(wave(600), wave(600), by, []).seconds == seconds


@pytest.mark.parametrize(("seconds", "hidden"), [pytest.param(65, 61, id="SLOW_JUMP_S"),
                                                 pytest.param(66, 0, id="SLOW_JUMP_S")])
def test_how_long_a_slow_trace_may_be_between_two_jumps(seconds, hidden):
    y = np.full(300, 200.0)
    y[100:100 + seconds] = 100.0
    assert jumps(y)[102:98 + seconds].sum() == hidden  # single readings at its ends may be faults too


def test_short_zeros_alone_are_one_of_the_starts():
    """A ride with 99 s lost one by one and 351 short halves of its own: 0.9 points off without it, 0.2 with it."""
    some = [Maybe(kind, 10 * k, 10 * k + long, np.zeros(long), 0.1) for k, (kind, long) in enumerate((
        ("short", 1), ("dropout", 2), ("dropout", 20), ("dropout", 40)))]
    assert [mask.tolist() for mask in starts(some, np.array([True, True, False, False]))] == [
        [False] * 4, [True, True, False, False], [True, True, True, False], [False, True, False, False]]
    assert len(starts(some[:1], np.array([True]))) == 2
