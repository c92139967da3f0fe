"""A device that is stuck at one value for minutes: held, on its own side, however long, and whatever it is stuck at."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from agree import pair_recordings
from agree.faults.held import held
from agree.faults.late_start import late_starts
from tests.faults.test_more_thresholds import seen

RIDES = Path(__file__).parent.parent / "data" / "rides"


def frame(power):
    return pd.DataFrame({"time_s": np.arange(power.size), "power_W": np.rint(power)})


@pytest.mark.parametrize(("name", "value", "seconds"), [
    ("single-road-stops", 372.0, 300), ("single-road-stops", 372.0, 800)])
def test_a_stuck_device_is_held(name, value, seconds):
    x = np.nan_to_num(pd.read_csv(RIDES / f"{name}.csv")["power_W"].to_numpy(float))[600:2600]
    rng = np.random.default_rng(1)
    y = np.where(x > 0, np.maximum(x + rng.normal(0, 4, x.size), 1), 0)
    y[900:900 + seconds] = value
    pairs = pair_recordings(frame(x), frame(y))
    assert {fault.kind for fault in pairs.faults} == {"device_held"}
    assert set(pairs.reason[905:895 + seconds]) == {"device_held"}


@pytest.mark.parametrize(("seconds", "unknown", "found"), [
    pytest.param(60, 11, 1, id="CLAIM_UNKNOWN"), pytest.param(60, 13, 0, id="CLAIM_UNKNOWN"),
    pytest.param(60, 1, 1, id="STUCK_S"), pytest.param(59, 1, 0, id="STUCK_S")])
def test_a_long_run_may_have_seconds_in_which_the_other_one_is_unknown(seconds, unknown, found):
    rng = np.random.default_rng(3)
    usual = 200 + 20 * np.sin(np.arange(900) / 9)
    y = usual * 0.97 + rng.normal(0, 3, 900)
    y[400:400 + seconds] = 260
    judged = seen(y, usual)
    judged.known[410:410 + unknown] = False
    assert len(held(judged)) == found


@pytest.mark.parametrize(("works", "late"), [pytest.param(5, 0, id="FROZEN_S"), pytest.param(4, 10, id="FROZEN_S")])
def test_one_that_was_stuck_before_a_rest_does_not_wake_late(works, late):
    usual = np.r_[np.tile([200.0, 260.0], 50), np.zeros(70), np.tile([200.0, 260.0], 50)]
    y = usual.copy()
    y[100 - works:180] = 210.0
    assert int(late_starts(seen(y, usual))[170:180].sum()) == late
