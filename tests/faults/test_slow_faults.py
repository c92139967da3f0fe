"""Steps of the zero and warm-ups: found with size and place where put in, and not where there are none."""

import tracemalloc

import numpy as np
import pytest
from scipy.signal import lfilter

from agree.faults.slow.coefficient import coefficient
from agree.faults.slow.search import find_slow
from agree.faults.slow.steady_ride import steady_ride
from agree.faults.slow.warm_up import with_warm_up

BOTH = ("auto_zero_step", "step", "warm_up_drift")
REST = [(600, 640), (1300, 1330), (2100, 2150), (2900, 2930)]


@pytest.fixture
def ride(rng):
    """An hour of invented riding with four rests: reference, and white errors of 3 W."""
    t = np.arange(3600)
    power = 200 + 60 * np.sin(t / 200) + np.convolve(rng.normal(0, 60, t.size + 19), np.ones(20) / 20, "valid")
    for start, stop in REST:
        power[start:stop] = 0
    return t.astype(float), power, rng.normal(0, 3, t.size)


def found(t, x, error, kinds=BOTH, cadence=None):
    y = np.where(x > 0, x + error, 0.0)
    return find_slow(x, y, t, (x > 0) & (y > 0), cadence, kinds)


@pytest.mark.parametrize("watts", [-8.0, 5.0, 12.0])
def test_a_step_at_the_end_of_a_coasting(ride, watts):
    t, x, noise = ride
    item, = found(t, x, noise + watts * (t >= REST[1][1]))
    assert item.kind == "auto_zero_step"
    assert item.detail["at_s"] == pytest.approx(REST[1][1], abs=3)
    assert abs(item.detail["step_W"] - watts) < 3.5 * item.detail["se_W"] < 5
    assert (item.start, item.stop) == (0, REST[1][1])  # the shorter side
    change = item.detail["bias_after_percent"] - item.detail["bias_before_percent"]
    assert change == pytest.approx(100 * watts / x[x > 0].mean(), abs=0.6)


def test_a_step_of_torque(ride):
    t, x, noise = ride
    cadence = np.where(x > 0, 85 + 10 * np.sin(t / 60), 0.0)
    item, = found(t, x, noise + 0.8 * cadence * 2 * np.pi / 60 * (t >= REST[2][1]), cadence=cadence)
    assert item.detail["step_Nm"] == pytest.approx(0.8, abs=3.5 * item.detail["se_Nm"])


def test_a_step_of_watts_beside_a_known_cadence(ride):
    t, x, noise = ride
    cadence = np.where(x > 0, 85 + 15 * np.sin(t / 300), 0.0)
    item, = found(t, x, noise + 8 * (t >= REST[2][1]), cadence=cadence)
    assert "step_Nm" not in item.detail
    assert item.detail["step_W"] == pytest.approx(8, abs=3.5 * item.detail["se_W"])


@pytest.mark.parametrize("size", [-0.05, 0.04])
def test_a_warm_up(ride, size):
    t, x, noise = ride
    item, = found(t, x, noise + size * x * np.exp(-3 * t / 900))
    assert item.kind == "warm_up_drift"
    assert item.detail["size_percent"] == pytest.approx(100 * size, abs=4 * item.detail["se_percent"])
    assert 500 < item.detail["settled_s"] < 1500


