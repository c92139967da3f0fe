"""A user's strict script type-checks and runs, and misspelt choices are seen by the checker."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "typing"


@pytest.fixture(scope="module")
def said():
    """What the checker says of both scripts, checked at once: it spends its time on the package."""
    command = [sys.executable, "-m", "mypy", "--strict", "--no-error-summary"]
    done = subprocess.run([*command, *(str(FOLDER / name) for name in ("user_script.py", "misspelt.py"))],
                          capture_output=True, text=True, cwd=FOLDER.parents[1], check=False)
    assert done.returncode == 1, done.stdout + done.stderr  # of the slips
    return done.stdout.splitlines()


def test_a_users_script_is_typed_and_runs(said):
    assert [line for line in said if "misspelt.py:" not in line] == []
    ran = subprocess.run([sys.executable, str(FOLDER / "user_script.py")], capture_output=True, text=True, check=True)
    assert "LimitsOfAgreement" in ran.stdout


def test_slips_are_seen(said):
    lines = (FOLDER / "misspelt.py").read_text(encoding="utf-8").splitlines()
    expected = {(number, line.rpartition("# ")[2]) for number, line in enumerate(lines, 1) if "  # " in line}
    errors = re.findall(r"misspelt\.py:(\d+): error: .*\[([\w-]+)\]", "\n".join(said))
    found = {(int(number), code) for number, code in errors}
    assert found == expected
