"""A user's script, strictly typed: every kind of input that the documentation names. It is checked, and run."""

from pathlib import Path
from typing import assert_type

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa

import agree
from agree import (
    Alignment,
    Band,
    ClaimCheck,
    Correction,
    Estimate,
    InputError,
    Line,
    Pairs,
    Recording,
    bias_by_band,
    check_claim,
    deming,
    find_correction,
    limits_of_agreement,
    pair_recordings,
    passing_bablok,
    read_recording,
    split_errors,
)

x = [100.0, 150.0, 200.0, 250.0, 300.0]
y = [103.0, 151.0, 208.0, 254.0, 312.0]

limits = limits_of_agreement(x, y)
assert_type(limits.bias, Estimate)
assert_type(limits.bias.low, float)
limits_of_agreement(tuple(x), np.array(y), scale="percent", level=0.9)
limits_of_agreement(pd.Series(x), pd.Series(y), scale="log")
limits_of_agreement(pl.Series(x), pl.Series(y))
limits_of_agreement(pa.array(x), pa.array(y))
assert_type(deming(x, y, weighting="proportional"), Line)
assert_type(passing_bablok(x, y, sampling="sessions", session=["a", "a", "b", "b", "b"]).slope, Estimate)
assert_type(bias_by_band(x, y, edges=[0, 200, 400]).bands, tuple[Band, ...])
split_errors(x, y, np.array(x) + 1.0)


def verdict_of(reference: Path | str, device: bytes) -> str:
    """From two files, one of them in memory."""
    recording = read_recording(reference)
    assert_type(recording, Recording)
    pairs = pair_recordings(recording, device, max_lag_s=60)
    assert_type(pairs, Pairs)
    alignment: Alignment | None = pairs.alignment
    check = check_claim([pairs], "±1.5 %", reference_uncertainty="0.5 %", meaning="next_session", level=0.9)
    assert_type(check, ClaimCheck)
    correction: Correction = find_correction([pairs])
    return f"{check.verdict} {alignment} {correction.scale.value}"


def verdict_of_frames(frame: pd.DataFrame, other: pl.DataFrame) -> str:
    """From two data frames."""
    return check_claim(pair_recordings(frame, other), "2 W").verdict


pairs = Pairs(reference=x, device=tuple(y), time=np.arange(5))
try:
    check_claim(pairs, "1.5 %")
except InputError as error:
    print(error)
print(agree.__version__, limits, repr(limits))
