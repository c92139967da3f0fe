"""Each phenomenon has one detector: nothing is named beside it that is not there."""

import numpy as np
import pandas as pd
import pytest
from scipy.interpolate import interp1d
from scipy.signal import lfilter

from agree import Estimate, Pairs, match_response, pair_recordings
from agree.core.data.fault import Fault
from agree.correction.find import correction
from agree.diagnosis.by_second import Delay, Second, changes, delay
from agree.diagnosis.findings import findings
from agree.diagnosis.patterns import conditions, patterns
from agree.diagnosis.response_findings import Answer, response_findings
from agree.verdict.columns import table

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def named(pairs):
    data = table(pairs, 30)
    return {item.cause: item for item in findings(data, correction(data, 0.95, 30))}


def ride(rng, seconds=3600):
    t = np.arange(seconds)
    power = np.clip(200 + 60 * np.sin(t / 170) + 15 * np.sin(t / 13) + rng.normal(0, 12, seconds), 60, None)
    power[t % 900 < 25] = 0
    return t, power


@pytest.mark.parametrize("straight", [True, False])
@pytest.mark.parametrize("of_power", [True, False])
@pytest.mark.parametrize("scale", [1.0, 0.98])
def test_a_warm_up_brings_no_other_cause(rng, straight, of_power, scale):
    t, power = ride(rng)
    course = np.maximum(1 - t / 900, 0) if straight else np.exp(-3 * t / 900)
    error = 0.05 * course * (power if of_power else power.mean()) + rng.normal(0, 4, t.size)
    found = named(Pairs(reference=power, device=np.where(power > 0, scale * power + error, 0).clip(0)))
    assert set(found) - {"warm_up"} == ({"scale"} if scale != 1 else set())
    warm = found["warm_up"]
    assert abs(warm.values["size_percent"] - 5) < 4 * warm.values["se_percent"]
    if scale != 1:
        assert -2.2 <= found["scale"].size.value <= -1.8


def test_a_step_has_one_size(rng):
    t, power = ride(rng)
    pairs = Pairs(reference=power, device=np.where(power > 0, power + 8 * (t >= 1825) + rng.normal(0, 3, t.size), 0))
    found = named(pairs)
    assert set(found) == {"step"}
    step = found["step"]
    assert step.unit == "W"
    assert (step.size.value, step.size.standard_error) == (step.values["step_W"], step.values["se_W"])


@pytest.mark.parametrize("fraction", [0.3, 0.5, 0.7])
def test_a_lag_with_a_fraction_of_a_second_is_no_delay(rng, fraction):
    t, power = ride(rng)
    late = np.interp(t - fraction, t, power)
    device = np.where(late > 0, late + rng.normal(0, 3, t.size), 0).clip(0)
    reference = np.where(power > 0, power + rng.normal(0, 3, t.size), 0).clip(0)
    pairs = pair_recordings(pd.DataFrame({"time": t * 1.0, "power": reference}),
                            pd.DataFrame({"time": t + 5.0, "power": device}))
    assert pairs.alignment.lag_s == pytest.approx(5 + fraction, abs=0.15)
    assert not {"delay", "scale", "offset"} & set(named(pairs))


def test_what_faults_go_with_is_counted(rng):
    t, power = ride(rng, 7200)
    item = Pairs(reference=power, device=power, cadence=np.where(power > 0, 85 + rng.normal(0, 2, t.size), 0))
    seen = conditions(item)
    stops = [(start + 26, start + 28) for start in range(900, 7200, 900)]
    pattern, = patterns([(seen, stops)])
    assert (pattern.moment, pattern.count, pattern.of) == ("beside a stop", 7, 7)
    assert pattern.expected < 0.1
    assert pattern.p < 1e-4
    anywhere = [(start, start + 2) for start in range(400, 7200, 900)]
    assert patterns([(seen, anywhere)]) == ()
    assert patterns([(seen, stops[:4])]) == ()  # too few to judge


def test_faults_that_go_with_fast_changes_of_speed_are_counted(rng):
    """A hub that loses readings where the wheel speeds up: six brisk changes of speed at steady power and cadence."""
    time = np.arange(3600)
    speed = 8 + 0.01 * rng.normal(size=time.size)
    bursts = np.arange(300, 3600, 500)
    for at in bursts:
        speed[at:at + 8] += np.linspace(0, 6, 8)
    power = np.full(time.size, 200.0)
    seen = conditions(Pairs(reference=power, device=power, speed=speed))
    pattern, = patterns([(seen, [(int(at) + 3, int(at) + 5) for at in bursts])])
    assert (pattern.moment, pattern.count, pattern.of) == ("speed changes fast", 7, 7)
    assert "speed changes fast" not in conditions(Pairs(reference=power, device=power)).masks


