"""Coverage of the intervals of bias and precision from repeats, and conditions that break what they assume.

    python benchmarks/coverage_repeats.py [--runs N]

12 and 25 subjects with 3 readings each (SD of the reference 6, of the device 4, of a subject's own error of the
device 3, of the subjects 30). Adversaries: 1 to 4 readings a subject; errors with t of 3 degrees of freedom; SDs that
grow with the level; subjects that hardly differ (SD 9). In the last columns, the median slope (true 1.05) by this
line and by least squares, which takes the reference for exact. Prints a Markdown table.
"""

from __future__ import annotations

import argparse
import warnings

import numpy as np

from agree import InputError, bias_and_precision

NAMES = ("slope", "intercept", "bias", "reference_sd", "device_sd", "recalibrated_sd")
KINDS = ("as assumed", "1 to 4 readings", "t, 3 df", "SD grows with level", "subjects hardly differ")


def errors(rng: np.random.Generator, sd: np.ndarray, kind: str) -> np.ndarray:
    """Errors with these SDs."""
    if kind == "t, 3 df":
        return np.asarray(sd * rng.standard_t(3, sd.size) / np.sqrt(3))
    return np.asarray(rng.normal(0, sd))


def study(rng: np.random.Generator, subjects: int, kind: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Reference, device, subject."""
    size = rng.integers(1, 5, subjects) if kind == "1 to 4 readings" else np.full(subjects, 3)
    subject = np.repeat(np.arange(subjects), size)
    true = rng.normal(220, 9 if kind == "subjects hardly differ" else 30, subjects)
    grows = true / 220 if kind == "SD grows with level" else np.ones(subjects)
    own = errors(rng, 3 * grows, kind)
    return (true[subject] + errors(rng, 6 * grows[subject], kind),
            (1.05 * true - 4 + own)[subject] + errors(rng, 4 * grows[subject], kind), subject)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=1000)
    runs = parser.parse_args().runs
    warnings.simplefilter("ignore")
    print(f"Coverage in % of 95, {runs} runs, Monte-Carlo error {100 * (0.95 * 0.05 / runs) ** 0.5:.1f}\n")
    print(f"| subjects | condition | {' | '.join(NAMES)} | refused | median slope | least squares |")
    print("|---:|---|" + "---:|" * (len(NAMES) + 3))
    for subjects in (12, 25):
        for kind in KINDS:
            rng, hits, slopes, refused = np.random.default_rng(1), np.zeros(len(NAMES)), [], 0
            for _ in range(runs):
                x, y, subject = study(rng, subjects, kind)
                try:
                    found = bias_and_precision(x, y, subject)
                except InputError:
                    refused += 1
                    continue
                truth = (1.05, -4, found.mean_level * 0.05 - 4, 6, 5, 5 / 1.05)
                items = [getattr(found, name) for name in NAMES]
                hits += [item.low <= value <= item.high for item, value in zip(items, truth, strict=True)]
                slopes.append((found.slope.value, np.polyfit(x, y, 1)[0]))
            shares = " | ".join(f"{100 * hit / max(runs - refused, 1):.1f}" for hit in hits)
            ours, least = np.median(slopes, axis=0)
            print(f"| {subjects} | {kind} | {shares} | {refused} | {ours:.3f} | {least:.3f} |", flush=True)


if __name__ == "__main__":
    main()
