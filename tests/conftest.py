"""Shared fixtures; an oracle that cannot be imported is a failure, never a skip."""

import gc
import importlib
import os
import sys
import warnings
from pathlib import Path

# Workers side by side: threads of linear algebra in each would only wait for one another. Read when numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pytest
from hypothesis import HealthCheck, settings

sys.path.insert(0, str(Path(__file__).parent / "reference"))  # the slow twins, modules named twin_*

settings.register_profile("agree", deadline=None, derandomize=True, print_blob=True, max_examples=60,
                          suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
settings.load_profile("agree")

# Files that take longest, the longest first; all others follow as they are found. Renew by `pytest --durations 0`.
LONGEST = (
    "report/test_page", "test_docs", "diagnosis/test_findings", "test_docs_commands", "faults/test_faults",
    "correction/test_find", "estimators/test_nonlinear", "test_typing", "study/test_study", "cli/test_check",
    "study/test_demos", "faults/test_slow_devices", "pairing/test_same_ride", "files/test_dialects", "test_house",
    "diagnosis/test_exact_factors", "recordings/test_read_errors", "assessment/test_claim_check",
    "core/test_threads", "estimators/test_response", "estimators/test_line_variants", "faults/test_no_faults",
    "faults/test_aside", "pairing/test_one_programme", "files/test_content", "estimators/test_three_devices",
    "faults/test_coasting_after_sprints", "trail/test_trail", "estimators/test_far_tail", "study/test_executors",
    "pairing/test_witnesses", "faults/test_repeated_readings", "assessment/test_next_step",
    "report/test_other_page", "report/test_story", "faults/test_many_zeros", "pairing/test_pair",
    "faults/test_invariant", "verdict/test_chance", "estimators/test_efforts", "estimators/test_passing_bablok",
    "estimators/test_equivalence", "cli/test_look", "files/test_fit_hostile", "verdict/test_sessions",
    "report/test_sheet", "files/test_parquet", "recordings/test_read", "files/test_fuzz_seeds", "cli/test_schemas",
)

gc.disable()  # while thousands of tests are collected, which all stay: a search for garbage finds none


def pytest_collection_modifyitems(items):
    """Put the longest files first: workers take files in this order, and so they end at about the same time."""
    here = Path(__file__).parent
    place = {here / f"{name}.py": number for number, name in enumerate(LONGEST)}
    missing = [str(path) for path in place if not path.exists()]
    assert not missing, f"named in tests/conftest.py, but not there: {missing}"
    items.sort(key=lambda item: place.get(item.path, len(place)))


def pytest_collection_finish():
    """Collect garbage again, of what comes from here on."""
    gc.freeze()
    gc.enable()


@pytest.fixture
def rng():
    """A generator with a fixed seed, new for each test."""
    return np.random.default_rng(20240607)


@pytest.fixture(scope="session")
def one_folder(tmp_path_factory):
    """A folder for all examples of a property: to make a new one for each takes longer than to read its file."""
    return tmp_path_factory.mktemp("examples")


def _oracle(name):
    try:
        # scipy.odr is deprecated from 1.17 on; it goes on serving as an oracle as long as it is there.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return importlib.import_module(name)
    except ImportError as exc:
        pytest.fail(f"the oracle {name} is required and cannot be imported: {exc}")


@pytest.fixture(scope="session")
def oracle():
    """Import a library by name as an oracle; failing to is a failure of the test."""
    return _oracle
