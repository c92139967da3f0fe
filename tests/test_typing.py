"""A user's strict script type-checks and runs, and misspelt choices are seen by the checker."""

import re
import subprocess
import sys
from pathlib import Path

FOLDER = Path(__file__).parent / "typing"


def checked(name):
    return subprocess.run([sys.executable, "-m", "mypy", "--strict", "--no-error-summary", str(FOLDER / name)],
                          capture_output=True, text=True, cwd=FOLDER.parents[1], check=False)


def test_a_users_script_is_typed_and_runs():
    done = checked("user_script.py")
    assert done.returncode == 0, done.stdout
    ran = subprocess.run([sys.executable, str(FOLDER / "user_script.py")], capture_output=True, text=True, check=True)
    assert "LimitsOfAgreement" in ran.stdout


def test_slips_are_seen():
    lines = (FOLDER / "misspelt.py").read_text(encoding="utf-8").splitlines()
    expected = {(number, line.rpartition("# ")[2]) for number, line in enumerate(lines, 1) if "  # " in line}
    said = re.findall(r":(\d+): error: .*\[([\w-]+)\]", checked("misspelt.py").stdout)
    found = {(int(number), code) for number, code in said}
    assert found == expected
