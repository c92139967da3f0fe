"""`plan_trials` and `agree plan --trials`: nothing that was asked is ignored."""

import json

import pytest

from agree import InputError, plan_trials
from agree.cli.main import command
from agree.trials import planning, simulated

ASKED = ("plan", "--claim", "2 cm", "--trials", "3", "--subject-sd", "0.4", "--trial-sd", "0.5")


def run(*arguments):
    command.main([str(item) for item in arguments], standalone_mode=False)


@pytest.fixture(autouse=True)
def few_studies(monkeypatch):
    """Reckon chances from few studies: coarse, and quick."""
    monkeypatch.setattr(planning, "DRAWN", 13)
    monkeypatch.setattr(simulated, "STUDIES", 80)


def needed(**options):
    plan = plan_trials("2 cm", subject_sd=0.3, trial_sd=0.3, trials=3, true_error=0.4, **options)
    return [row.subjects or 999 for row in plan.rows]


def test_the_references_uncertainty_costs_subjects():
    exact, known, rough = needed(), needed(reference_uncertainty="±0.5 cm"), needed(reference_uncertainty="±1.8 cm")
    assert all(a <= b <= c for a, b, c in zip(exact, known, rough, strict=True))
    assert exact[1] < known[1]
    assert rough[0] == 999  # 0.4 cm and 1.8 cm of the reference's own are never within 2 cm
    assert needed(reference_uncertainty="5 mm") == known
    assert needed(reference_uncertainty="0.5 cm k=2") != exact
    with pytest.raises(InputError, match="the claim is in cm; a plan needs both in one unit"):
        needed(reference_uncertainty="1 %")


def test_on_the_command_line(capsys):
    run(*ASKED, "--json", "-")
    plain = json.loads(capsys.readouterr().out)
    run(*ASKED, "--reference-uncertainty", "±0.5 cm", "--json", "-")
    told = json.loads(capsys.readouterr().out)
    assert plain["reference_u"] == 0
    assert told["reference_u"] == pytest.approx(0.5 / 3**0.5)
    assert told["rows"][1]["subjects"] > plain["rows"][1]["subjects"]
    run(*ASKED, "--reference-uncertainty", "±0.5 cm")
    assert "u of the reference is 0.289 cm:" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(("arguments", "said"), [
    (("--sheet", "a.pdf"), "--sheet is not for --trials: its rows are sessions"),
    (("--declare", "a.json"), "--declare is not for --trials: it is for recordings: agree trials has no --declared"),
    (("--looks", "8,16"), "--looks is not for --trials: trials are checked once"),
    (("--meaning", "average"), "--meaning is not for --trials: a plan of trials shows every meaning"),
    (("--bands", "100,200"), "--bands is not for --trials: agree trials --meaning levels judges"),
    (("--from", "a.json"), "--from is not for --trials: give a pilot's SDs"),
    (("--minutes", "60"), "--minutes is not for --trials"), (("--session-sd", "1"), "--session-sd is not for --trials"),
    (("--split", "0:10:00"), "--split is not for --trials"),
    (("--chance", "0.8", "--chance", "0.9"), "--chance is taken once with --trials")])
def test_options_of_recordings_are_refused(tmp_path, monkeypatch, arguments, said):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError, match=said):
        run(*ASKED, *arguments)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("arguments", [("--subject-sd", "1"), ("--trial-sd", "1"), ("--assume", "normal")])
def test_options_of_trials_are_refused_without_trials(arguments):
    with pytest.raises(InputError, match=f"{arguments[0]} is for a study of trials; say how many each subject does"):
        run("plan", "--claim", "2 %", *arguments)
