"""Joining trials by key: what is set aside, what is refused, and how units are told."""

import json

import numpy as np
import pandas as pd
import polars as pl
import pytest

from agree import InputError, SampleSizeError, pair_trials
from agree.trials.tables.join import refuse_unnamed

PLATE = "subject,trial,height (cm)\n1,1,30.0\n1,2,31.0\n2,1,40.0\n2,2,41.0\n3,1,\n4,1,35.0\n,2,36.0\n"
MAT = "Subject,Trial,mat (mm)\n2,2,415\n1,2,312\n1,1,303\n2,1,405\n3,1,330\n5,1,350\n"


@pytest.fixture
def files(tmp_path):
    for name, text in (("plate.csv", PLATE), ("mat.csv", MAT)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path / "plate.csv", tmp_path / "mat.csv"


def test_two_tables_join_by_key_in_one_unit(files):
    trials = pair_trials(*files, by="subject,trial")
    assert trials.reference.tolist() == [30, 31, 40, 41]
    assert np.allclose(trials.device, [30.3, 31.2, 40.5, 41.5])  # mm into the reference's cm, in the reference's order
    assert trials.subjects == ("1", "2")
    assert [(item.reason, item.count, item.first) for item in trials.set_aside] == [
        ("only_in_reference", 1, ("subject 4, trial 1",)), ("only_in_device", 1, ("subject 5, trial 1",)),
        ("blank_key", 1, ("plate.csv row 8",)), ("no_reading", 1, ("subject 3, trial 1",))]
    assert [(item["name"], item["bytes"]) for item in trials.inputs] == [
        ("plate.csv", len(PLATE)), ("mat.csv", len(MAT))]
    assert all(len(item["sha256"]) == 64 for item in trials.inputs)
    json.dumps(trials.to_dict())


@pytest.mark.parametrize(("plate", "message"), [
    (PLATE.replace("2,2,41.0", "2,1,41.0"), "plate.csv: 1 of 5 keys subject,trial occur twice, first subject 2, trial "
     "1 (rows 4, 5); expected each once; add a column to `by`"),
    (PLATE.replace("\n1,", "\n01,").replace("\n2,", "\n02,").replace("\n3,1", "\n03,1"),
     "plate.csv and mat.csv: no key subject,trial is in both (first: '01,1' and '1,1'); 5 differ in case, blanks, "
     "zeros or hyphens alone: write them alike"),
    (PLATE.replace("\n1,", "\n11,").replace("\n2,", "\n12,").replace("\n3,1", "\n13,1"),
     "plate.csv and mat.csv: no key subject,trial is in both (first: '11,1' and '2,2'); write them alike"),
    (PLATE.replace("trial", "try"), "plate.csv: found no column 'trial' (`by`); expected one; the columns are "
     "'subject', 'try', 'height (cm)'"),
    (PLATE.replace("31.0", "high"), "plate.csv, row 3: found 'high' in column 'height (cm)'; expected a number; "
     "correct the cell, or leave it blank if there is no reading"),
])
def test_what_is_refused(files, plate, message):
    files[0].write_text(plate, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        pair_trials(*files, by="subject,trial", reference_column="height (cm)")
    assert str(caught.value) == message


def test_units_that_do_not_convert(files):
    files[1].write_text(MAT.replace("mat (mm)", "mat (kg)"), encoding="utf-8")
    with pytest.raises(InputError, match=r"^columns 'height \(cm\)' and 'mat \(kg\)' are in cm and kg, which do not "
                                         r"convert; name columns of one quantity$"):
        pair_trials(*files)


def test_one_table_needs_both_columns(files):
    with pytest.raises(InputError, match="one table holds both methods; name their columns"):
        pair_trials(files[0])


def test_one_subject_is_refused():
    with pytest.raises(SampleSizeError, match=r"^at least 2 subjects with both readings are needed; got 1$"):
        pair_trials({"subject": ["a", "a"], "x": [1, 2], "y": [1, 2]}, by="subject", reference_column="x",
                    device_column="y")


COLUMNS = {"subject": ["b", "b", "a", "a"], "trial": [1, 2, 1, 2],
           "x_cm": [30.0, 31, 40, 41], "y_cm": [31.0, 31, 40, 42]}


@pytest.mark.parametrize("make", [dict, pd.DataFrame, pl.DataFrame, lambda c: {k: np.array(v) for k, v in c.items()}])
def test_any_library(make):
    trials = pair_trials(make(COLUMNS), reference_column="x_cm", device_column="y_cm")
    assert trials.subjects == ("a", "b")
    assert trials.subject.tolist() == [1, 1, 0, 0]
    assert trials.quantity.unit == "cm"


def test_two_frames():
    frame = pd.DataFrame(COLUMNS)
    other = frame[["subject", "trial", "y_cm"]].sample(frac=1, random_state=1)
    trials = pair_trials(frame[["subject", "trial", "x_cm"]], other)
    assert trials.device.tolist() == [31, 31, 40, 42]


def test_copied_rows_are_named_and_left_out():
    twice = {name: values + values for name, values in COLUMNS.items()} | {"trial": [1, 2, 1, 2, 3, 4, 3, 4]}
    trials = pair_trials(twice, reference_column="x_cm", device_column="y_cm")
    assert trials.count == 4
    assert [(item.reason, item.count) for item in trials.set_aside] == [("copied", 4)]


def test_equal_trials_that_are_no_copies_stay():
    table = {"subject": list("aabb"), "x": [30, 30, 40, 41], "y": [31, 31, 40, 42]}
    assert pair_trials(table, by="subject", reference_column="x", device_column="y").count == 4


def test_heart_rate_of_zero_is_no_reading():
    names = "strap heart rate (bpm)", "wrist heart rate"
    table = {"subject": list("aabb"), names[0]: [120, 130, 140, 150], names[1]: [121, 0, 141, 150]}
    trials = pair_trials(table, by="subject", reference_column=names[0], device_column=names[1])
    assert trials.quantity.name == "heart rate"
    assert [(item.reason, item.first) for item in trials.set_aside] == [("no_reading", ("subject a",))]


def test_unpaired_joins_subjects_only():
    first = {"subject": list("aaabb"), "x_cm": [30, 31, 32, 40, 41]}
    second = {"subject": list("aabbc"), "y_cm": [31, 33, 41, 43, 50]}
    trials = pair_trials(first, second, by="subject", unpaired=True)
    assert (trials.reference.size, trials.device.size, trials.subjects) == (5, 4, ("a", "b"))
    assert [(item.reason, item.first) for item in trials.set_aside] == [("only_in_device", ("subject c",))]


def test_a_table_without_rows_is_refused(tmp_path):
    (tmp_path / "empty.csv").write_text("subject,trial,plate_cm,mat_cm\n")
    with pytest.raises(InputError, match=r"^empty.csv: found no "):
        pair_trials(tmp_path / "empty.csv", reference_column="plate_cm", device_column="mat_cm", by="subject,trial")


@pytest.mark.parametrize("by", [(), ("subject", ""), ("subject", " "), ("subject", "Subject")])
def test_keys_have_names_of_their_own(by):
    with pytest.raises(InputError, match="`by` must name the subject's column"):
        refuse_unnamed(by)


def test_keys_with_names_are_taken():
    refuse_unnamed(("subject",))
    refuse_unnamed(("subject", "trial"))