def test_one_side_doubled_with_noise_of_strokes_over_2_s(rng):
    t, power = ride(rng)
    strokes = np.convolve(0.03 * rng.normal(size=t.size + 1), [0.5, 0.5], "valid")
    left = 0.48 + 0.02 * (power - power.mean()) / 100 + 0.008 * np.sin(t / 300) + strokes
    device = np.where(power > 0, 2 * power * left + rng.normal(0, 2, t.size), 0).clip(0)
    side = named(Pairs(reference=power, device=device))["one_side_doubled"]
    assert side.role == "device"
    assert side.strength <= 0.9  # only a recorded balance would tell for certain
    noisy = np.where(power > 0, power + rng.normal(0, 9, t.size), 0).clip(0)
    assert "one_side_doubled" not in named(Pairs(reference=power, device=noisy))


@pytest.mark.parametrize(("width", "noise_w", "fits"), [(3, 0.0, True), (4, 6.0, True), (8, 0.0, False)])
def test_a_slower_reference_is_no_side_doubled_by_the_device(rng, width, noise_w, fits):
    """The device shows changes that the reference smoothes away: they go with power, and are no fault of the device."""
    t, power = ride(rng)
    power = np.where(power > 0, power * np.where(t % 240 < 10, 4, 1), 0)
    slow = np.convolve(power, np.ones(width) / width)[:t.size] + np.where(power > 0, rng.normal(0, noise_w, t.size), 0)
    exact = Pairs(reference=slow, device=np.where(power > 0, power + rng.normal(0, 4, t.size), 0).clip(0))
    pairs = match_response(exact)
    assert (pairs.matched.smoother, pairs.matched.fits) == ("reference", fits)
    assert "one_side_doubled" not in named(pairs)


def test_a_delay_is_as_large_as_the_slopes_it_meets():
    """1 s late makes an error of 6 W in window means, RMS: 0.5 s make 1.5 % of 200 W."""
    size = Estimate(value=0.5, low=0.4, high=0.6, level=0.95, method="t", standard_error=0.05, df=8)
    late = Delay(mean=size, variance=size, trend=0.0, per_second=6.0)
    found, = response_findings([Answer("none", "", None, (), size)], late, 200.0, np.full(600, 200.0))
    assert (found.cause, found.unit) == ("delay", "s")
    assert found.percent == pytest.approx(1.5)


@pytest.mark.parametrize("unit", ["W", "%"])
def test_a_step_in_the_other_unit_leaves_nothing_beside_it(rng, unit):
    """A step of 4 % told as one of 8 W, and the other way round: what that leaves goes with power, after it."""
    t, power = ride(rng)
    size = 8.0 if unit == "%" else 0.04 * power
    device = np.where(power > 0, power + size * (t >= 1825) + rng.normal(0, 3, t.size), 0)
    share = {"step_percent": 4.0, "se_percent": 0.25} if unit == "%" else {}
    step = Fault(kind="step", start_s=1825.0, seconds=1775, energy_share=0.5, handling="report",
                 detail={"at_s": 1825.0, "step_W": 8.0, "se_W": 0.5} | share)
    found = named(Pairs(reference=power, device=device, faults=(step,)))
    assert set(found) == {"step"}


@pytest.mark.parametrize(("course", "cause"), [
    (lambda t: np.exp(-3 * t / 1500), "warm_up"), (lambda t: -t / 900, "drift")])
def test_a_slight_warm_up_is_told_from_a_drift(course, cause):
    """2.5 W that die away over most of 30 min are too few for the detector of warm-ups."""
    rng = np.random.default_rng(2)
    t, power = ride(rng, 1800)
    found = named(Pairs(reference=power, device=np.where(
        power > 0, power + 2.5 * course(t) + rng.normal(0, 3, t.size), 0)))
    assert set(found) == {cause}
    assert not found[cause].rivals


def test_a_delay_that_differs_between_sessions_alone_varies_within_none(rng):
    """Clocks are matched to whole seconds: of 0.5 s one session leaves -0.5, the next +0.5."""
    def session(shift, swing=0.0):
        at = np.arange(3600.0)
        power = interp1d(at, 200 + 60 * lfilter([0.2], [1, -0.8], rng.normal(size=3600)), fill_value="extrapolate")
        late = power(at - shift - swing * np.sin(at / 500))
        return changes(Second(power(at) + rng.normal(0, 2, 3600), late + rng.normal(0, 2, 3600)))

    constant, varies = delay([session(-0.5), session(0.5)]), delay([session(-0.5, 0.6), session(0.5, 0.6)])
    assert constant.variance.high < 0.02
    assert varies.variance.low > 0.05
