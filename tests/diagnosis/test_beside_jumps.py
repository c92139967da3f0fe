"""A mean over 1.5 s looks like a delay of a part of a second, but for what it spreads beside sprints: no scale."""

import numpy as np
import pytest

from agree import Pairs
from agree.core.data.matched import Matched
from agree.correction.find import correction
from agree.diagnosis.findings import findings
from agree.diagnosis.windows.frame import beside_jump
from agree.verdict.columns import table

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def a_part_late(reference, device, late):
    """A pair of which a delay by a part of a second is told."""
    mixed = (1 - late) * reference + late * np.r_[reference[:1], reference[:-1]]
    return Pairs(reference=reference, device=device, matched=Matched(
        reference=mixed, device=device, smoother="device", delay_s=late, mean_delay_s=late),
        reason=np.where((mixed == 0) & (device == 0), "both_coasting", ""))


@pytest.mark.parametrize("seed", range(3))
def test_a_mean_over_a_second_and_a_half_brings_no_scale_and_no_zero(seed):
    """Each sprint ends in coasting: "-0.8 % at every power" and "+1.2 W" were told of an exact device, in 5 of 7."""
    rng = np.random.default_rng(seed)
    watts = 150 + np.convolve(rng.normal(0, 8, 2459), 0.9 ** np.arange(60), "valid")
    for at in range(80, 2350, 120):
        watts[at:at + 10], watts[at + 10:at + 25] = 800 * np.exp(-np.arange(10) / 25), 0
    device = sum(part * np.roll(watts, by) for by, part in enumerate((1 / 3, 0.625, 1 / 24)))
    x, y = (np.where(one > 0, one * (1 + 0.01 * rng.normal(size=one.size)), 0.0)
            for one in (watts, device))
    data = table(a_part_late(x, y, 0.625), 30)
    found = findings(data, correction(data, 0.95, 30))
    assert not {"scale", "offset", "torque_offset", "bend"} & {item.cause for item in found}


@pytest.mark.parametrize(("jump", "left_out"), [pytest.param(1.03, True, id="JUMP_SHARE"),
                                                pytest.param(0.97, False, id="JUMP_SHARE")])
def test_a_jump_of_power(jump, left_out):
    watts = np.full(1000, 200.0)
    watts[500] = 200 + 200.2 * jump
    pairs = a_part_late(watts, watts, 0.0)
    assert beside_jump(pairs).any() == left_out
    assert beside_jump(pairs).sum() == 6 * left_out
