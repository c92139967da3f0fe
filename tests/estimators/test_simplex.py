"""The simplex, against a library's."""

import math

import numpy as np
import pytest
from scipy.optimize import minimize

from agree.estimators.response.simplex import lowest


def banana(x):
    return 100 * (x[1] - x[0] ** 2) ** 2 + (1 - x[0]) ** 2


def walled(x):
    """Lowest beside a wall."""
    return (x[0] - 1) ** 2 + 3 * (x[1] + 2) ** 4 + (x[2] - 0.5) ** 2 if x[0] <= 0.7 else math.inf


@pytest.mark.parametrize(("function", "corners"), [
    (banana, [[-1.2, 1], [-1.0, 1], [-1.2, 1.2]]),
    (walled, [[0, 0, 0], [0.2, 0, 0], [0, 0.3, 0], [0, 0, 0.1]])])
def test_it_ends_as_low_as_a_library(function, corners):
    corners = np.array(corners, float)
    found = lowest(function, corners, xtol=1e-6, ftol=1e-9, most=600)
    theirs = minimize(function, corners[0], method="Nelder-Mead", options={
        "initial_simplex": corners, "xatol": 1e-6, "fatol": 1e-9, "maxiter": 600})
    assert function(found) <= theirs.fun + 1e-8


def test_steps_are_bounded():
    seen = []
    lowest(lambda x: seen.append(1) or -float(x[0]), np.array([[0.0], [1.0]]), xtol=0, ftol=0, most=10)
    assert len(seen) <= 2 + 2 * 10
