"""Every threshold has a test at its boundary: one that names it, in an import, the id of a case or a comment."""

import re
from pathlib import Path

import pytest

from agree.core import thresholds
from tests.each import each

TESTS = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def words():
    written = [path.read_text(encoding="utf-8") for path in TESTS.rglob("test_*.py") if path != Path(__file__)]
    return set(re.findall(r"\b[A-Z][A-Z0-9_]+\b", "\n".join(written)))


@each("name", [name for name in vars(thresholds) if name.isupper()])
def test_a_test_names_it(name, words):
    assert name in words, f"write a test on both sides of {name}, and name it there"
