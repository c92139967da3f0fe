"""Trials of one person under several names are not counted as many subjects."""

import numpy as np
import pytest

from agree import Trials, check_trials
from agree.core.quantities.known import quantity
from agree.report.notes.sentence import note_text
from agree.trials.doubts.same_person import person_note


def study(names, levels, errors=0.5):
    x = np.asarray(levels, float)
    return Trials(reference=x, device=x + errors, subject=np.arange(x.size), subjects=tuple(names),
                  quantity=quantity("cm"))


def jumpers(rng, persons=6, each=5, form="S{:02d}_{}"):
    names = [form.format(p + 1, k + 1) for p in range(persons) for k in range(each)]
    levels = np.repeat(rng.normal(40, 6, persons), each) + rng.normal(0, 1, persons * each)
    return names, levels, np.repeat(rng.normal(0.5, 0.7, persons), each) + rng.normal(0, 0.5, persons * each)


@pytest.mark.parametrize("form", ["S{:02d}_{}", "S{:02d}-{}", "athlete {} trial {}", "{} ({})", "P{}.{}", "x{} jump{}"])
def test_no_answer_counts_trials_of_a_person_as_many_subjects(rng, form):
    check = check_trials(study(*jumpers(rng, form=form)), "2 cm")
    assert check.verdict == "not settled"
    assert check.answer.ground.kind == "trials_of_fewer_persons"
    assert "look like trials of 6 persons" in note_text(check.answer.ground)
    assert "give the person a column of its own" in check.summary().replace("\n  ", " ")


def test_a_device_that_fails_is_not_settled_either(rng):
    names, levels, errors = jumpers(rng)
    assert check_trials(study(names, levels, errors + 5), "2 cm").verdict == "not settled"


@pytest.mark.parametrize("names", [
    [f"S{k:02d}" for k in range(30)],                                  # no number of a trial
    [f"{'MFX'[k % 3]}_{k // 3}" for k in range(29)] + ["anonymous"],    # not all of the form
])
def test_other_names_are_persons(rng, names):
    _, levels, errors = jumpers(rng)
    assert check_trials(study(names, levels, errors), "2 cm").verdict == "holds"


def test_groups_that_share_a_stem_are_persons(rng):
    names = [f"{group}_{k}" for group in ("men", "women", "youth") for k in range(1, 13)]
    levels = np.repeat([48.0, 40.0, 36.0], 12) + rng.normal(0, 5, 36)
    assert check_trials(study(names, levels, rng.normal(0.3, 0.5, 36)), "2 cm").verdict == "holds"


@pytest.mark.parametrize(("persons", "apart", "found"), [
    pytest.param(12, 2.0, True, id="TRIALS_PERSONS_ALIKE"), pytest.param(12, 2.1, False, id="TRIALS_PERSONS_ALIKE"),
    pytest.param(6, 0.8, True, id="TRIALS_PERSONS_P"), pytest.param(6, 0.83, False, id="TRIALS_PERSONS_P")])
def test_how_much_alike_trials_of_a_person_are(persons, apart, found):
    """Persons are 1 cm apart, their two trials `apart`: a correlation of 0.852 or 0.837, and p of 0.0009 or 0.0011."""
    names = [f"S{p}_{k}" for p in range(persons) for k in range(2)]
    levels = 40 + np.repeat(np.arange(persons), 2) + apart * np.tile([-0.5, 0.5], persons)
    assert (person_note(study(names, levels)) is not None) == found
