"""The invented studies run end to end, and say what was put in."""

import csv
import subprocess
import sys

import pytest
from click.testing import CliRunner

from agree.cli.main import command
from agree.demo.many import write_fleet, write_study, write_trail
from agree.study import find_pairs


def demo(folder, kind):
    done = CliRunner().invoke(command, ["demo", kind, str(folder)], standalone_mode=False)
    assert done.exit_code == 0, f"{done.output}\n{done.exception!r}"
    return done.stdout


def test_trail(tmp_path):
    said = demo(tmp_path, "trail")
    assert "Invented data" in said
    assert "HOLDS" in said
    assert "factor 1.026 entered" in said
    assert "together-third stands apart" in said


def test_study_and_fleet_are_found_whole(tmp_path):
    assert len(find_pairs(write_study(tmp_path / "study"), "{athlete}_{condition}_{session}_{unit}_{role}").rows) == 24
    fleet = find_pairs(write_fleet(tmp_path / "fleet", units=6))
    assert len({row.unit for row in fleet.rows}) == 6
    assert not fleet.leftovers


def test_the_list_itself_is_not_left_over(tmp_path):
    """The shell makes its file before the folder is searched; the second time it holds the first list."""
    for name in ("a-1-ref.csv", "a-1-dev.csv"):
        (tmp_path / name).touch()
    for _ in range(2):
        with (tmp_path / "study.csv").open("w") as file:
            done = subprocess.run([sys.executable, "-m", "agree", "study", "list", str(tmp_path)], stdout=file,
                                  stderr=subprocess.PIPE, check=True, text=True)
        assert done.stderr.startswith("1 pair, 1 unit, 0 files left over")
    (tmp_path / "old.csv").write_text((tmp_path / "study.csv").read_text())
    assert not [name for name, _ in find_pairs(tmp_path).leftovers]


def test_a_file_of_somebody_else_stays(tmp_path):
    (tmp_path / "1-reference.csv").write_text("mine")
    with pytest.raises(ValueError, match="was not written by this demo"):
        write_trail(tmp_path)
    assert (tmp_path / "1-reference.csv").read_text() == "mine"


@pytest.mark.slow
def test_study_runs(tmp_path):
    said = demo(tmp_path, "study")
    assert "24 tried now" in said
    with (tmp_path / "results" / "units.csv").open() as file:
        assert [row["unit"] for row in csv.DictReader(file)] == ["D1", "D2"]
