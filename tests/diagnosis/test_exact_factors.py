"""A device that reads an exact multiple of the reference: the scale is named alone on every processor."""

import os
import subprocess
import sys

import numpy as np
import pytest

from agree import Pairs
from agree.correction.find import correction
from agree.diagnosis.findings import findings
from agree.verdict.columns import table

FACTORS = np.arange(90, 111) / 100
WATTS = 200 + 80 * np.sin(np.arange(1800) / 90)
CADENCE = 85 + 10 * np.sin(np.arange(1800) / 50)

KERNELS = ("Haswell", "SkylakeX", "Prescott", "Nehalem")
ONE_KERNEL = """
import sys
sys.path.insert(0, "tests/diagnosis")
from test_exact_factors import misnamed
print(misnamed())
"""


def misnamed():
    """Factors whose causes are not the scale alone (none at a factor of 1); three ways of rounding each."""
    rng, wrong = np.random.default_rng(1), []
    for factor in FACTORS:
        exact = factor * WATTS
        jitter = np.nextafter(exact, np.where(rng.random(exact.size) < 0.5, -np.inf, np.inf))
        for device, cadence in ((exact, None), (jitter, None), (jitter, CADENCE)):
            data = table(Pairs(reference=WATTS, device=device, cadence=cadence), 30)
            named = [item.cause for item in findings(data, correction(data, 0.95, 30))]
            if [name for name in named if "crank" not in name] != ([] if factor == 1 else ["scale"]):
                wrong.append((float(factor), named))
    return wrong


def test_an_exact_factor_is_a_scale_alone():
    assert misnamed() == []


@pytest.mark.parametrize("kernel", KERNELS)
def test_on_other_processors(kernel):
    # The kernel of the linear algebra is chosen when the library is loaded; unknown names leave it as it is.
    done = subprocess.run([sys.executable, "-c", ONE_KERNEL], capture_output=True, text=True, check=False,
                          env=os.environ | {"OPENBLAS_CORETYPE": kernel})
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip().splitlines()[-1] == "[]"
