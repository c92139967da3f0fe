"""One side doubled: found by a share that wanders, said not to be told from a total, named of no honest one."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.signal import lfilter

from agree import Pairs
from agree.correction.find import correction
from agree.diagnosis.by_second import Scatter, Second, scatter
from agree.diagnosis.finding import Finding
from agree.diagnosis.findings import findings
from agree.diagnosis.windows.one_side import Signs, explains_more, one_side, untold
from agree.report.story.cause import cause_words
from agree.report.story.cause_evidence import against
from agree.verdict.columns import table
from tests.diagnosis.frames import fitted, framed, sized

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")
SHARPER = SimpleNamespace(value=0.5, low=0.1)
HOUR = framed(np.tile([120.0, 180.0, 240.0, 300.0], 30))


def rough(percent, exponent=0.9, elsewhere=1.1):
    return Scatter(percent, SimpleNamespace(value=1.0, low=exponent, high=1.5, level=0.95), 1500, elsewhere * percent)


def doubled(seed, strokes, wander, *, drift=0.0, seconds=2700):
    """A steady ride, W, and a device with noise of strokes, a share with an SD over minutes, and a drift, all in %."""
    rng = np.random.default_rng(seed)
    watts = np.clip(200 + 60 * np.sin(np.arange(seconds) / 170) + rng.normal(0, 12, seconds), 60, None)
    keep = math.exp(-1 / 240)
    share = lfilter([math.sqrt(1 - keep**2)], [1, -keep], rng.normal(size=seconds + 2000))[2000:]
    error = wander * share + strokes * rng.normal(size=seconds) + drift * np.linspace(-0.5, 0.5, seconds)
    return Pairs(reference=watts + rng.normal(0, 2, seconds), device=watts * (1 + error / 100))


def told(pairs):
    data = table(pairs, 30)
    return findings(data, correction(data, 0.95, 30))


def sides(found):
    return [item for item in found if item.cause == "one_side_doubled"]


@pytest.mark.parametrize("seed", [3, 4])
def test_strokes_of_a_wandering_side_are_found(seed):
    """Noise of 3.5 % each second: 0 of 13 were named, and a scale or a drift was in their place."""
    side, = sides(told(doubled(seed, 3.5, 2.0)))
    assert side.rivals == ()
    assert side.values["wander_sd_percent"] > 1


@pytest.mark.parametrize(("seed", "strokes", "hint"), [(0, 5.0, True), (1, 5.0, True), (1, 2.0, False)])
def test_noise_with_a_drift_is_no_side_for_certain(seed, strokes, hint):
    """An honest total with noise of 5 % of power and a drift was told as one side doubled, and nothing else."""
    found = sides(told(doubled(seed, strokes, 0.0, drift=5.0, seconds=2400)))
    assert [item.rivals for item in found] == [("noise_in_proportion",)] * hint


@pytest.mark.parametrize(("percent", "wander", "named"), [
    pytest.param(2.55, 2.0, "alone", id="SIDE_SCATTER_PERCENT"),
    pytest.param(2.45, 2.0, "with a rival", id="SIDE_SCATTER_PERCENT"),
    pytest.param(3.0, 1.05, "alone", id="SIDE_WANDER_PERCENT"),
    pytest.param(3.0, 0.95, "with a rival", id="SIDE_WANDER_PERCENT")])
def test_what_a_wandering_share_needs(percent, wander, named):
    found = one_side(fitted(HOUR), Signs(rough(percent), SHARPER, sized(wander**2, 3.0)))
    assert ("not" if not found else "with a rival" if found[0].rivals else "alone") == named


def test_scatter_that_a_slower_reference_or_the_device_smoothes_is_told_with_a_rival():
    found, = one_side(fitted(HOUR), Signs(rough(1.8), SimpleNamespace(value=-0.7, low=-0.8), sized(4.0, 3.0)))
    assert found.rivals == ("wandering",)
    assert one_side(fitted(HOUR), Signs(rough(1.8, 0.2), SHARPER, sized(4.0, 3.0))) == []


@pytest.mark.parametrize(("percent", "said"), [pytest.param(11.9, True, id="SIDE_SCALE_PERCENT"),
                                               pytest.param(12.1, False, id="SIDE_SCALE_PERCENT")])
def test_a_scale_that_sides_can_make(percent, said):
    scale = Finding(cause="scale", percent=percent, size=sized(-percent, 30.0), unit="%")
    item, = untold([scale], slow_reference=False)
    assert ("one_side_untold" in item.values) == said


@pytest.mark.parametrize(("slow", "why", "words"), [
    (False, "total", "not to be told from a total; a recording of both sides"),
    (True, "slow_reference", "beside a slower reference")])
@pytest.mark.parametrize("cause", ["scale", "offset", "cadence_gain", "wandering", "warm_up"])
def test_what_cannot_be_told_is_said(slow, why, words, cause):
    """Of a zero and of an error that goes with cadence nothing was said: shares of sides go with both."""
    late = Finding(cause="delay", percent=3.0, size=sized(0.5, 30.0), unit="s")
    one, two = untold([Finding(cause=cause, percent=3.0, size=sized(-3.0, 30.0), unit="%"), late], slow_reference=slow)
    assert one.values["one_side_untold"] == why
    assert words in "; ".join(against(one))
    assert two is late


def test_a_scale_says_that_one_side_cannot_be_told():
    rng = np.random.default_rng(4)
    watts = np.clip(200 + 60 * np.sin(np.arange(1800) / 170) + rng.normal(0, 12, 1800), 60, None)
    device = 0.97 * watts * (1 + 0.02 * rng.normal(size=1800))
    found = told(Pairs(reference=watts + rng.normal(0, 2, 1800), device=device))
    assert not sides(found)
    scale = next(item for item in found if item.cause == "scale")
    assert scale.values["one_side_untold"] == "total"


@pytest.mark.parametrize(("seed", "strokes"), [(3, 0.0), (4, 1.0)])
def test_an_error_that_wanders_is_said(seed, strokes):
    """A side whose strokes are even, or smoothed: "nothing stands out" was said of readings that wander by 2 %."""
    found, = (item for item in told(doubled(seed, strokes, 2.5)) if item.cause == "wandering")
    assert found.size.low < found.size.value < found.size.high
    assert 1.0 <= found.size.value < 2.5  # free of all other causes
    assert "one_side_untold" in found.values
    assert cause_words(found).startswith("the error wanders over minutes (SD 1.")


def sprints(seed, seconds=2400):
    """A ride with sprints, W."""
    rng = np.random.default_rng(seed)
    watts = 170 + rng.normal(0, 8, seconds)
    for at in range(150, seconds - 60, 160):
        watts[at:at + 12], watts[at + 12:at + 50] = rng.uniform(650, 1000) * np.linspace(1, 0.75, 12), 90
    return watts, rng


@pytest.mark.parametrize("device", [
    lambda watts: np.repeat(watts[::3], 3),  # repeats each reading
    lambda watts: np.minimum(0.6 * watts + 0.4 * np.roll(watts, 1), 700.0)])
def test_what_changes_of_power_leave_is_no_side(device):
    """Seven of ten such devices were told as one side doubled, or noisy: their scatter grows with power too."""
    watts, rng = sprints(2)
    pairs = Pairs(reference=watts + rng.normal(0, 2, watts.size), device=device(watts) + rng.normal(0, 2, watts.size))
    assert sides(told(pairs)) == []


@pytest.mark.parametrize(("elsewhere", "named"), [pytest.param(1.65, 1, id="SCATTER_ELSEWHERE"),
                                                  pytest.param(1.75, 0, id="SCATTER_ELSEWHERE")])
def test_scatter_that_is_there_at_any_time(elsewhere, named):
    assert len(one_side(fitted(HOUR), Signs(rough(5.0, elsewhere=elsewhere), SHARPER, None))) == named


@pytest.mark.parametrize(("share", "counts"), [pytest.param(0.73, True, id="CALM_SHARE"),
                                               pytest.param(0.77, False, id="CALM_SHARE")])
def test_seconds_with_most_changes_are_left_out(share, counts):
    """Scatter of 1 % where power is even, for such a share of the time, and of 10 % where it changes."""
    rng, seconds = np.random.default_rng(1), 4000
    calm = np.arange(seconds) < share * seconds
    watts = np.where(calm, 200.0 + 60 * (np.arange(seconds) // 500 % 2), 200 + 60 * np.sin(np.arange(seconds) / 3))
    found = scatter(Second(watts, watts * (1 + np.where(calm, 0.01, 0.1) * rng.normal(size=seconds))))
    assert (found.percent > 1.2) == counts


@pytest.mark.parametrize(("percent", "ahead"), [pytest.param(4.1, True, id="SCATTER_PERCENT"),
                                                pytest.param(3.9, False, id="SCATTER_PERCENT")])
def test_scatter_that_explains_other_causes(percent, ahead):
    made = fitted(HOUR, ("scale", sized(0.02, 9.0)), ("offset", sized(-4.0, 9.0)))
    assert explains_more(made, Signs(rough(percent), SHARPER, None)) == ahead
