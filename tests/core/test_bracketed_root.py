"""The root between two ends, against a library's."""

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from agree.core.interval.bracketed_root import bracketed_root

FUNCTIONS = [lambda x: x**3 - 2 * x - 5, lambda x: math.exp(x) - 3, lambda x: math.atan(50 * (x - 1.234567)),
             lambda x: math.copysign(math.sqrt(abs(x - 0.3)), x - 0.3), lambda x: x - 1e-9]


@pytest.mark.parametrize("function", FUNCTIONS)
@pytest.mark.parametrize(("low", "high"), [(-10.0, 10.0), (10.0, -10.0), (-3.0, 2.5)])
def test_as_a_library_finds_it(function, low, high):
    seen = []

    def counted(x):
        seen.append(x)
        return function(x)

    found = bracketed_root(counted, low, high, xtol=1e-13, rtol=1e-13)
    assert found == pytest.approx(brentq(function, low, high, xtol=1e-13, rtol=1e-13), abs=1e-9)
    assert len(seen) < 120


@given(st.floats(-100, 100), st.floats(1e-3, 50), st.floats(1e-3, 50))
def test_the_place_is_inside_and_changes_the_sign(root, below, above):
    found = bracketed_root(lambda x: (x - root) * (1 + (x - root) ** 2), root - below, root + above, xtol=1e-12)
    assert abs(found - root) <= 1e-12 + 1e-13 * abs(root) + 2 * math.ulp(abs(root) + 50)


def test_a_flat_root_is_found_in_few_steps():
    seen = []
    found = bracketed_root(lambda x: seen.append(x) or (x - 1) ** 7, -10, 10, xtol=1e-13)
    assert abs(found - 1) < 1e-9
    assert len(seen) < 60


def test_ends_and_functions_without_a_root():
    assert bracketed_root(lambda x: x, 0.0, 5.0) == 0.0
    assert bracketed_root(lambda x: x - 5, 0.0, 5.0) == 5.0
    for function in (lambda x: x * x + 1, lambda x: math.nan):
        with pytest.raises(ValueError, match="must change its sign between -1 and 1; got"):
            bracketed_root(function, -1, 1)


def test_a_check_loads_no_library_of_optimizers():
    code = "import sys, agree.assessment.claim_check, agree.pairing.pair; print('scipy.optimize' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"
