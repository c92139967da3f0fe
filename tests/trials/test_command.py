"""`agree trials`, `agree schema`, `agree plan --trials`; `agree check` with trials and with other quantities."""

import json
from datetime import UTC, datetime, timedelta

import jsonschema
import numpy as np
import pytest

from agree.cli import main as cli
from agree.schema.shipped import schema_text
from agree.trials import planning


@pytest.fixture
def jumps(tmp_path):
    rng = np.random.default_rng(3)
    rows = ["subject,trial,plate_cm,mat_cm"]
    for s in range(60):
        bias, level = rng.normal(0, 1.2), rng.normal(38, 7)
        for t in range(5):
            x = level + rng.normal(0, 1.5)
            rows.append(f"{s + 1},{t + 1},{x:.1f},{x + bias + rng.normal(0, 1):.1f}")
    path = tmp_path / "jumps.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def hearts(tmp_path):
    t = np.arange(2400)
    rng = np.random.default_rng(1)
    heart = 135 + 20 * np.sin(t / 45)
    paths = []
    for name, late in (("strap", 0.0), ("wrist", 12.0)):
        values = np.interp(t - late, t, heart) + rng.normal(0, 0.5, t.size)
        start = datetime(2026, 3, 1, 9, tzinfo=UTC)
        path = tmp_path / f"{name}.csv"
        path.write_text("timestamp,heart rate (bpm)\n" + "".join(
            f"{(start + timedelta(seconds=int(k))).isoformat()},{v:.0f}\n" for k, v in zip(t, values, strict=True)),
            encoding="utf-8")
        paths.append(path)
    return paths


def run(*arguments):
    cli.command.main([str(item) for item in arguments], standalone_mode=False)


def failing(capsys, monkeypatch, *arguments):
    """Return the one line of an error of the whole command."""
    monkeypatch.setattr("sys.argv", ["agree", *map(str, arguments)])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    return said.err.strip()


def test_check_refuses_trials_and_prints_the_command(jumps, capsys, monkeypatch):
    # Without the refusal this table was read as 300 s of watts: "Holds".
    for extra in ((), ("--reference-column", "plate_cm", "--device-column", "mat_cm")):
        assert failing(capsys, monkeypatch, "check", jumps, *extra, "--claim", "5%") == (
            "agree: jumps.csv: 60 values in column 'subject', 5 rows each, and no time; agree check expects one "
            f"recording, a reading every second; for trials: agree trials {jumps} --by subject,trial --reference "
            "'plate_cm' --device 'mat_cm' --claim '5%'")


def test_the_command_it_prints_runs(jumps, capsys):
    run("trials", jumps, "--by", "subject,trial", "--reference", "plate_cm", "--device", "mat_cm", "--claim", "5%")
    assert capsys.readouterr().out.startswith("HOLDS: mat_cm: the mean error lies within ±5 %.")


def test_single_jumps_are_not_called_within(jumps, capsys):
    run("trials", jumps, "--reference", "plate_cm", "--device", "mat_cm", "--claim", "5 %", "--meaning", "readings",
        "--json", "-")
    found = json.loads(capsys.readouterr().out)
    assert found["verdict"] == "does not hold"
    assert found["limits"]["lower"]["value"] < -7 < 7 < found["limits"]["upper"]["value"]


@pytest.mark.parametrize("arguments", [
    ("--claim", "2 cm"), ("--claim", "5 %", "--meaning", "next-subject", "--mean-of", "3"),
    ("--claim", "4 % or 1 cm", "--assume", "normal"), ("--claim", "2 cm above 30 cm"),
    ("--claim", "2 cm", "--unpaired"), ("--claim", "2 cm", "--reference-uncertainty", "±0.5 cm")])
def test_json_of_trials_fits_its_schema(jumps, capsys, arguments):
    run("trials", jumps, "--reference", "plate_cm", "--device", "mat_cm", "--json", "-", *arguments)
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, json.loads(schema_text(2)))
    assert found["made_by"]["options"]["by"][0] == "subject"
    assert (found["inputs"][0]["name"], found["inputs"][0]["bytes"]) == ("jumps.csv", jumps.stat().st_size)


