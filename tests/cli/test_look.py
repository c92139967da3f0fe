"""`agree look`, and the options of `agree check` that say how recordings are read and used."""

import gzip
import json
from pathlib import Path

import numpy as np
import pytest

from tests.command import agree

RIDES = Path(__file__).parents[1] / "data" / "rides"
BIKE, PEDALS = RIDES / "pair-1-bike.csv", RIDES / "pair-1-pedals.csv"


def checked(*arguments):
    done = agree("check", *arguments, "--claim", "1.5%", "--json", "-")
    assert (done.returncode, done.stderr) == (0, "")
    return json.loads(done.stdout)


def refused(*arguments):
    done = agree(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("agree: ")
    assert done.stderr.count("\n") == 1
    return done.stderr.removeprefix("agree: ").strip()


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """Two power columns in one file, of one clock: invented."""
    rng = np.random.default_rng(4)
    power = np.clip(200 + np.cumsum(rng.normal(0, 12, 1500)) % 150, 0, None)
    path = tmp_path_factory.mktemp("both") / "both.csv"
    rows = "".join(f"{t};{x:.1f};{0.97 * x + rng.normal(0, 2):.1f}\n".replace(".", ",") for t, x in enumerate(power))
    path.write_text("Sekunden;Leistung A [W];Leistung B [W]\n" + rows, encoding="utf-8")
    return path


def test_look_prints_what_a_file_holds_and_saves_nothing(tmp_path):
    packed = tmp_path / "packed.gz"
    packed.write_bytes(gzip.compress(BIKE.read_bytes()))
    done = agree("look", packed, PEDALS)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("File ") == 2
    assert "3,815 rows" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 79
    assert [path.name for path in tmp_path.iterdir()] == ["packed.gz"]


def test_look_as_json():
    seen = json.loads(agree("look", BIKE, "--json").stdout)
    assert [channel["role"] for channel in seen[0]["channels"]] == ["time", "power", "cadence"]
    assert seen[0]["rows"] == 3815


def test_look_shows_columns_of_a_file_that_needs_a_name(both):
    text = agree("look", both).stdout
    assert "2 columns that may be the power" in " ".join(text.split())
    assert "1,500" in text
    named = agree("look", both, "--read", "power=Leistung B [W]").stdout
    assert "Problem" not in named


def test_look_refuses_what_it_cannot_open(tmp_path):
    assert "found no such file" in refused("look", tmp_path / "none.csv")
    assert "found a directory" in refused("look", tmp_path)


def test_two_columns_of_one_file_are_a_pair(both):
    result = checked(both, "--reference-column", "Leistung A [W]", "--device-column", "Leistung B [W]")
    assert result["bias_percent"]["value"] == pytest.approx(-3, abs=0.1)
    assert result["alignment"]["lag_s"] == pytest.approx(0, abs=0.05)
    keys = checked(both, both, "--reference-read", "power=Leistung A [W]", "--device-read", "power=Leistung B [W]")
    assert keys["bias_percent"] == result["bias_percent"]


def test_one_file_without_names_lists_the_columns(both):
    message = refused("check", both, "--claim", "1.5%")
    assert "Leistung A [W]" in message
    assert "Leistung B [W]" in message
    assert "--reference-column" in message


def test_dialect_can_be_told(both):
    names = ("--reference-read", "power=Leistung A [W]", "--device-read", "power=Leistung B [W]")
    told = [item for role in ("reference", "device")
            for item in (f"--{role}-read", "decimal=comma", f"--{role}-read", "delimiter=semicolon")]
    assert checked(both, both, *names, *told)["bias_percent"] == checked(both, both, *names)["bias_percent"]
    message = refused("check", both, both, "--claim", "1.5%", *names, "--device-read", "decimal=star")
    assert "star" in message
    assert "comma" in message


def test_what_is_done_with_faults_can_be_chosen(tmp_path):
    lines = PEDALS.read_text(encoding="utf-8").splitlines()
    for row in range(1000, 1030):  # 30 s of dropout
        cells = lines[row].split(",")
        lines[row] = ",".join([cells[0], "0", *cells[2:]])
    device = tmp_path / "device.csv"
    device.write_text("\n".join(lines) + "\n", encoding="utf-8")
    aside, kept = checked(BIKE, device), checked(BIKE, device, "--faults", "dropout=keep")
    listed = checked(BIKE, device, "--faults", "report")
    assert aside["seconds"]["set_aside"]["device_dropout"] == pytest.approx(30, abs=2)
    assert kept["seconds"]["set_aside"]["device_dropout"] == listed["seconds"]["set_aside"]["device_dropout"] == 0
    assert kept["bias_percent"]["value"] < aside["bias_percent"]["value"] - 0.3
    assert listed["bias_percent"]["value"] == pytest.approx(aside["bias_percent_with_faults"]["value"], abs=0.1)
    kinds = [fault["kind"] for fault in listed["sessions"][0]["faults"]]
    assert "device_dropout" in kinds
    assert "--faults 'dropout=lose' is not understood" in refused(
        "check", BIKE, device, "--claim", "1.5%", "--faults", "dropout=lose")


def test_best_efforts_and_matched_response():
    text = agree("check", BIKE, PEDALS, "--claim", "1.5%", "--efforts").stdout
    assert "20 min" in text
    assert max(map(len, text.splitlines())) <= 80
    plain = checked(BIKE, PEDALS)
    assert plain["sessions"][0]["matched"]["kind"] == "none"
    assert len(plain["sessions"][0]["best_efforts"]["efforts"]) == 9
    assert plain["sessions"][0]["response"]["kind"] in ("none", "running mean", "first order")
