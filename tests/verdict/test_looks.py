"""Declared looks keep the error they were given; between them no answer is given; a declaration is compared."""

import numpy as np
import pytest

from agree import InputError, check_claim
from agree.report.notes.sentence import note_text
from agree.verdict.declaration import Declaration, compare, read_declaration
from agree.verdict.looks import checked_looks, level_at, undeclared_percent
from agree.verdict.rule import HOLDS, three_way
from agree.verdict.sessions import mean_over_sessions
from tests.rides import session


def stops(rng, looks, levels, runs=4000, sd=0.8):
    """Share of "holds" at a true error of 1.5 if the first settled answer counts."""
    seconds, wrong = np.full(max(looks), 1800.0), 0
    for row in 1.5 + sd * rng.normal(size=(runs, max(looks))):
        for count, level in zip(looks, levels, strict=True):
            item = mean_over_sessions(row[:count], seconds[:count], level)
            if three_way(item.low, item.high, 1.5) == HOLDS:
                wrong += 1
                break
    return 100 * wrong / runs


def test_errors_spent_add_up():
    looks = (3, 5, 8)
    assert sum(1 - level_at(looks, count, 0.95) for count in looks) == pytest.approx(0.05)
    assert level_at((8,), 8, 0.95) == pytest.approx(0.95)
    assert level_at(looks, 4, 0.95) is None


def test_declared_looks_err_as_promised_and_undeclared_more(rng):
    looks = (3, 5, 8)
    noise = 2 * 100 * np.sqrt(0.025 * 0.975 / 4000)
    assert stops(rng, looks, [level_at(looks, count, 0.95) for count in looks]) <= 2.5 + noise
    assert stops(rng, looks, [0.95] * 3) > 4.5


@pytest.mark.parametrize("last", [3, 4, 6, 8])
def test_what_undeclared_looking_does_is_what_is_said(rng, last):
    looks = tuple(range(2, last + 1))
    found = stops(rng, looks, [0.95] * len(looks), runs=3000)
    assert found == pytest.approx(undeclared_percent(last), abs=0.4 + 2 * 100 * np.sqrt(0.07 * 0.93 / 3000))


@pytest.mark.parametrize("looks", [(1, 3), (3, 3), (5, 3), (2.5,), (True, 3)])
def test_bad_looks(looks):
    with pytest.raises(InputError) as caught:
        checked_looks(looks)
    assert str(caught.value) == ("`looks` must be increasing numbers of sessions, 2 or more each, such as (3, 5, 8); "
                                 f"got {looks!r}")


def rides(rng, count):
    return [session(rng, sd=1.0, seconds=600, label=str(k), scale=1 + e / 100)
            for k, e in enumerate(np.linspace(-0.1, 0.1, count))]


def test_between_looks_no_answer_is_given(rng):
    four, three = check_claim(rides(rng, 4), "1.5 %", looks=(3, 5)), check_claim(rides(rng, 3), "1.5 %", looks=(3, 5))
    assert {item.verdict for item in four.readings} == {"not settled"}
    assert (four.next_step.kind, four.next_step.values["sessions"]) == ("next_look", 5)
    assert "looks_between" in {getattr(note, "kind", "") for note in four.notes}
    assert three.verdict == "holds"
    text = " ".join(four.summary().split())
    assert "No answer is given before the next, after 5".lower() in text.lower()
    assert three.level == pytest.approx(1 - 0.05 * 9 / 25)
    assert three.looks == (3, 5)


def test_after_the_last_look_the_answer_stands(rng):
    six = check_claim(rides(rng, 6), "1.5 %", looks=(3, 5))
    assert six.verdict == "not settled"
    assert six.next_step.kind == "next_looks_over"
    text = " ".join(six.summary().split())
    assert "The last declared look was after 5 sessions; these are 6. The answer given then stands" in text


def test_what_was_done_otherwise_is_said_in_the_words_of_the_report(rng):
    """No Python names: the question, the level in per cent, the usual bands."""
    made = Declaration(claim="±1.5 %", meaning="next_session", level=0.9, bands=(100.0, 200.0))
    check = check_claim(rides(rng, 3), "1.5 %", declared=made)
    said = [note_text(note) for note in check.notes if getattr(note, "kind", "") == "declared_otherwise"]
    assert said == ["declared beforehand: the question: the next session; done: the mean error.",
                    "declared beforehand: the level: 90 %; done: 95 %.",
                    "declared beforehand: the power bands: 100, 200; done: the usual ones."]


def test_undeclared_looking_is_a_stored_fact(rng):
    check = check_claim(rides(rng, 4), "1.5 %")
    note = next(item for item in check.notes if getattr(item, "kind", "") == "looks_undeclared")
    assert (note.values["percent"], note.values["promised"]) == (5.7, 2.5)


def test_a_declaration_is_kept_and_compared(rng, tmp_path):
    made = Declaration(claim="±1.5 %", looks=(3, 5), exclusions=("rides below 5 °C",))
    path = tmp_path / "declared.json"
    path.write_text(made.text(), encoding="utf-8")
    back = read_declaration(path)
    assert back.digest == made.digest
    as_said = check_claim(rides(rng, 3), "1.5 %", declared=back)
    assert as_said.declared.differences == ()
    assert as_said.looks == (3, 5)
    other = check_claim(rides(rng, 3), "2 %", declared=back, looks=(3,), decision_rule="guard 2u")
    assert [(item.what, item.declared, item.done) for item in other.declared.differences] == [
        ("claim", "±1.5 %", "±2 %"), ("rule", "interval", "guard 2u"), ("looks", "3, 5", "3")]
    assert other.to_dict()["declared"]["digest"] == made.digest
    assert sum(getattr(note, "kind", "") == "declared_otherwise" for note in other.notes) == 3
    assert compare(made, made).differences == ()


@pytest.mark.parametrize(("change", "message"), [
    (('"level": 0.95', '"level": 0.9'), "was changed after it was written"),
    (('"format": "agree declaration 1"', '"format": "x"'), "is not a declaration"), (("{", ""), "cannot be read"),
    (('"rule"', '"rool"'), "lacks a field")])
def test_a_changed_declaration_is_refused(tmp_path, change, message):
    path = tmp_path / "declared.json"
    path.write_text(Declaration(claim="±1.5 %").text().replace(*change), encoding="utf-8")
    with pytest.raises(InputError, match=message):
        read_declaration(path)