def test_json_of_a_quantity_fits_its_schema(hearts, capsys):
    run("check", *hearts, "--quantity", "heart rate", "--claim", "5 bpm", "--meaning", "readings", "--json", "-")
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, json.loads(schema_text(2)))
    assert (found["quantity"], found["unit"], found["verdict"]) == ("heart rate", "bpm", "does not hold")
    delay = found["delay"]
    assert (delay["as_recorded"]["verdict"], delay["taken_out"]["verdict"]) == ("does not hold", "holds")
    assert delay["lag_s"] == pytest.approx(12, abs=0.5)
    assert delay["belongs_to"] == "device"


def test_json_of_power_fits_schema_1_and_2_if_asked(tmp_path, capsys):
    t = np.arange(1200)
    watts = 200 + 60 * np.sin(t / 60) + np.random.default_rng(1).normal(0, 5, t.size)
    for name, by in (("a", 1.0), ("b", 0.98)):
        (tmp_path / f"{name}.csv").write_text("time (s),power (W)\n" + "".join(
            f"{k},{by * w:.0f}\n" for k, w in zip(t, watts, strict=True)), encoding="utf-8")
    run("check", tmp_path / "a.csv", tmp_path / "b.csv", "--claim", "1.5%", "--json", "-")
    one = json.loads(capsys.readouterr().out)
    jsonschema.validate(one, json.loads(schema_text(1)))
    run("check", tmp_path / "a.csv", tmp_path / "b.csv", "--claim", "1.5%", "--json", "-", "--schema", "2")
    two = json.loads(capsys.readouterr().out)
    jsonschema.validate(two, json.loads(schema_text(2)))
    assert (two["quantity"], two["unit"], two["verdict"]) == ("power", "W", one["verdict"])
    assert [item["name"] for item in two["inputs"]] == ["a.csv", "b.csv"]


def test_the_schemas_can_refuse(jumps, capsys):
    run("trials", jumps, "--reference", "plate_cm", "--device", "mat_cm", "--claim", "2 cm", "--json", "-")
    found = json.loads(capsys.readouterr().out)
    for key in ("verdict", "bias", "subjects", "icc"):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({k: v for k, v in found.items() if k != key}, json.loads(schema_text(2)))


@pytest.mark.parametrize("version", ["1", "2"])
def test_schema_is_printed(capsys, version):
    run("schema", version)
    found = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(found)
    assert found["properties"]["schema"] == {"const": int(version)}
    assert not [key for key in found["properties"] if version == "2" and key.endswith(("_percent", "watts"))]


def test_two_tables(jumps, tmp_path, capsys):
    rows = [line.split(",") for line in jumps.read_text(encoding="utf-8").splitlines()]
    for name, k in (("plate", 2), ("mat", 3)):
        (tmp_path / f"{name}.csv").write_text("\n".join(",".join((*row[:2], row[k])) for row in rows) + "\n",
                                              encoding="utf-8")
    run("trials", tmp_path / "plate.csv", tmp_path / "mat.csv", "--by", "subject,trial", "--claim", "5 %", "--json",
        "-")
    two = json.loads(capsys.readouterr().out)
    run("trials", jumps, "--reference", "plate_cm", "--device", "mat_cm", "--claim", "5 %", "--json", "-")
    one = json.loads(capsys.readouterr().out)
    assert [item["name"] for item in two["inputs"]] == ["plate.csv", "mat.csv"]
    assert (one["bias"], one["readings"]) == (two["bias"], two["readings"])


@pytest.mark.parametrize(("arguments", "message"), [
    (("--claim", "5 bpm"), "agree: claim '5 bpm': column 'mat_cm' is in cm; write the claim in cm or %"),
    (("--claim", "2 cm", "--by", "subject"), None),
    (("--claim", "2 cm", "--by", "athlete"), "agree: jumps.csv: found no column 'athlete' (--by); expected one; the "
     "columns are 'subject', 'trial', 'plate_cm', 'mat_cm'"),
    (("--claim", "good"), "agree: claim 'good' is not understood; write it like '1.5%', '2 W' or '1.5 % or 2 W above "
     "100 W'")])