def test_what_is_neither(ride):
    t, x, noise = ride
    assert found(t, x, noise) == []
    assert found(t, x, noise + 0.005 * t) == []                      # a drift that goes on
    assert found(t, x, noise + 0.05 * x - 6) == []                   # scale and offset
    graded = np.where(x > 0, 100 + 60 * (t // 600), 0.0) + (x > 0) * (x - 200) / 5
    assert found(t, graded, noise - 0.0002 * graded**2) == []        # an error that depends on power, in a graded ride
    slow = np.convolve(np.random.default_rng(3).normal(0, 1, t.size + 59), np.ones(60) / 60 ** 0.5, "valid")
    assert found(t, x, noise + 3 * slow) == []                       # errors alike over a minute


def test_kinds_asked_for(ride):
    t, x, noise = ride
    assert found(t, x, noise + 12 * (t >= REST[1][1]), kinds=("warm_up_drift",)) != found(
        t, x, noise + 12 * (t >= REST[1][1]))
    assert found(t, x, noise + 12 * (t >= REST[1][1]), kinds=()) == []
    assert found(t[:500], x[:500], noise[:500]) == []                # too short to tell


def test_a_step_without_a_rest(ride):
    t, x, noise = ride
    item, = found(t, x, noise + 7 * (t >= 1750))
    assert item.kind == "step"
    assert item.detail["at_s"] == pytest.approx(1750, abs=40)
    assert item.detail["earliest_s"] - 15 <= 1750 <= item.detail["latest_s"] + 15
    assert item.detail["step_W"] == pytest.approx(7, abs=3.5 * item.detail["se_W"])


def test_a_step_of_the_scale_is_told_from_one_of_the_zero(ride):
    t, x, noise = ride
    share, = found(t, x, noise + 0.05 * x * (t >= REST[1][1]))
    watts, = found(t, x, noise + 10 * (t >= REST[1][1]))
    assert share.detail["step_percent"] == pytest.approx(5, abs=3.5 * share.detail["se_percent"])
    assert "step_percent" not in watts.detail


def long_ride(rng, n):
    """Invented riding of n seconds with a rest every half hour: time, reference, errors."""
    t = np.arange(n, dtype=float)
    power = 200 + 60 * np.sin(t / 200) + rng.normal(0, 15, n)
    power[t % 1800 < 40] = 0
    return t, power, rng.normal(0, 3, n)


def test_long_rides_are_searched_in_pieces(rng):
    t, x, noise = long_ride(rng, 24_000)
    at = (10_840, 19_000)  # the end of a coasting near the end of a piece, and a place between rests
    made = found(t, x, noise + sum(9 * (t >= place) for place in at))
    assert [item.kind for item in made] == ["auto_zero_step", "step"]
    for item, place in zip(made, at, strict=True):
        assert item.detail["at_s"] == pytest.approx(place, abs=40)
        assert abs(item.detail["step_W"] - 9) < 3.5 * item.detail["se_W"] < 3


def test_memory_and_work_are_in_proportion_to_length(rng, monkeypatch):
    factor, work = np.linalg.qr, []
    monkeypatch.setattr(np.linalg, "qr", lambda rows: work.append(rows.size * rows.shape[1]) or factor(rows))

    def cost(n):
        t, x, noise = long_ride(rng, n)
        work.clear()
        tracemalloc.start()
        found(t, x, noise, kinds=("auto_zero_step",))
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return peak, sum(work)

    (short, little), (long, much) = cost(25_000), cost(100_000)
    assert long < 40e6       # 1.3 GB when every second had a row for each slow cosine of the ride
    assert long < 4.5 * short
    assert much < 8 * little  # 64 times, if the rows grow with the ride; pieces of a short ride overlap less


def scanned(ride, made, sizes, rough):
    """What is found of something put in, by size: None or the standard errors that the search itself sees."""
    t, x, noise = ride
    for size in sizes:
        error = rough * noise + size * made
        seen = steady_ride(x, np.where(x > 0, x + error, 0.0), t, x > 0, None)
        item = next(iter(found(t, x, error)), None)
        if item is None:
            yield None
        elif item.kind == "warm_up_drift":
            warm = with_warm_up(seen)
            yield coefficient(warm.warm.shape, seen.base(waves=False), seen.error).t
        else:
            yield abs(item.detail["step_W"] / item.detail["se_W"])


@pytest.mark.parametrize(("made", "least", "sizes", "rough"), [
    (lambda t: 1.0 * (t >= REST[2][1]), 5.0, (1.1, 1.8, 2.0, 2.6), 4),
    (lambda t: 1.0 * (t >= 1750), 6.0, (1.8, 3.1, 3.5, 4.2), 6),
    (lambda t: np.exp(-3 * t / 900), 5.0, (2.0, 3.7, 4.1, 4.9), 2)])
def test_standard_errors_that_a_slow_fault_must_have(ride, made, least, sizes, rough):
    strengths = list(scanned(ride, made(ride[0]), sizes, rough))
    assert [one is None for one in strengths] == [True, True, False, False]
    assert least <= strengths[2] < least + 0.7


def test_least_sizes(ride):
    t, x, noise = ride
    quiet, mean = noise / 30, float(x[x > 0].mean())
    for size, made, kind in ((1.0, 1.0 * (t >= REST[1][1]), "auto_zero_step"),
                             (0.01 * mean, np.exp(-3 * t / 900), "warm_up_drift")):
        assert [len(found(t, x, quiet + k * size * made, kinds=(kind,))) for k in (0.95, 1.05)] == [0, 1]


def riding(rng, seconds=2700):
    """Pedalling throughout, and errors of 4 W."""
    t = np.arange(seconds)
    return t, 210 + 60 * np.sin(t / 150) + rng.normal(0, 15, seconds), rng.normal(0, 4, seconds)


def test_an_early_step_is_no_warm_up():
    t, x, noise = riding(np.random.default_rng(0))
    item, = found(t.astype(float), x, noise + 0.03 * x * (t > 700))
    assert item.kind == "step"
    assert item.detail["at_s"] == pytest.approx(700, abs=60)


@pytest.mark.parametrize("seed", range(2))
def test_a_warm_up_is_no_step(seed):
    t, x, noise = riding(np.random.default_rng(seed))
    item, = found(t.astype(float), x, noise + 0.04 * x * np.exp(-3 * t / 900))
    assert item.kind == "warm_up_drift"


@pytest.mark.parametrize(("kind", "watts", "seed"), [("straight", 4.0, 19), ("slowing", 5.0, 20), ("slowing", 6.0, 10),
                                                      ("step", 6.0, 19)])
def test_a_drift_is_no_step(kind, watts, seed):
    """A step in the middle fits a drift over 25 min nearly as well, with an error of 2.5 W correlated over 15 s."""
    rng = np.random.default_rng(seed)
    t = np.arange(1500.0)
    x = 200 + 40 * np.sin(t / 97) + 15 * np.sin(t / 13)
    error = lfilter([1], [1, -np.exp(-1 / 15)], rng.normal(0, 1, t.size))
    course = {"straight": t / t.size, "slowing": (1 - np.exp(-3 * t / t.size)) / (1 - np.exp(-3)),
              "step": 1.0 * (t >= 750)}[kind]
    made = found(t, x, watts * course + error * 2.5 / error.std() + rng.normal(0, 3, t.size))
    assert [item.kind for item in made] == ["step"] * (kind == "step")


@pytest.mark.parametrize("watts", [-9.0, 9.0])
@pytest.mark.parametrize("constant_s", [1200, 1800])
def test_a_drift_that_slows_over_the_whole_ride_is_no_warm_up(ride, watts, constant_s):
    """It is told as a drift from window means; found as a warm-up, it would leave a false scale."""
    t, x, noise = ride
    assert not found(t, x, noise - watts * np.expm1(-t / constant_s))


def test_a_step_of_the_scale_in_sprints_is_none_of_torque(rng):
    """The cadence rises in each sprint, and with it the error: a mean over a minute would not follow."""
    t = np.arange(2700.0)
    sprint = np.convolve((t % 150 < 12).astype(float), np.ones(4) / 4, "same")
    power = 180 + 420 * sprint + rng.normal(0, 8, t.size)
    cadence = 82 + 28 * sprint + rng.normal(0, 2, t.size)
    item, = found(t, power, rng.normal(0, 3, t.size) + 0.04 * power * (t >= 1200), cadence=cadence)
    assert "step_Nm" not in item.detail
    assert item.detail["step_percent"] == pytest.approx(4, abs=0.5)


@pytest.mark.parametrize(("course", "seed"), [("drift", 41), ("warm-up", 5), ("warm-up", 49)])
def test_a_course_beside_errors_of_a_minute_is_no_step(course, seed):
    """Beside errors that wander a step may fit well what a drift or a warm-up explains as well."""
    rng = np.random.default_rng(seed)
    t = np.arange(1800.0)
    power = 200 + 60 * np.sin(t / 200) + np.convolve(rng.normal(0, 60, t.size + 19), np.ones(20) / 20, "valid")
    power[t % 600 < 30] = 0
    wander = lfilter([np.sqrt(1 - np.exp(-2 / 60))], [1, -np.exp(-1 / 60)], rng.normal(size=t.size))
    shape = -np.expm1(-3 * t / t.size) if course == "drift" else np.exp(-t / 300)
    assert not found(t, power, 10 * shape + 2.5 * wander + rng.normal(0, 2, t.size), ("auto_zero_step", "step"))
