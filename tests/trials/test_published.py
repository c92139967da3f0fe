"""Published sets end to end through `agree trials`: cardiac output 2007, peak flow 1986."""

import csv
import json
from pathlib import Path

import pytest

from agree.cli.main import command

PUBLISHED = Path(__file__).parent.parent / "published"


def run(capsys, *arguments):
    command.main(["trials", *map(str, arguments)], standalone_mode=False)
    return json.loads(capsys.readouterr().out)


@pytest.fixture
def cardiac(tmp_path):
    """Return the set with a column of trials, numbered by subject."""
    lines = [line for line in (PUBLISHED / "cardiac_2007/data.csv").read_text(encoding="utf-8").splitlines()
             if not line.startswith("#")]
    made, seen = ["subject,trial,RV (l/min),IC (l/min)"], {}
    for row in csv.DictReader(lines):
        seen[row["subject"]] = seen.get(row["subject"], 0) + 1
        made.append(f"{row['subject']},{seen[row['subject']]},{row['RV']},{row['IC']}")
    path = tmp_path / "cardiac.csv"
    path.write_text("\n".join(made) + "\n", encoding="utf-8")
    return path


def test_cardiac_output_2007(cardiac, capsys):
    found = run(capsys, cardiac, "--reference", "IC (l/min)", "--device", "RV (l/min)", "--claim", "1 l/min",
                "--json", "-")
    assert (found["subjects"], found["trials"]["n"], found["unit"]) == (12, 60, "l/min")
    assert found["verdict"] == "not settled"
    assert [round(found["bias"][key], 2) for key in ("value", "low", "high")] == [0.71, 0.10, 1.32]
    assert [round(found["limits"][end]["value"], 2) for end in ("lower", "upper")] == [-1.30, 2.72]
    assert [round(found["typical_errors"][name]["value"], 2) for name in ("reference", "device")] == [0.37, 0.33]
    readings = next(item for item in found["readings"] if item["meaning"] == "readings")
    assert readings["verdict"] == "does not hold"
    assert [round(100 * found["shares"]["counted"][key]) for key in ("value", "low", "high")] == [60, 31, 84]


@pytest.fixture
def peak_flow():
    return PUBLISHED / "peak_flow_1986/data.csv"


def test_peak_flow_1986(peak_flow, capsys):
    found = run(capsys, peak_flow, "--by", "subject", "--reference", "large1,large2", "--device", "small1,small2",
                "--claim", "30 l/min", "--json", "-")
    assert (found["subjects"], found["trials"]["n"], found["verdict"]) == (17, 34, "holds")
    assert [round(found["bias"][key], 1) for key in ("value", "low", "high")] == [6.0, -11.0, 23.1]
    # The textbook prints 15.3 l/min for the large meter's within-subject SD, from its residual mean square 234.29.
    assert round(found["typical_errors"]["reference"]["value"], 1) == 15.3
    assert [round(found["limits"][end]["value"], 1) for end in ("lower", "upper")] == [-67.7, 79.8]
    assert [round(found["typical_errors"]["ratio"][key], 2) for key in ("value", "low", "high")] == [1.30, 0.78, 2.16]
    assert found["icc"]["caution"].startswith("A share of the variance between these subjects")
