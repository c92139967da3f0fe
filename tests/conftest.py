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

gc.disable()  # while thousands of tests are collected, which all stay: a search for garbage finds none


def pytest_collection_finish():
    """Collect garbage again, of what comes from here on."""
    gc.freeze()
    gc.enable()


@pytest.fixture
def rng():
    """A generator with a fixed seed, new for each test."""
    return np.random.default_rng(20240607)


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
