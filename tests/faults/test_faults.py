"""Faults of known position, one by one and in devices made from a real ride."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from agree.core.data.runs import runs
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter
from agree.faults.detect import find_faults
from agree.faults.screen import hide

NO_FILTER = Filter(Kernel(0, np.ones(1)), "device", None)

ROOT = Path(__file__).parent.parent.parent
RIDE = ROOT / "tests" / "data" / "rides" / "single-road-stops.csv"


@pytest.fixture(scope="module")
def bench():
    spec = importlib.util.spec_from_file_location("bench_faults", ROOT / "benchmarks" / "faults.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def judge():
    return np.random.default_rng(1).integers(150, 260, 400).astype(float)


def find(judge, trace):
    """Faults of two traces of one response."""
    return find_faults(judge, trace, NO_FILTER)


def where(faults, kind, role="device"):
    return np.flatnonzero(faults.reason == f"{role}_{kind}").tolist()


def test_clean_trace_has_no_fault(judge):
    faults = find(judge, np.rint(0.97 * judge))
    assert set(faults.reason) == {""}
    assert (faults.found, faults.not_sought) == ((), ())


def test_each_kind_is_found_to_the_second(judge):
    y = np.rint(0.97 * judge)
    y[50] = y[70:77] = 0
    y[100:130] = np.rint(y[100:130] / 2)
    y[150:153] = np.rint(y[150:153] / 4)
    y[200:208] = y[200]
    y[250:252] += 900
    y[300] = np.nan
    judge[350:360] = y[350:360] = 0
    faults = find(judge, y)
    assert where(faults, "dropout") == [50, *range(70, 77)]
    # The judge jumps as much as a half takes, so that only the deeper one shows whose it is.
    assert np.flatnonzero(np.char.endswith(faults.reason, "partial")).tolist() == [*range(100, 130), *range(150, 153)]
    assert faults.reason[150] == "device_partial"
    assert where(faults, "held") == list(range(201, 208))
    assert where(faults, "spike") == [250, 251]
    assert not where(faults, "dropout", "reference")
    assert not faults.reason[[300, *range(350, 360)]].any()
    by_kind = {one.kind: one for one in faults.found}
    assert by_kind["spike"].lost == pytest.approx(-1800, rel=0.05)
    assert by_kind["dropout"].lost == pytest.approx(0.97 * judge[70:77].sum(), rel=0.05)


def test_judge_is_not_blamed_for_faults_of_the_trace(judge):
    y = judge.copy()
    y[50] = y[70:77] = 0
    y[100:130] = np.rint(y[100:130] / 2)
    y[200:208] = y[200]
    y[250:252] += 900
    assert {one.side for one in find(y, judge).found} == {"reference", "either"}


def test_values_that_chance_or_a_steady_judge_repeats_are_not_held(judge):
    rng = np.random.default_rng(3)
    y = np.rint(judge / 20) * 20  # a device that reads in steps of 20 W repeats itself often
    y[50:54] = y[50]
    assert where(find(judge, y), "held") == []
    steady = 200 + rng.normal(0, 1, 400)
    assert where(find(steady, np.rint(steady)), "held") == []
    noisy = np.rint(judge + rng.normal(0, 4, 400))
    noisy[100:110] = noisy[100]
    assert where(find(judge, noisy), "held") == list(range(101, 110))
    noisy[100:103] = judge[100:103] + np.array([1, -2, 3])
    noisy[103:106] = 230  # three seconds are too few
    noisy[106:110] = judge[106:110] + np.array([2, -3, 0, 1])
    assert where(find(judge, noisy), "held") == []


@pytest.mark.parametrize(("over", "found"), [(-8, []), (8, [200])])
def test_a_spike_is_100_w_above_1_5_times_the_largest_beside_it(judge, over, found):
    y = judge.copy()
    y[200] = 1.5 * judge[198:203].max() + 100 + over
    assert where(find(judge, y), "spike") == found


def test_four_seconds_above_everything_are_no_spike(judge):
    y = judge.copy()
    y[100:104] += 900
    assert where(find(judge, y), "spike") == []


def test_two_seconds_of_half_are_not_partial(judge):
    y = judge.copy()
    y[100:102] /= 2
    assert where(find(judge, y), "partial") == []


def test_coasting_of_1_s_hidden_by_an_averaging_judge_is_no_dropout():
    y = np.random.default_rng(2).integers(150, 260, 600).astype(float)
    y[50:550:25] = 0
    judge = np.convolve(y, np.ones(3) / 3, "same")
    judge[[0, -1]] = y[[0, -1]]
    assert judge[50] > 90
    assert where(find(judge, y), "dropout") == []
    z = judge.copy()
    z[60:560:25] = 0
    assert where(find(judge, z), "dropout") == list(range(60, 560, 25))


def test_device_that_stops_sooner_at_every_coasting_has_no_dropouts(judge):
    for start in range(20, 380, 30):
        judge[start:start + 10] = 0
    y = judge.copy()
    y[19:379:30] = 0
    assert where(find(judge, y), "dropout") == []
    once = judge.copy()
    once[19] = 0
    assert where(find(judge, once), "dropout") == [19]


@pytest.mark.parametrize("scale", [0.5, 1.6])
def test_error_of_scale_is_not_partial_but_noted(judge, scale):
    faults = find(judge, scale * judge)
    assert set(faults.reason) == {""}
    assert [(role, why) for role, why, _ in faults.not_sought] == [("device", "ratio"), ("reference", "ratio")]


def test_a_spike_in_a_coasting_is_no_dropout_of_the_other(judge):
    judge[100:140] = 0
    y = judge.copy()
    y[120] = 900
    assert where(find(judge, y), "spike") == [120]
    assert [(one.side, one.kind) for one in find(y, judge).found] == [("reference", "spike")]


def test_frozen_from_the_start_and_blank_after_a_rest(judge):
    judge[:20] = judge[200:270] = 0
    y = judge.copy()
    y[:40] = 150
    y[200:300] = np.nan
    assert where(find(judge, y), "late_start") == [*range(40), *range(270, 300)]


def test_a_pause_that_both_end_together_is_no_late_start(judge):
    judge[200:270] = 0
    late = np.roll(judge, 1)
    late[0] = judge[0]
    assert where(find(judge, late), "late_start") == []


def test_a_ceiling_needs_five_seconds_above_it_and_most_of_them_at_it(judge):
    rng = np.random.default_rng(4)
    noisy = judge + rng.normal(0, 4, 400)
    steady = np.where(judge > 200, 210.0, 190.0)
    assert where(find(steady * (1 + 0.02 * np.sin(np.arange(400))), steady), "saturation") == []
    judge[100:106] = np.linspace(300, 360, 6)  # in one short sprint
    top = np.minimum(np.where(judge > 290, judge, noisy), 280)
    assert where(find(judge, top), "saturation") == list(range(100, 106))
    judge[104:106] = noisy[104:106] = 200
    assert where(find(judge, np.minimum(np.where(judge > 290, judge, noisy), 280)), "saturation") == []  # four seconds


def test_readings_far_above_make_no_ceiling(judge):
    y = judge.copy()
    y[50] = 900
    judge[100:110] = np.linspace(300, 360, 10)
    y[100:110] = 280
    assert where(find(judge, y), "saturation") == list(range(100, 110))


def test_runs():
    assert runs(np.array([True, False, True, True])) == [(0, 1), (2, 4)]
    assert runs(np.zeros(3, bool)) == []


@pytest.mark.parametrize("device", ["scale", "delay", "3-s mean", "no mean, 8 W", "all, 8 W"])
def test_faults_put_into_a_real_ride_are_found(bench, device):
    options = bench.DEVICES[device]
    rng = np.random.default_rng(7)
    x = bench.read(RIDE)
    y = bench.make_device(x, rng, **options)
    true = options.get("delay", 3.4) + (options.get("mean", 3) - 1) / 2
    clean = bench.pair_recordings(bench.frame(x), bench.frame(y))
    assert clean.alignment.lag_s == pytest.approx(true, abs=0.1)
    assert not [event for event in clean.events() if event.reason.startswith(("device", "reference", "either"))]
    for kind in bench.KINDS:
        injected = bench.inject(x, y, round(true), (kind,), rng)
        score, = bench.score(x, injected, round(true), (kind,))
        assert score.lag == pytest.approx(true, abs=0.2)
        assert score.injected >= (3 if kind == "late_start" else 20 if kind == "saturation" else 30)
        # Held values in steady power do not show, and at a ceiling seconds that were just below it are alike.
        assert score.recall >= (0.9 if kind == "held" else 0.95), kind
        assert score.precision >= (0.88 if kind == "saturation" else 0.95), kind
        if kind == "dropout":
            assert score.found == pytest.approx(score.injected, rel=0.05)


def test_the_screen_hides_spikes_and_zeros_amid_work_on_their_own_side(judge):
    y = judge.copy()
    y[100:103] = 1500
    y[200:206] = 0
    hidden = hide(judge, y)
    assert not hidden[0].any()
    assert np.flatnonzero(hidden[1]).tolist() == [100, 101, 102, *range(200, 206)]
