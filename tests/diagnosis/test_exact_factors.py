"""A device that reads an exact multiple of the reference: the scale is named alone on every processor."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.diagnosis import exact_factors

ROOT = Path(__file__).parents[2]
KERNELS = ("Haswell", "SkylakeX", "Prescott", "Nehalem")


def test_an_exact_factor_is_a_scale_alone():
    assert exact_factors.misnamed() == []


@pytest.mark.parametrize("kernel", KERNELS)
def test_on_other_processors(kernel):
    # The kernel of the linear algebra is chosen when the library is loaded; unknown names leave it as it is.
    done = subprocess.run([sys.executable, "-m", "tests.diagnosis.exact_factors"], capture_output=True, text=True,
                          check=False, cwd=ROOT, env=os.environ | {"OPENBLAS_CORETYPE": kernel})
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip().splitlines()[-1] == "[]"
