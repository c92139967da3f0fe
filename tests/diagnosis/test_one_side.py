"""One side doubled: found by a share that wanders, said not to be told from a total, named of no honest one."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.signal import lfilter

from agree import Pairs
from agree.correction.find import correction
from agree.diagnosis.by_second import Scatter
from agree.diagnosis.finding import Finding
from agree.diagnosis.findings import findings
from agree.diagnosis.windows.one_side import Signs, one_side, untold
from agree.report.story.cause_evidence import against
from agree.verdict.columns import table
from tests.diagnosis.frames import fitted, framed, sized

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")
SHARPER = SimpleNamespace(value=0.5, low=0.1)
HOUR = framed(np.tile([120.0, 180.0, 240.0, 300.0], 30))


def rough(percent, exponent=0.9):
    return Scatter(percent, SimpleNamespace(value=1.0, low=exponent, high=1.5, level=0.95), 3000)


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


@pytest.mark.parametrize(("seed", "strokes", "hint"), [(0, 5.0, True), (1, 5.0, True), (1, 3.0, False)])
def test_noise_with_a_drift_is_no_side_for_certain(seed, strokes, hint):
    """An honest total with noise of 5 % of power and a drift was told as one side doubled, and nothing else."""
    found = sides(told(doubled(seed, strokes, 0.0, drift=5.0, seconds=2400)))
    assert [item.rivals for item in found] == [("noise_in_proportion",)] * hint


@pytest.mark.parametrize(("percent", "wander", "named"), [
    pytest.param(2.55, 2.0, "alone", id="SIDE_SCATTER_PERCENT"),
    pytest.param(2.45, 2.0, "with a rival", id="SIDE_SCATTER_PERCENT"),
    pytest.param(3.0, 1.05, "alone", id="SIDE_WANDER_PERCENT"),
    pytest.param(3.0, 0.95, "not", id="SIDE_WANDER_PERCENT")])
def test_what_a_wandering_share_needs(percent, wander, named):
    found = one_side(fitted(HOUR), Signs(rough(percent), SHARPER, sized(wander**2, 3.0)))
    assert ("not" if not found else "with a rival" if found[0].rivals else "alone") == named


def test_scatter_that_a_slower_reference_or_the_device_smoothes_is_told_with_a_rival():
    found, = one_side(fitted(HOUR), Signs(rough(1.8), SimpleNamespace(value=-0.7, low=-0.8), sized(4.0, 3.0)))
    assert found.rivals == ("noise_in_proportion",)
    assert one_side(fitted(HOUR), Signs(rough(1.8, 0.2), SHARPER, sized(4.0, 3.0))) == []


@pytest.mark.parametrize(("percent", "said"), [pytest.param(11.9, True, id="SIDE_SCALE_PERCENT"),
                                               pytest.param(12.1, False, id="SIDE_SCALE_PERCENT")])
def test_a_scale_that_sides_can_make(percent, said):
    scale = Finding(cause="scale", percent=percent, size=sized(-percent, 30.0), unit="%")
    item, = untold([scale], Signs(None, None, None), slow_reference=False)
    assert ("one_side_untold" in item.values) == said


@pytest.mark.parametrize(("seen", "slow", "why", "words"), [
    (Signs(rough(3.0), SHARPER, None), False, "scatter", "the error does scatter by 3.0 % of power"),
    (Signs(rough(1.0), SHARPER, None), False, "total", "not to be told from a total; a recording of both sides"),
    (Signs(rough(3.0), SHARPER, None), True, "slow_reference", "beside a slower reference")])
def test_what_cannot_be_told_is_said(seen, slow, why, words):
    scale = Finding(cause="scale", percent=3.0, size=sized(-3.0, 30.0), unit="%")
    offset = Finding(cause="offset", percent=3.0, size=sized(6.0, 30.0), unit="W")
    one, two = untold([scale, offset], seen, slow_reference=slow)
    assert one.values["one_side_untold"] == why
    assert words in "; ".join(against(one))
    assert two is offset


def test_a_scale_says_that_one_side_cannot_be_told():
    """Strokes of 3.5 % and a share that stays: nothing was said."""
    rng = np.random.default_rng(4)
    watts = np.clip(200 + 60 * np.sin(np.arange(1800) / 170) + rng.normal(0, 12, 1800), 60, None)
    device = 0.97 * watts * (1 + 0.03 * rng.normal(size=1800))
    found = told(Pairs(reference=watts + rng.normal(0, 2, 1800), device=device))
    assert not sides(found)
    scale = next(item for item in found if item.cause == "scale")
    assert scale.values["one_side_untold"] == "scatter"
