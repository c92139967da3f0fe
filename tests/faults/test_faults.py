"""Faults of known position, one by one and in devices made from a real ride."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from agree.core.runs import runs
from agree.faults.detect import find_faults

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


def where(faults, kind):
    return np.flatnonzero(faults.kind == kind).tolist()


def test_clean_trace_has_no_fault(judge):
    faults = find_faults(judge, np.rint(0.97 * judge))
    assert set(faults.kind) == {""}
    assert faults.notes == ()


def test_each_kind_is_found_to_the_second(judge):
    y = np.rint(0.97 * judge)
    y[50] = y[70:77] = 0
    y[100:130] = np.rint(y[100:130] / 2)
    y[150:153] = np.rint(y[150:153] / 4)
    y[200:208] = y[200]
    y[250:252] += 900
    y[300] = np.nan
    judge[350:360] = y[350:360] = 0
    faults = find_faults(judge, y)
    assert where(faults, "dropout") == [50, *range(70, 77)]
    assert where(faults, "partial") == [*range(100, 130), *range(150, 153)]
    assert where(faults, "held") == list(range(201, 208))
    assert where(faults, "spike") == [250, 251]
    assert where(faults, "missing") == [300]
    assert where(faults, "both_coasting") == list(range(350, 360))


def test_judge_is_not_blamed_for_faults_of_the_trace(judge):
    y = judge.copy()
    y[50] = y[70:77] = 0
    y[100:130] = np.rint(y[100:130] / 2)
    y[200:208] = y[200]
    y[250:252] += 900
    assert set(find_faults(y, judge).kind) == {""}


def test_short_repeats_and_a_steady_judge_are_not_held(judge):
    y = judge.copy()
    y[50:54] = y[50]
    assert where(find_faults(judge, y), "held") == []
    judge[100:110], y[100:110] = np.linspace(200, 235, 10), 217
    assert where(find_faults(judge, y), "held") == []
    judge[100:110] = np.linspace(200, 260, 10)
    assert where(find_faults(judge, y), "held") == list(range(101, 110))


def test_hold_shows_in_the_sharp_judge(judge):
    y = judge.copy()
    y[100:110] = 200
    smooth, sharp = judge.copy(), judge.copy()
    smooth[100:110], sharp[100:110] = 200, [160, 240] * 5
    assert where(find_faults(smooth, y), "held") == []
    assert where(find_faults(smooth, y, sharp=sharp), "held") == list(range(101, 110))


def test_four_seconds_above_everything_are_no_spike(judge):
    y = judge.copy()
    y[100:104] += 900
    assert where(find_faults(judge, y), "spike") == []


def test_two_seconds_of_half_are_not_partial(judge):
    y = judge.copy()
    y[100:102] /= 2
    assert where(find_faults(judge, y), "partial") == []


def test_coasting_of_1_s_hidden_by_an_averaging_judge_is_no_dropout():
    y = np.random.default_rng(2).integers(150, 260, 600).astype(float)
    y[50:550:25] = 0
    judge = np.convolve(y, np.ones(3) / 3, "same")
    judge[[0, -1]] = y[[0, -1]]
    assert judge[50] > 90
    assert where(find_faults(judge, y), "dropout") == []
    z = judge.copy()
    z[60:560:25] = 0
    assert where(find_faults(judge, z), "dropout") == list(range(60, 560, 25))


def test_device_that_stops_sooner_at_every_coasting_has_no_dropouts(judge):
    for start in range(20, 380, 30):
        judge[start:start + 10] = 0
    y = judge.copy()
    y[19:379:30] = 0
    assert where(find_faults(judge, y), "dropout") == []
    once = judge.copy()
    once[19] = 0
    assert where(find_faults(judge, once), "dropout") == [19]


@pytest.mark.parametrize("scale", [0.5, 1.6])
def test_error_of_scale_is_not_partial_but_noted(judge, scale):
    faults = find_faults(judge, scale * judge)
    assert set(faults.kind) == {""}
    assert "cannot be told from an error of scale" in faults.notes[0]


def test_a_spike_in_a_coasting_is_no_dropout_of_the_other(judge):
    judge[100:140] = 0
    y = judge.copy()
    y[120] = 900
    assert where(find_faults(judge, y), "spike") == [120]
    assert set(find_faults(y, judge).kind) == {"", "both_coasting"}


def test_frozen_from_the_start_and_blank_after_a_rest(judge):
    judge[:20] = judge[200:270] = 0
    y = judge.copy()
    y[:40] = 150
    y[200:300] = np.nan
    faults = find_faults(judge, y)
    assert where(faults, "late_start") == [*range(40), *range(270, 300)]
    assert where(faults, "missing") == list(range(200, 270))


def test_a_pause_that_both_end_together_is_no_late_start(judge):
    judge[200:270] = 0
    late = np.roll(judge, 1)
    late[0] = judge[0]
    assert where(find_faults(judge, late), "late_start") == []


def test_a_steady_top_is_no_ceiling(judge):
    y = np.minimum(judge, 240)
    steady = np.where(judge > 200, 210.0, 190.0)
    assert where(find_faults(steady * (1 + 0.02 * np.sin(np.arange(400))), steady), "saturation") == []
    assert where(find_faults(judge, y), "saturation") == []  # no longer than 2 s, or less than 5 % above
    judge[100:110] = judge[200:210] = np.linspace(300, 360, 10)
    assert where(find_faults(judge, np.minimum(judge, 300)), "saturation") == [*range(100, 110), *range(200, 210)]
    judge[200:210] = 200
    judge[107:110] = 200
    assert where(find_faults(judge, np.minimum(judge, 300)), "saturation") == []  # once, and for 7 s


def test_runs():
    assert runs(np.array([True, False, True, True])) == [(0, 1), (2, 4)]
    assert runs(np.zeros(3, bool)) == []


@pytest.mark.parametrize("device", ["scale", "delay", "3-s mean", "no mean, 8 W", "all, 3 W", "all, 8 W"])
def test_faults_put_into_a_real_ride_are_found(bench, device):
    options = bench.DEVICES[device]
    rng = np.random.default_rng(7)
    x = bench.read(RIDE)
    y = bench.make_device(x, rng, **options)
    true = options.get("delay", 3.4) + (options.get("mean", 3) - 1) / 2
    clean = bench.pair_recordings(bench.frame(x), bench.frame(y))
    assert clean.alignment.lag_s == pytest.approx(true, abs=0.1)
    false = [event for event in clean.events() if event.reason.startswith(("device", "reference"))]
    assert len(false) <= clean.time[-1] / 3600
    for kind in bench.KINDS:
        injected = bench.inject(x, y, round(true), (kind,), rng)
        score, = bench.score(x, injected, round(true), (kind,))
        assert score.lag == pytest.approx(true, abs=0.2)
        assert score.injected >= (3 if kind == "late_start" else 20 if kind == "saturation" else 30)
        assert score.recall >= 0.95, kind
        assert score.precision >= 0.95, kind
        if kind == "dropout":
            assert score.found == pytest.approx(score.injected, rel=0.05)
