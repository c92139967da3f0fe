"""Gross faults that are hidden before clocks are fitted, on both sides of each limit of `agree.faults.screen`."""

import numpy as np
import pytest

from agree.faults.screen import hide, zeros_amid

AROUND = np.tile([1.0, -1.0], 150)


@pytest.mark.parametrize(("apart", "hidden"), [
    pytest.param(9, True, id="GROSS_APART_S"), pytest.param(8, False, id="GROSS_APART_S")])
def test_a_zero_far_from_coasting(apart, hidden):
    device, other = 200 + AROUND, 200 + AROUND
    device[100], other[100 + apart] = 0.0, 0.0
    assert zeros_amid(other, device)[1][100] == hidden


@pytest.mark.parametrize(("sharper", "dip", "hidden"), [
    pytest.param(1.31, 0.96, True, id="DIP"), pytest.param(1.31, 0.94, False, id="DIP"),
    pytest.param(1.29, 0.94, True, id="GROSS_SHARPER"), pytest.param(1.31, 0.94, False, id="GROSS_SHARPER")])
def test_a_stop_of_the_sharper_trace(sharper, dip, hidden):
    """The smoother one dips where the sharper one stops for 2 s."""
    device, other = 200 + sharper * AROUND, 200 + AROUND
    device[100:102], other[101:104] = 0.0, 200.0 * dip
    assert zeros_amid(other, device)[1][100] == hidden


@pytest.mark.parametrize(("apart", "hidden"), [pytest.param(6, True, id="NEAR_S"), pytest.param(5, False, id="NEAR_S")])
def test_a_spike_far_from_a_sprint(apart, hidden):
    device, other = 200 + AROUND, 200 + AROUND
    device[100], other[100 + apart] = 900.0, 600.0
    assert hide(other, device)[1][100] == hidden
