"""Every field of a declaration is held against what was done: a difference is said, and "as declared" then is not."""

from dataclasses import fields, replace

import numpy as np
import pytest
from click.testing import CliRunner

from agree import check_claim
from agree.assessment.as_done import as_done
from agree.cli import main
from agree.core.results.note import Note
from agree.report.notes.sentence import note_text
from agree.trail.trail import check_split
from agree.verdict.declaration import LATER, Declaration, compare, read_declaration
from tests.rides import session

MADE = Declaration(
    claim="±1.5 %", meaning="average", level=0.95, rule="interval", bands=(100.0, 200.0, 300.0), looks=(3, 5, 8),
    splits=("0:20:00",), exclusions=("rides below 5 °C",), reference_uncertainty="±1 %", loss="2 ± 1 %", window_s=30,
    faults=("spike=keep",))
# What `check_claim` is asked for when all is done as declared, by field; and otherwise.
OTHERWISE = {
    "claim": "±2 %", "meaning": "next_session", "level": 0.9, "rule": "guard 2u", "bands": (), "looks": (2, 3),
    "splits": (), "reference_uncertainty": "", "loss": "", "window_s": 60, "faults": ()}


@pytest.fixture(scope="module")
def rides():
    rng = np.random.default_rng(5)
    return [session(rng, sd=1.0, seconds=700, label=str(k), scale=1 + e / 100)
            for k, e in enumerate((-0.1, 0.0, 0.1))]


def checked(rides, done):
    check = check_claim(rides, done.claim, meaning=done.meaning, level=done.level, decision_rule=done.rule,
                        bands=done.bands or None, looks=done.looks or None, declared=MADE, window_s=done.window_s,
                        reference_uncertainty=done.reference_uncertainty or None, drivetrain_loss=done.loss or None)
    return as_done(check, splits=done.splits, faults=done.faults)


def said(check, kind):
    return [note_text(note) for note in check.notes if isinstance(note, Note) and note.kind == kind]


def test_as_declared_is_said_if_all_was_done_so_and_what_cannot_be_compared_is_named(rides):
    check = checked(rides, replace(MADE, reference_uncertainty="1%", loss="2 ± 1%"))  # the same in other words
    assert check.declared.differences == ()
    assert said(check, "declared_as_done") == [
        f"checked as declared beforehand (digest {MADE.digest[:12]}); whether no more was left out than declared "
        "(rides below 5 °C) is the tester's to say."]


@pytest.mark.parametrize("name", [item.name for item in fields(Declaration) if item.name != "exclusions"])
def test_each_difference_is_said(rides, name):
    check = checked(rides, replace(MADE, **{name: OTHERWISE[name]}))
    assert [item.what for item in check.declared.differences] == [name]
    assert not said(check, "declared_as_done")
    assert len(said(check, "declared_otherwise")) == 1
    assert "_" not in said(check, "declared_otherwise")[0]
    assert [item["what"] for item in check.to_dict()["declared"]["differences"]] == [name]


def test_the_looks_declared_are_the_ones_used(rides):
    """Looks given with the check cannot make one of them where none was declared: 2, 3 have none after two sessions."""
    check = check_claim(rides[:2], "1.5 %", looks=(2, 3), declared=Declaration(claim="±1.5 %", looks=(3, 5, 8)))
    assert (check.verdict, check.looks) == ("not settled", (3, 5, 8))
    assert said(check, "declared_otherwise") == ["declared beforehand: looks after sessions: 3, 5, 8; done: 2, 3."]
    undeclared = check_claim(rides, "1.5 %", looks=(3, 5), declared=Declaration(claim="±1.5 %"))
    assert said(undeclared, "declared_otherwise") == ["declared beforehand: looks after sessions: none; done: 3, 5."]
    assert "looks after 3, 5 sessions were not declared" in said(undeclared, "looks_spent")[0]


def test_advice_names_a_look_and_no_other_number_of_sessions(rides):
    wide = check_claim(rides, "0.1 %", looks=(3, 5, 8))
    assert (wide.verdict, wide.next_step.kind, wide.next_step.values["sessions"]) == ("not settled", "next_look", 5)
    assert check_claim(rides, "0.1 %").next_step.kind == "next_hardly"
    last = check_claim(rides, "0.1 %", looks=(2, 3))
    assert (last.verdict, last.next_step.kind) == ("not settled", "next_looks_over")


def test_a_split_with_another_claim_is_not_called_as_declared():
    rng = np.random.default_rng(5)
    whole = session(rng, sd=1.0, seconds=2400)
    made = Declaration(claim="±1.5 %", splits=("0:20:00",))
    as_said, other = (check_split(whole, ["0:20:00"], claim, declared=made) for claim in ("1.5 %", "3 %"))
    assert note_text(as_said.notes[0]) == f"declared beforehand, digest {made.digest[:12]}."
    assert as_said.check.declared.differences == ()
    assert note_text(other.notes[0]).endswith("; other things were done otherwise than declared.")
    assert "Declared beforehand: the claim: ±1.5 %; done: ±3 %." in " ".join(other.summary().split()).replace(
        "Warning declared", "Declared")
    left_out = check_claim(whole, "1.5 %", declared=made)
    assert said(left_out, "declared_otherwise") == [
        "declared beforehand: splits of the recording: 0:20:00; done: none."]


def test_a_declaration_of_before_has_its_digest_and_is_read(tmp_path):
    """Fields that came later are not in it, and do not change what it says."""
    old = Declaration(claim="±1.5 %", looks=(3, 5))
    assert not set(LATER) & set(old.content())
    assert Declaration(claim="±1.5 %").digest.startswith("a2114740924d")
    place = tmp_path / "old.json"
    place.write_text(old.text(), encoding="utf-8")
    assert compare(read_declaration(place), old).differences == ()
    place.write_text(MADE.text(), encoding="utf-8")
    assert compare(read_declaration(place), MADE).differences == ()


def test_the_command_declares_every_field(tmp_path):
    place = tmp_path / "declared.json"
    done = CliRunner().invoke(main.command, [
        "plan", "--claim", "1.5%", "--split", "0:20:00", "--exclude", "rides below 5 °C", "--reference-uncertainty",
        "±1 %", "--loss", "2 ± 1 %", "--faults", "spike=keep", "--chance", "0.5", "--declare", str(place)],
        standalone_mode=False)
    assert done.exception is None
    assert compare(read_declaration(place), replace(MADE, bands=(), looks=())).differences == ()
    assert read_declaration(place).exclusions == MADE.exclusions
    for option, value in (("--loss", "2 ± 1 %"), ("--exclude", "x"), ("--faults", "keep"), ("--rule", "plain")):
        refused = CliRunner().invoke(main.command, ["plan", "--claim", "1.5%", option, value], standalone_mode=False)
        assert f"{option} is declared beforehand; say where to write the declaration" in str(refused.exception)
