"""Every JSON that a command writes fits the JSON Schema that the package ships for it, and the schemas can refuse.

That of `agree plan` is held against its schema in test_plan.py, those of checks of power, trials and quantities in
tests/trials/test_command.py and tests/quantities/test_command.py.
"""

import copy
import json
from concurrent.futures import ThreadPoolExecutor

import jsonschema
import numpy as np
import pytest

from agree import study
from agree.cli.main import command
from agree.schema.names import NAMES
from agree.schema.shipped import schema_text
from agree.trials import planning


def run(*arguments):
    command.main([str(item) for item in arguments], standalone_mode=False)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Short rides of three devices in two sessions, a list with states, one broken file, masses, a table of trials."""
    place = tmp_path_factory.mktemp("files")
    rng = np.random.default_rng(1)
    for session in (1, 2):
        true = 200 + 60 * np.convolve(rng.normal(size=429), np.ones(30), "valid") / 5 + 3 * rng.normal(size=400)
        for name, by in (("crank", 1.0), ("pedals", 0.98), ("hub", 1.01)):
            rows = "".join(f"{k},{max(by * w + rng.normal(0, 2), 1):.0f}\n" for k, w in enumerate(true))
            (place / f"{name}{session}.csv").write_text("time (s),power (W)\n" + rows, encoding="utf-8")
    (place / "broken.csv").write_text("time (s),power (W)\n0,some\n", encoding="utf-8")
    (place / "states.csv").write_text("session,state,reference,device\n1,new,crank1.csv,pedals1.csv\n"
                                      "2,zeroed,crank2.csv,pedals2.csv\n", encoding="utf-8")
    (place / "list.csv").write_text("unit,session,reference,device\nA,1,crank1.csv,pedals1.csv\n"
                                    "B,1,crank2.csv,broken.csv\n", encoding="utf-8")
    (place / "masses.csv").write_text("mass_kg,reading_Nm\n" + "".join(
        f"{m},{m * 9.80665 * 0.1725 + d:.2f}\n" for m, d in ((5, 0.1), (10, -0.1), (15, 0.05), (20, 0.0))),
        encoding="utf-8")
    return place


def written(capsys, *arguments):
    run(*arguments, "--json", "-")
    return json.loads(capsys.readouterr().out)


def refuses(schema, found):
    """Every key that is required at the top is missed."""
    for key in schema["required"]:
        less = copy.copy(found)
        del less[key]
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(less, schema)


@pytest.mark.parametrize(("name", "arguments"), [
    ("plan-of-trials", ("plan", "--claim", "2 cm", "--trials", "1,3", "--subject-sd", "2", "--trial-sd", "0.3")),
    ("static", ("static", "masses.csv", "--crank-length", "172.5 mm")),
    ("static", ("static", "masses.csv", "--crank-length", "172.5 mm", "--claim", "1.5%")),
    ("devices", ("devices", "crank1.csv", "pedals1.csv", "hub1.csv", "--window", "15")),
    ("look", ("look", "crank1.csv", "broken.csv")),
    ("1", ("check", "--sessions", "states.csv", "--claim", "3%"))])
def test_what_commands_write(folder, monkeypatch, capsys, name, arguments):
    monkeypatch.chdir(folder)
    monkeypatch.setattr(planning, "DRAWN", 7)
    schema = json.loads(schema_text(name))
    found = written(capsys, *arguments)
    for item in found if isinstance(found, list) else [found]:
        jsonschema.validate(item, schema)
    refuses(schema, found[0] if isinstance(found, list) else found)
    if name == "1":
        assert [item["state"] for item in found["states"]] == ["new", "zeroed"]


def test_lines_of_a_study(folder, tmp_path, monkeypatch):
    monkeypatch.chdir(folder)
    with ThreadPoolExecutor(1) as threads:  # a pool of processes takes seconds to start
        study.run("list.csv", "3%", out=tmp_path, executor=threads)
    lines = [json.loads(line) for line in (tmp_path / "results.jsonl").read_text(encoding="utf-8").splitlines()]
    schema = json.loads(schema_text("study"))
    for line in lines:
        jsonschema.validate(line, schema)
    assert sorted("error" in line for line in lines) == [False, True]
    jsonschema.validate(next(line["result"] for line in lines if "result" in line), json.loads(schema_text(1)))
    for wrong in ({}, {"row": lines[0]["row"]}, lines[0] | {"result": {}}, lines[0] | {"row": {}}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(wrong, schema)


@pytest.mark.parametrize("name", NAMES)
def test_each_is_a_schema_and_is_printed(capsys, name):
    run("schema", name)
    found = json.loads(capsys.readouterr().out)
    jsonschema.Draft202012Validator.check_schema(found)
    assert found["title"]
    assert found["required"]
