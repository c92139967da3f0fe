"""Lines of one slope through the lags of windows: drift, sizes of steps, and errors that cover."""

import numpy as np
import pytest

from agree.core.thresholds import USUAL_DRIFT_PPM
from agree.pairing.clocks.drift_line import Told, lines
from agree.pairing.clocks.fine import telling


def told(rng, stretches, scatter=1.0, ppm=0.0, beyond=0.0):
    """Windows of stretches whose lags fall by 10 s each, with unequal errors."""
    stretch = np.repeat(np.arange(len(stretches)), stretches)
    time = 150.0 * np.arange(stretch.size)
    se = np.exp(rng.uniform(np.log(0.03), np.log(0.3), stretch.size))
    error = scatter * se * rng.standard_normal(stretch.size) + beyond * rng.standard_normal(stretch.size)
    return Told(time - time.mean(), -10.0 * stretch + 1e-6 * ppm * time + error, se, stretch)


@pytest.mark.parametrize(("scatter", "beyond"), [(1.0, 0.0), (2.0, 0.0), (1.0, 0.1)])
def test_sizes_of_steps_are_covered(scatter, beyond):
    """Stretches of one to six windows; of 600 sizes in each case 95 % have a Monte-Carlo error of 0.9."""
    rng = np.random.default_rng(1)
    hits = []
    for _ in range(200):
        found = lines(told(rng, (1, 2, 6, 3), scatter, 30.0, beyond))
        straight = found.level - found.slope * found.centre
        apart = found.slope_se * np.diff(found.centre)
        se = np.sqrt(found.level_se[1:]**2 + found.level_se[:-1]**2 + apart**2)
        hits.append(np.abs(np.diff(straight) + 10) <= 1.96 * se)
    assert np.mean(hits) >= 0.93


def test_a_window_that_tells_more_weighs_more():
    rng = np.random.default_rng(2)
    errors = []
    for _ in range(100):
        item = told(rng, (4,))
        errors.append([lines(item).level[0], lines(item._replace(se=np.full(4, 0.1))).level[0]])
    weighed, alike = np.std(errors, axis=0)
    assert weighed < 0.9 * alike


def test_windows_of_short_stretches_are_not_chosen_to_fit_a_slope():
    """Seventeen windows as found in a ride with five stops: before, those were kept that fitted -751 ppm."""
    stretch = np.array([0, 0, 1, 2, 2, 2, 3, 3, 3, 4, 4, 4, 5, 5, 5, 5, 5])
    time = np.array([64, 188, 346, 511, 653, 795, 932, 1064, 1196, 1334, 1474, 1616, 1764, 1920, 2078, 2234, 2392.0])
    lag = np.array([-0.205, -0.365, -0.27, -0.19, -0.335, -0.08, -0.205, -0.31, -0.435, -0.21, -0.21, -0.365, -0.155,
                    -0.275, -0.41, -0.49, -0.22])
    found = lines(Told(time - 1228, lag, np.full(17, 0.12), stretch))
    assert found.windows == 17
    assert abs(found.slope) < 2 * found.slope_se < 3e-4


@pytest.mark.parametrize(("se", "more_than_half"), [(0.064, True), (0.076, False)])
def test_between_steps_the_usual_drift_of_two_clocks_is_weighed_against_the_windows(se, more_than_half):
    """USUAL_DRIFT_PPM: the slope is halved where the windows alone would tell it to 100 ppm: with no scatter
    but that expected, two thirds of it remain, and lags to 0.071 s tell it so."""
    time = np.r_[np.arange(4), np.arange(4) + 6.0] * 150.0
    item = Told(time - time.mean(), 400e-6 * time, np.full(8, se), np.repeat([0, 1], 4))
    slope = lines(item).slope
    assert (slope > 200e-6) == more_than_half
    alone = lines(item._replace(stretch=np.zeros(8, np.int64)))
    assert alone.slope == pytest.approx(400e-6, rel=1e-9)
    assert USUAL_DRIFT_PPM == 100.0


def test_too_few_windows_tell_nothing():
    assert lines(told(np.random.default_rng(3), (2,))) is None


def test_the_data_alone_tell_a_drift_that_steps_hide():
    """Between steps the slope is drawn to that of usual clocks: of 1000 ppm half is left, and would be accepted."""
    found = lines(told(np.random.default_rng(3), (4, 4, 4, 4), ppm=1000.0))
    assert found.slope < 700e-6
    assert found.plain == pytest.approx(1000e-6, abs=2 * found.plain_se)
    assert found.plain - 2 * found.plain_se > 300e-6


@pytest.mark.parametrize(("off", "se", "windows"), [
    (0.34, 0.099, 20), (0.36, 0.099, 19), (0.051, 0.001, 19), (0.049, 0.001, 20)])
def test_a_window_far_from_its_line_is_left_out(off, se, windows):
    """WINDOW_FAR_SD, 3.5 (of 0.1 s with the resolution of lags), and WINDOW_FAR_S, 0.05 s."""
    lag = np.tile([0.0, 1e-9], 10)
    lag[7] = off
    assert lines(Told(150.0 * np.arange(20), lag, np.full(20, se), np.zeros(20, np.int64))).windows == windows


@pytest.mark.parametrize(("height", "count", "tells"), [(0.61, 51, True), (0.59, 51, False), (0.61, 49, False)])
def test_a_window_that_tells_a_lag(height, count, tells):
    """WINDOW_CORRELATION, LEAST_WINDOW_S."""
    assert telling(np.array([height]), np.array([count])).tolist() == [tells]
