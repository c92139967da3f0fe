"""Two kinds of zero that take one another away are none."""

import numpy as np
import pytest

from agree.diagnosis.windows.order import cancel

ONE = np.linspace(50, 60, 40)


@pytest.mark.parametrize(("causes", "left", "told"), [
    pytest.param(("offset", "torque_offset"), 0.39, True, id="CANCEL_SHARE inside"),
    pytest.param(("offset", "torque_offset"), 0.41, False, id="CANCEL_SHARE outside"),
    (("torque_offset", "cadence_gain"), 0.39, True),
    (("scale", "offset"), 0.1, False)])
def test_two_zeros_must_leave_something_of_one_another(causes, left, told):
    """A scale with a zero against it is what many devices have: these stay."""
    assert cancel(causes, np.stack([ONE, (left - 1) * ONE])) == told


def test_one_zero_is_enough():
    assert not cancel(("scale", "offset"), np.stack([ONE, ONE]))
    assert not cancel((), np.empty((0, 40)))
