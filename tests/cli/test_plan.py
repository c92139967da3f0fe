"""`agree plan` as a user runs it."""

import json
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner

from agree.cli import main
from agree.core.errors import InputError
from agree.report.about import About, read_about
from agree.schema.shipped import schema_text

RIDES = Path(__file__).parents[1] / "data" / "rides"


def run(*arguments):
    done = CliRunner().invoke(main.command, ["plan", *map(str, arguments)], standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout


def test_table():
    lines = run("--claim", "1.5%").splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 80
    rows = [line.split() for line in lines]
    assert ["0", "%", "holds", "6", "7", "4"] in rows
    assert ["0.75", "%", "(half)", "holds", "13", "17", "8"] in rows
    assert ["1.5", "%", "(the", "limit)", "none", "none", "none", "-"] in rows
    assert any(line.startswith("Caution") for line in lines)
    assert sum("(assumed)" in line for line in lines) == 2


def test_json_alone_on_stdout():
    data = json.loads(run("--claim", "2 W", "--session-sd", "0.5", "--power", "0.8", "--json", "-"))
    assert data["schema"] == 1
    assert [case["true_error"] for case in data["cases"]] == [0, 1, 2, 4]
    assert data["unit"] == "W"
    schema = json.loads(schema_text("plan"))
    jsonschema.validate(data, schema)
    for key in schema["required"]:
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate({name: value for name, value in data.items() if name != key}, schema)


def test_from_a_result(tmp_path):
    check = CliRunner().invoke(main.command, [
        "check", str(RIDES / "pair-1-bike.csv"), str(RIDES / "pair-1-pedals.csv"), "--claim", "1.5%", "--json",
        str(tmp_path / "r.json")], standalone_mode=False)
    assert check.exception is None
    text = run("--claim", "1.5%", "--from", tmp_path / "r.json")
    assert "a pilot of one session does not show" in " ".join(text.split())
    assert "(pilot)" in text
    before = (tmp_path / "r.json").read_bytes()
    with pytest.raises(InputError, match=r"r\.json is the result of --from given"):
        run("--claim", "1.5%", "--from", tmp_path / "r.json", "--json", tmp_path / "r.json")
    assert (tmp_path / "r.json").read_bytes() == before


@pytest.mark.parametrize("suffix", ["pdf", "html", "txt"])
def test_sheet(tmp_path, suffix):
    assert run("--claim", "1.5%", "--sheet", tmp_path / f"sheet.{suffix}").startswith("Plan to settle")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(["sheet-about.toml", f"sheet.{suffix}"])
    blank = tmp_path / "sheet-about.toml"
    assert read_about(blank) == About({}, {}, ({},) * len(read_about(blank).session))
    blank.write_text('[device]\nserial = "P-1"\n', encoding="utf-8")
    run("--claim", "1.5%", "--sheet", tmp_path / f"sheet.{suffix}")
    assert read_about(blank).device == {"serial": "P-1"}  # what was filled in is left alone


@pytest.mark.parametrize(("arguments", "message"), [
    (["--claim", "1%", "--bands", "a"], "--bands 'a' is not understood; write edges in W like 100,200,300"),
    (["--claim", "1%", "--sheet", "x.doc"], "sheet 'x.doc' must end in .pdf, .html or .txt; got .doc"),
    (["--claim", "1%", "--from", RIDES / "pair-1-bike.csv"],
     f"{RIDES / 'pair-1-bike.csv'} holds no result; give a file written by agree check ... --json FILE"),
])
def test_bad_calls(arguments, message):
    with pytest.raises(InputError) as caught:
        run(*arguments)
    assert str(caught.value) == message
