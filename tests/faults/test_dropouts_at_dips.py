"""Dropouts of the reference where a slow device dips, as before and after short rests of a ride on the road."""

import numpy as np
from scipy.signal import lfilter

from agree.faults.set_aside import set_aside

LOST = (331, 571, 811, 1051, 1291)


def test_dropouts_beside_short_rests_are_found():
    rng = np.random.default_rng(5)
    true = np.maximum(210 + lfilter([1], [1, -0.97], rng.normal(0, 16, 1500)), 60)
    for start in range(80, 1450, 60):
        true[start:start + int(rng.integers(2, 6))] = 0
    x = np.rint(np.where(true > 0, true + rng.normal(0, 3, 1500), 0))
    y = np.rint(lfilter([1 - np.exp(-1 / 4)], [1, -np.exp(-1 / 4)], true) + rng.normal(0, 2, 1500)).clip(0)
    for at in LOST:
        x[at:at + 5] = 0
    setting = set_aside(x, y)
    found = [one for one in setting.faults if one.kind == "dropout"]
    assert {at for at in LOST for one in found if one.start <= at + 2 < one.stop} == set(LOST)
    assert len(found) == len(LOST)
    u, v = (column[setting.reason == ""].sum() for column in (setting.matched.reference, setting.matched.device))
    assert abs(100 * (v / u - 1)) < 0.1
