"""Devices that read an exact multiple of the reference; tried in a process of its own, so without pytest."""

import numpy as np

from agree import Pairs
from agree.correction.find import correction
from agree.diagnosis.findings import findings
from agree.verdict.columns import table

FACTORS = np.arange(90, 111) / 100
WATTS = 200 + 80 * np.sin(np.arange(1800) / 90)
CADENCE = 85 + 10 * np.sin(np.arange(1800) / 50)


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


if __name__ == "__main__":
    print(misnamed())
