"""Bands: edges from the reference alone, which interval decides, what the bands share, and which band is named."""

import numpy as np
import pytest

from agree import Claim, Pairs, check_claim
from agree.verdict.band_variance import parts_of, spread_of
from agree.verdict.bands import bands, default_edges
from agree.verdict.columns import beside_coasting, table
from agree.verdict.reference import ReferenceUncertainty
from tests.rides import effort, session

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def test_edges_are_thirds_of_the_time_to_5_w(rng):
    level = rng.gamma(9, 25, 4000)
    edges = default_edges(level, None)
    assert (edges % 5 == 0).all()
    share = np.histogram(level, edges)[0] / level.size
    assert share == pytest.approx(1 / 3, abs=0.03)
    assert edges[0] <= level.min()
    assert edges[-1] > level.max()


def test_edges_do_not_look_at_the_device(rng):
    true = effort(rng)
    checks = [check_claim(Pairs(reference=true, device=true * scale + rng.normal(0, 2, true.size)), "1.5 %")
              for scale in (1.0, 1.05)]
    assert [(b.low, b.high) for b in checks[0].bands] == [(b.low, b.high) for b in checks[1].bands]


def test_edges_of_a_held_power_and_of_a_claim_above():
    assert default_edges(np.full(600, 201.0), None).tolist() == [200, 205]
    assert default_edges(np.linspace(50, 350, 3000), 200.0).tolist() == [200, 250, 300, 355]
    assert default_edges(np.full(600, 150.0), 200.0).tolist() == [200, 205]  # nothing there: one empty band


@pytest.mark.parametrize(("seconds", "judged"), [(59, False), (60, True)])
def test_a_band_is_judged_from_a_minute_on(seconds, judged, rng):
    watts = np.r_[np.full(900, 200.0), np.full(seconds, 300.0)]
    data = table(Pairs(reference=watts, device=watts + rng.normal(0, 1, watts.size)), 1)
    edges = np.array([150.0, 250.0, 350.0])
    _, found = bands(data, Claim.parse("1.5 %"), ReferenceUncertainty.parse(None), 0.95, edges)
    assert (found[1].seconds, found[1].verdict != "too thin") == (seconds, judged)


def test_seconds_beside_coasting_are_those_within_4_s():
    watts = np.full(300, 200.0)
    watts[100:110] = 0.0
    near = np.flatnonzero(beside_coasting(Pairs(reference=watts, device=watts)))
    assert near.tolist() == list(range(96, 114))


def test_the_interval_stored_is_the_one_that_decides(rng):
    pairs = [session(rng, sd=1.0, label=str(k), scale=1 + e / 100) for k, e in enumerate((0.2, 0.0, -0.2, 0.1))]
    for band in check_claim(pairs, "1.5 %", meaning="bands").bands:
        assert band.verdict == "holds"
        assert band.deciding is band.plain
        assert band.joint.high - band.joint.low > band.plain.high - band.plain.low
    bad = [Pairs(reference=p.reference, device=p.device * np.where(p.reference > 250, 1.06, 1.0)) for p in pairs]
    check = check_claim(bad, "1.5 %", meaning="bands")
    failing = [band for band in check.bands if band.verdict == "does not hold"]
    assert failing
    assert all(band.deciding is band.joint for band in failing)
    assert all(abs(band.deciding.low) > band.limit_percent for band in failing)
    assert check.reading.details["worst_band"] in [[band.low, band.high] for band in failing]
    stored = check.to_dict()["bands"][0]
    assert {"bias_percent", "plain_percent", "joint_percent", "deciding_percent"} <= set(stored)


def test_plain_level_is_enough_to_hold(rng):
    """A band whose plain interval is inside and whose joint one is not: it holds, as the whole may err in 2.5 %."""
    found = []
    for seed in range(5):  # the fourth has such a band
        rng = np.random.default_rng(seed)
        check = check_claim(session(rng, sd=12.0, seconds=2700), "1.5 %", meaning="bands")
        found += [band for band in check.bands if band.verdict == "holds" and band.joint.high > band.limit_percent]
    assert found
    assert all(band.plain.high <= band.limit_percent for band in found)


def test_variance_shared_by_bands_is_that_of_the_parts(rng):
    """Unequal numbers of seconds: M and R recover the variances they were made from."""
    sessions, bands, runs = 6, 3, 4000
    common, cell = np.zeros(runs), np.zeros(runs)
    for k in range(runs):
        y = 0.8 * rng.normal(size=(sessions, 1)) + 0.3 * rng.normal(size=(sessions, bands))
        parts = parts_of(y, np.ones((sessions, bands)))
        common[k], cell[k] = parts.common, parts.cell
    assert cell.mean() == pytest.approx(0.09, rel=0.03)
    assert common.mean() == pytest.approx(0.64 + 0.09 / 3, rel=0.05)
    spread = spread_of(parts_of(y, np.ones((sessions, bands))), np.ones(sessions), bands)
    assert sessions - 1 <= spread.df <= (sessions - 1) * bands


@pytest.mark.parametrize("shape", [(1, 3), (3, 1), (2, 2)])
def test_too_little_to_share(shape, rng):
    assert (parts_of(rng.normal(size=shape), np.ones(shape)) is None) == (shape != (2, 2))
    weight = np.ones(shape)
    weight[0, 0] = 0
    assert parts_of(rng.normal(size=shape), weight) is None


def test_bands_are_not_pooled_at_90_percent(rng):
    pairs = [session(rng, sd=1.0, label=str(k), scale=1 + e / 100) for k, e in enumerate((0.2, 0.0, -0.2))]
    at_95, at_90 = (check_claim(pairs, "1.5 %", level=level).bands[0].bias for level in (0.95, 0.90))
    assert "shared by the bands" in at_95.method
    assert "shared" not in at_90.method


@pytest.mark.parametrize("count", [1, 4])
def test_the_narrowest_stretch_that_could_hide_an_error(count):
    """More noise, a wider stretch; 20 W that read 6 % high, inside a third of the range, are not overlooked."""
    def check(sd, off=0.0):
        rng = np.random.default_rng(3)
        pairs = [session(rng, sd=sd, label=str(k), scale=1 + k / 3000) for k in range(count)]
        if off:
            pairs = [Pairs(reference=p.reference, session=p.session,
                           device=p.device * np.where(abs(p.reference - 220) < 10, 1 + off, 1)) for p in pairs]
        return check_claim(pairs if count > 1 else pairs[0], "1.5 %", meaning="bands", window_s=1)
    quiet, noisy = (check(sd).reading.details["narrowest_seen_w"] for sd in (0.5, 4.0))
    assert 5 <= quiet < noisy
    hidden = check(0.5, 0.06)
    assert hidden.reading.verdict != "holds" or hidden.reading.details["narrowest_seen_w"] > 20


def test_the_band_named_is_the_one_furthest_off(rng):
    true = effort(rng)
    error = np.where(true > 280, 1.08, np.where(true > 200, 1.04, 1.0))
    reading = check_claim(Pairs(reference=true, device=true * error), "1.5 %", meaning="bands",
                          bands=[50, 200, 280, 500]).reading
    assert reading.details["worst_band"] == [280, 500]


def test_windows_hold_half_their_seconds_or_more():
    watts = np.full(300, 200.0)
    watts[30:45] = watts[60:76] = np.nan  # of the second window 15 s are there, of the third 14
    windows = table(Pairs(reference=watts, device=watts), 30).windows(30)
    assert windows.start.tolist() == [0, 30, 90, 120, 150, 180, 210, 240, 270]
