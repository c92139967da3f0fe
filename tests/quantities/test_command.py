"""`agree check --quantity` for every quantity known, from the files people have."""

import json
from datetime import UTC, datetime, timedelta

import jsonschema
import numpy as np
import pytest

from agree import InputError, pair_trials
from agree.cli.main import command
from agree.schema.shipped import schema_text

START = datetime(2026, 3, 1, 9, tzinfo=UTC)


def pace_text(speed):
    seconds = 1000 / speed
    return f"{int(seconds // 60)}:{seconds % 60:04.1f}"


@pytest.mark.parametrize(("quantity", "header", "claim", "level", "write", "unit"), [
    ("speed", "speed (km/h)", "2 %", 12.0, "{:.2f}".format, "m/s"),
    ("pace", "pace (min/km)", "2 %", 3.3, pace_text, "m/s"),
    ("cadence", "cadence (rpm)", "2 rpm", 85.0, "{:.0f}".format, "rpm"),
    ("torque", "torque (Nm)", "2 %", 35.0, "{:.1f}".format, "Nm"),
    ("oxygen uptake", "VO2 (ml/min)", "5 %", 2800.0, "{:.0f}".format, "l/min"),
    ("core temperature", "core temperature (°C)", "0.3 °C", 37.8, "{:.2f}".format, "°C"),
    ("balance", "balance (%)", "2 points", 48.0, "{:.1f}".format, "%"),
    ("heart rate", "heart rate (bpm)", "10 % or 5 bpm", 140.0, "{:.0f}".format, "bpm")])
def test_every_quantity(tmp_path, capsys, quantity, header, claim, level, write, unit):
    rng = np.random.default_rng(1)
    t = np.arange(1800)
    spread = 0.01 if quantity == "core temperature" else 0.1
    true = level * (1 + spread * np.sin(t / 50) + spread / 2 * np.sin(t / 17))
    paths = []
    for name, values in (("one", true), ("two", true * 1.002 + 0.001 * level * rng.normal(size=t.size))):
        path = tmp_path / f"{name}.csv"
        path.write_text(f"timestamp,{header}\n" + "".join(
            f"{(START + timedelta(seconds=int(k))).isoformat()},{write(v)}\n" for k, v in zip(t, values, strict=True)),
            encoding="utf-8")
        paths.append(str(path))
    command.main(["check", *paths, "--quantity", quantity, "--claim", claim, "--json", "-"], standalone_mode=False)
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, json.loads(schema_text(2)))
    assert (found["quantity"], found["unit"], found["verdict"]) == (quantity, unit, "holds")
    assert "correction" not in found  # a count is never multiplied, and points are no factor
    command.main(["check", *paths, "--quantity", quantity, "--claim", claim], standalone_mode=False)
    text = capsys.readouterr().out
    assert text.startswith("HOLDS")
    assert " W" not in text
    assert ("s/km (minus: faster)" in text) == (quantity == "pace")
    assert ("m/s" in text) == (quantity == "speed")
    assert len(text.rstrip().splitlines()) <= 16


def tcx(beats, late=0):
    points = "".join(
        f"<Trackpoint><Time>{(START + timedelta(seconds=k + late)).strftime('%Y-%m-%dT%H:%M:%SZ')}</Time>"
        f"<HeartRateBpm><Value>{beat:.0f}</Value></HeartRateBpm></Trackpoint>" for k, beat in enumerate(beats))
    return ('<?xml version="1.0"?><TrainingCenterDatabase xmlns="urn:example:'
            f'TrainingCenterDatabase/v2"><Activities><Activity Sport="Running"><Lap><Track>{points}</Track></Lap>'
            "</Activity></Activities></TrainingCenterDatabase>")


def test_heart_rate_of_tcx_files(tmp_path, capsys):
    beats = 135 + 20 * np.sin(np.arange(1500) / 40)
    noise = np.random.default_rng(1).normal(0, 1, beats.size)
    for name, late in (("strap", 0), ("wrist", 8)):
        (tmp_path / f"{name}.tcx").write_text(tcx(beats + noise * (late > 0), late), encoding="utf-8")
    files = [str(tmp_path / f"{name}.tcx") for name in ("strap", "wrist")]
    command.main(["check", *files, "--quantity", "heart rate", "--claim", "5 bpm", "--json", "-"],
                 standalone_mode=False)
    delay = json.loads(capsys.readouterr().out)["delay"]
    assert delay["lag_s"] == pytest.approx(8, abs=0.2)
    assert delay["belongs_to"] == "device"


def test_a_quantity_that_was_asked_for_is_not_advised(tmp_path):
    rows = "\n".join(f"{k},{310 + k % 3}" for k in range(120))
    for name, column in (("probe", "core temperature (°C)"), ("pill", "temperature_K")):
        (tmp_path / f"{name}.csv").write_text(f"time,{column}\n{rows}\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"found the columns 'time', 'temperature_K'; expected one") as found:
        command.main(["check", str(tmp_path / "probe.csv"), str(tmp_path / "pill.csv"), "--quantity",
                      "core temperature", "--claim", "0.3 °C"], standalone_mode=False)
    assert "add --quantity" not in str(found.value)


def test_no_such_table(tmp_path):
    with pytest.raises(InputError, match="found no such file; expected a table of trials; check the path"):
        pair_trials(tmp_path / "none.csv", reference_column="a", device_column="b")
