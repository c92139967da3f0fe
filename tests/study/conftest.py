"""Three small units, and the tables of a run that nothing disturbed."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from agree.study import find_pairs, run
from agree.study.listing import list_text

UNITS = {"a": 1, "b": 2, "c": 3}


@pytest.fixture(scope="session")
def folder(tmp_path_factory):
    """Three units of one to three short sessions, invented."""
    root = tmp_path_factory.mktemp("study")
    rng = np.random.default_rng(2)
    for unit, sessions in UNITS.items():
        for session in range(1, sessions + 1):
            time_s = np.arange(900)
            watts = np.clip(200 + 80 * np.sin(time_s / 90 + session)
                            + np.convolve(rng.normal(0, 60, 904), np.ones(5) / 5, "valid"), 0, None).round()
            device = (0.97 * watts + rng.normal(0, 4, 900)).round()
            for role, shift, values in (("ref", 0, watts), ("dev", 3, device)):
                np.savetxt(root / f"{unit}-{session}-{role}.csv", np.c_[time_s + shift, values], delimiter=",",
                           header="time_s,power_W", comments="", fmt="%g")
    (root / "list.csv").write_text(list_text(find_pairs(root).rows))
    return root


def read_tables(out):
    return {name: (out / name).read_bytes() for name in ("pairs.csv", "units.csv", "results.jsonl")}


@pytest.fixture(scope="session")
def tables():
    """The function that reads the tables of a folder."""
    return read_tables


@pytest.fixture(scope="session")
def done(tmp_path_factory):
    """Where the undisturbed run leaves its records: what was checked there is not checked again."""
    return tmp_path_factory.mktemp("out")


@pytest.fixture(scope="session")
def undisturbed(folder, done):
    """The tables of a run that nothing disturbed, in this process."""
    out = done
    with ThreadPoolExecutor(1) as executor:
        study = run(folder / "list.csv", "1.5 %", executor=executor, workers=1, out=out)
    assert (study.computed, study.reused, study.failed) == (6, 0, 0)
    return read_tables(out)


