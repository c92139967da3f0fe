"""Trials that stand far apart from all others are named, with the answer without them; they stay in the answer."""

import numpy as np
import pytest

from agree import Trials, check_trials, pair_trials
from agree.core.quantities.known import quantity
from agree.report.notes.sentence import note_text
from agree.trials.doubts.far_off import far_off, zeros
from agree.trials.scaled import scaled_errors
from agree.verdict.claim import Claim


def study(device, reference=None, of="cm", paired=True):
    """Trials of subjects with three each; levels of 40 unless given."""
    device = np.asarray(device, float)
    x = np.full(device.size, 40.0) if reference is None else np.asarray(reference, float)
    subject = np.arange(device.size) // 3
    return Trials(reference=x, device=device, subject=subject, subjects=tuple(map(str, range(subject[-1] + 1))),
                  quantity=quantity(of), paired=paired)


def named(trials):
    return far_off(scaled_errors(trials, Claim.parse("2 cm").for_quantity(quantity("cm"), "d")))


def told(check):
    return [note for note in check.notes if note.kind == "trials_far_off"]


@pytest.fixture
def jumps(rng):
    x = rng.normal(40, 8, 20)[np.repeat(np.arange(20), 3)] + rng.normal(0, 1, 60)
    return x, x + rng.normal(0.3, 0.8, 60)


def test_a_slip_of_typing_is_named_with_the_answer_without_it(jumps):
    x, y = jumps
    y[5] *= 10
    check = check_trials(study(y, x), "2 cm")
    note, = told(check)
    assert (check.verdict, note.values["without"], note.values["subject"]) == ("not settled", "holds", "1")
    assert (note.values["count"], note.values["zeros"], note.values["device"]) == (1, 0, y[5])
    text = note_text(note)
    assert text.startswith("1 trial stands far apart from all others (subject 1: ")
    assert "without it it is 'holds'. Look it up; leave out only what is shown to be wrong." in text
    assert check.notes[0] is note


def test_zeros_that_are_no_readings(jumps):
    x, y = jumps
    y[[7, 20, 33, 50]] = 0
    check = check_trials(study(y, x), "2 cm")
    note, = told(check)
    assert (note.values["count"], note.values["zeros"], note.values["without"]) == (4, 4, "holds")
    assert "a 0 is seldom a reading. They are in the answer; without them" in note_text(note)
    swapped, = told(check_trials(study(x, y), "2 cm"))
    assert swapped.values["zeros"] == 4


def test_one_zero_is_named_before_the_skew_that_it_makes(rng):
    x = rng.normal(35, 6, 24)[np.arange(72) // 3] + rng.normal(0, 1, 72)
    y = x + rng.normal(0.1, 0.6, 72)
    y[10] = 0
    check = check_trials(study(y, x), "2 cm")
    assert check.verdict == "not settled"
    said = check.summary().split("Mind: ")
    assert said[1].startswith("1 trial stands far apart from all others")
    assert len(check.summary().splitlines()) <= 20


def test_nothing_is_named_of_sound_trials(jumps):
    x, y = jumps
    assert not told(check_trials(study(y, x), "2 cm"))


def test_a_zero_of_a_scale_without_a_natural_zero_is_a_reading():
    x, y = np.tile([36.5, 37, 38], 6), np.tile([36.6, 37.1, 38.1], 6)
    y[4] = 0.0
    degrees = study(y, x, of="core temperature")
    assert not zeros(degrees).any()


def test_unpaired_trials_have_no_errors_to_compare(jumps):
    x, y = jumps
    y[5] *= 10
    assert not told(check_trials(study(y, x, paired=False), "2 cm"))


def test_no_answer_is_left_without_them():
    trials = study([0, 0, 0, 40.1, 40.3, 39.9])
    note, = told(check_trials(trials, "2 cm"))
    assert note.values["without"] == ""
    assert note_text(note).endswith("a 0 is seldom a reading. Look them up; leave out only what is shown to be wrong.")


ERRORS = np.tile([-1.0, -0.5, 0.0, 0.0, 0.5, 1.0], 10)  # the median distance from 0 is 0.5: a robust SD of 0.7413


@pytest.mark.parametrize(("away", "found"), [
    pytest.param(8.92, True, id="TRIALS_FAR_OFF"), pytest.param(8.87, False, id="TRIALS_FAR_OFF")])
def test_how_far_is_far_off(away, found):
    errors = ERRORS.copy()
    errors[7] = away
    assert named(study(40 + errors))[7] == found


@pytest.mark.parametrize(("away", "found"), [
    pytest.param(18.1, True, id="TRIALS_APART"), pytest.param(17.9, False, id="TRIALS_APART")])
def test_how_far_from_the_next(away, found):
    errors = ERRORS.copy()
    errors[[7, 11]] = away, 6.0  # the 6 is usual, at 8 robust SDs
    assert named(study(40 + errors)).tolist().count(True) == found


@pytest.mark.parametrize(("many", "found"), [
    pytest.param(3, 3, id="TRIALS_MOST_FAR_OFF"), pytest.param(4, 0, id="TRIALS_MOST_FAR_OFF")])
def test_how_many_may_be_far_off(many, found):
    errors = ERRORS.copy()
    errors[:many] = 100 + np.arange(many)
    assert named(study(40 + errors)).sum() == found


@pytest.mark.parametrize(("level", "found"), [
    pytest.param(8.1, True, id="TRIALS_ZERO_BESIDE"), pytest.param(7.9, False, id="TRIALS_ZERO_BESIDE")])
def test_how_low_the_other_may_be_beside_a_zero(level, found):
    x, y = np.full(30, 40.0), 40 + ERRORS[:30]
    x[4], y[4] = level, 0.0
    assert zeros(study(y, x))[4] == found


def test_order_of_rows_does_not_matter(jumps, rng):
    x, y = jumps
    y[5], y[40] = 400, 0
    order = rng.permutation(60)
    table = {"subject": np.arange(60) // 3, "trial": np.arange(60) % 3, "plate_cm": x, "mat_cm": y}
    mixed = {name: column[order] for name, column in table.items()}
    one, two = (told(check_trials(pair_trials(t, reference_column="plate_cm", device_column="mat_cm"), "2 cm"))
                for t in (table, mixed))
    assert one[0].values == two[0].values