def test_errors_name_options(jumps, capsys, monkeypatch, arguments, message):
    names = ("trials", jumps, "--reference", "plate_cm", "--device", "mat_cm", *arguments)
    if message is None:  # each row is a trial: nothing has to tell them apart
        run(*names)
        assert capsys.readouterr().out.startswith("HOLDS")
        return
    assert failing(capsys, monkeypatch, *names) == message


def test_doubled_keys_in_two_files(jumps, tmp_path, capsys, monkeypatch):
    other = tmp_path / "mat.csv"
    other.write_text("subject,trial,mat_cm\n1,1,30\n1,1,31\n2,1,32\n", encoding="utf-8")
    assert failing(capsys, monkeypatch, "trials", jumps, other, "--reference", "plate_cm", "--claim", "2 cm") == (
        "agree: mat.csv: 1 of 2 keys subject,trial occur twice, first subject 1, trial 1 (rows 2, 3); expected each "
        "once; add a column to --by")


def test_require_holds(jumps):
    with pytest.raises(SystemExit) as ended:
        run("trials", jumps, "--reference", "plate_cm", "--device", "mat_cm", "--claim", "0.01 cm", "--require-holds")
    assert ended.value.code == 1


def test_plan_of_trials(capsys, monkeypatch):
    monkeypatch.setattr(planning, "DRAWN", 13)  # of studies: coarse, and quick
    run("plan", "--claim", "2 cm", "--subject-sd", "0.4", "--trial-sd", "0.5", "--trials", "1,3")
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("SUBJECTS NEEDED for a chance of 80 %")
    assert any("counted" in line and "if normal" in line for line in lines)
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize(("arguments", "message"), [
    (("--bands", "1,2"), "agree: --bands is for power; leave it out with --quantity 'heart rate'"),
    (("--declared", "d.json"), "agree: --declared is for power; leave it out with --quantity 'heart rate'"),
    (("--rule", "plain"), "agree: --rule is for power; leave it out with --quantity 'heart rate'"),
    (("--split", "0:10:00"), "agree: --split is for power; leave it out with --quantity 'heart rate'"),
    (("--state", "new"), "agree: --state 'new': no session is in that state; the states of the list are none"),
    (("--meaning", "bands"), "agree: --meaning bands is for power; with --quantity 'heart rate' choose average, "
     "readings or next_session")])
def test_options_of_power_are_refused(hearts, capsys, monkeypatch, arguments, message):
    assert failing(capsys, monkeypatch, "check", *hearts, "--quantity", "heart rate", "--claim", "5 bpm",
                   *arguments) == message


def test_heart_rates_without_the_option_say_which(hearts, capsys, monkeypatch):
    assert failing(capsys, monkeypatch, "check", *hearts, "--claim", "5 bpm") == (
        "agree: strap.csv: found the columns 'timestamp', 'heart rate (bpm)'; expected one called power or watts; for "
        "heart rate: add --quantity 'heart rate'")


def test_a_list_with_states_is_not_pooled(hearts, tmp_path, capsys):
    strap, wrist = (path.read_text(encoding="utf-8").splitlines() for path in hearts)
    for name, rows, off in (("strap2", strap, 0), ("wrist2", wrist, 3)):
        moved = [rows[0], *(f"{a.replace('2026-03-01', '2026-03-02')},{int(b) + off}" for a, b in (
            row.split(",") for row in rows[1:1500]))]
        (tmp_path / f"{name}.csv").write_text("\n".join(moved) + "\n", encoding="utf-8")
    (tmp_path / "list.csv").write_text("reference,device,session,state\nstrap.csv,wrist.csv,1,new\n"
                                       "strap2.csv,wrist2.csv,2,worn\n", encoding="utf-8")
    found = {}
    for state in ("new", "worn", None):
        run("check", "--sessions", tmp_path / "list.csv", "--quantity", "heart rate", "--claim", "5 bpm", "--json", "-",
            *(("--state", state) if state else ()))
        said = capsys.readouterr()
        found[state] = json.loads(said.out)
        assert f"the 1 of 2 sessions in the state {state or 'worn'!r} are compared" in said.err
    assert found[None]["bias"] == found["worn"]["bias"] != found["new"]["bias"]
