"""Tables as people write them: keys in two spellings, paces as 4:33, absurd sizes, long names, options in words."""

import warnings

import click
import numpy as np
import pytest

from agree import AssumptionWarning, InputError, check_trials, look, pair_trials
from agree.cli.main import command
from agree.core.quantities.known import plain, quantity
from agree.quantities.check import check_quantity
from agree.quantities.overlay import lay_over
from agree.report.texts.quantity_text import quantity_text
from tests.each import each

KEYS = [(str(subject), str(trial)) for subject in range(1, 13) for trial in (1, 2, 3)]
RNG = np.random.default_rng(4)
LEVELS = np.round(RNG.normal(38, 7, 36), 1)
READ = np.round(LEVELS + RNG.normal(0, 1, 36), 1)


def table(column, values, write=str):
    return {"subject": [write(s) for s, _ in KEYS], "trial": [t for _, t in KEYS], column: list(values)}


def both(names=("plate_cm", "mat_cm"), times=1.0, keys=str):
    return table(names[0], LEVELS * times, keys) | {names[1]: list(READ * times)}


@pytest.mark.parametrize(("write", "first"), [
    (lambda s: s + ".0", "1.0,1"), (lambda s: "0" + s, "01,1")])
def test_keys_in_another_spelling_are_told_and_not_joined(write, first):
    one = table("plate_cm", LEVELS)
    with pytest.raises(InputError, match=rf"no key subject,trial is in both \(first: '1,1' and '{first}'\); 36 differ "
                                         "in case, blanks, zeros or hyphens alone: write them alike"):
        pair_trials(one, table("mat_cm", READ, write))
    some = table("mat_cm", READ, lambda s: s if int(s) < 9 else write(s))
    with pytest.raises(InputError, match=r"24 keys subject,trial are in both, and 12 more differ in case, blanks, "
                                         rf"zeros or hyphens alone \(first: '9,1' and '{write('9')},1', '9,2' and .*"
                                         r"\): write them alike"):
        pair_trials(one, some)  # the rest would be an answer about two thirds of the subjects


@each(("one", "two", "alike"), [
    ("00", "0", True), ("S1", "s1", True), ("1", "1.0", True), ("S-01", "s 1", True), ("a_b", "A b", True),
    ("1-1", "11", False), ("-1", "1", False), ("1.05", "1.5", False), ("10", "1", False), ("S1", "T1", False)])
@each("unpaired", [False, True])
def test_what_is_one_key_in_two_spellings(one, two, alike, unpaired):
    read = {"plate_cm": [30.25, 31.5, 40, 41, 35, 36], "mat_cm": [30.5, 31, 40.25, 41.5, 35, 36]}
    tables = [{"subject": ["x", "x", "y", "y", own, own], "trial": list("ababab"), column: read[column]}
              for own, column in ((one, "plate_cm"), (two, "mat_cm"))]
    if unpaired:
        tables = [{name: values for name, values in table.items() if name != "trial"} for table in tables]
    options = {"by": "subject" if unpaired else "subject,trial", "unpaired": unpaired}
    if alike:
        with pytest.raises(InputError, match=r"more differ in case, blanks, zeros or hyphens alone .*: write them"):
            pair_trials(*tables, **options)
    else:
        assert pair_trials(*tables, **options).subjects == ("x", "y")


@pytest.mark.parametrize("unpaired", [False, True])
def test_one_subject_in_two_spellings(unpaired):
    data = both(keys=lambda s: "S" + s)
    assert pair_trials(data, reference_column="plate_cm", device_column="mat_cm").notes == ()
    data["subject"][2] = "s1 "
    with pytest.raises(InputError, match=r"subjects 'S1' and 's1' differ in case, blanks, zeros or hyphens alone, and "
                                         r"share no trial \(1 of this kind\): write them alike"):
        pair_trials(data, reference_column="plate_cm", device_column="mat_cm", unpaired=unpaired)


def test_two_subjects_in_nearly_one_spelling():
    data = {name: [*values, *values[:3]] for name, values in both(keys=lambda s: "S" + s).items()}
    data["subject"][36:] = ["s1"] * 3
    data["mat_cm"][36:] = [value + 0.4 for value in data["mat_cm"][:3]]
    trials = pair_trials(data, reference_column="plate_cm", device_column="mat_cm")
    assert len(trials.subjects) == 13  # each did all three trials
    assert trials.notes[0].values == {"count": 1, "one": "S1", "two": "s1"}
    said = check_trials(trials, "2 cm").summary().split("Mind: ")[1]
    assert " ".join(said.split()).startswith("subjects 'S1' and 's1' are taken for two")


def clock(seconds):
    return f"{int(seconds // 60)}:{seconds % 60:05.2f}"


@pytest.mark.parametrize(("names", "unit", "by"), [
    (("treadmill pace (min/km)", "watch pace (min/km)"), "m/s", lambda s: 1000 / s),
    (("gates (s)", "watch (s)"), "s", None),
    (("gates", "watch"), "s", None), (("gates (min)", "watch (min)"), "min", lambda s: s / 60)])
def test_paces_and_times_as_people_write_them(names, unit, by):
    seconds = 240 + 3 * LEVELS
    data = table(names[0], [clock(s) for s in seconds]) | {names[1]: [clock(s + 2) for s in seconds]}
    trials = pair_trials(data, reference_column=names[0], device_column=names[1])
    assert trials.quantity.computed_in == unit
    wanted = seconds if by is None else by(seconds)
    assert np.allclose(np.sort(trials.reference), np.sort(wanted), rtol=1e-4)


@pytest.mark.parametrize("times", [1e200, 1e-200, 1e48, 1e-48])
@pytest.mark.parametrize("claim", ["2 cm", "5 %"])
def test_sizes_that_no_unit_has(times, claim):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        if abs(np.log10(times)) > 100:
            with pytest.raises(InputError, match=r"expected 0, or a size from 1e-50 to 1e\+50; write it in another"):
                pair_trials(both(times=times), reference_column="plate_cm", device_column="mat_cm")
            return
        trials = pair_trials(both(times=times), reference_column="plate_cm", device_column="mat_cm")
        lines = check_trials(trials, claim).summary().splitlines()
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize(("options", "names"), [
    ({"meaning": "next_subject", "mean_of": 3},
     ("a reference whose name is longer than it has to be, but it is what it is (cm)",
      "a device with a name that takes more than the whole of a line (cm)")),
    ({"meaning": "levels"}, ("plate_cm", "mat_cm"))])
@pytest.mark.parametrize("times", [1.0, 1e5, 1e12])
def test_screens_are_80_wide_and_nothing_is_cut(options, names, times):
    trials = pair_trials(both(names, times), reference_column=names[0], device_column=names[1])
    check = check_trials(trials, f"{2 * times:.0f} cm", **options)
    lines = check.summary().splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 17
    ends = next(k for k, line in enumerate(lines) if line[2:].startswith("error at both ends"))
    said = lines[ends] + " " + lines[ends + 1]
    assert f"{check.of('levels').ground.values['worst_level']:.3g}" in said


def test_screens_of_recordings_have_columns_apart():
    t = np.arange(1500.0)
    wave = 5 + np.sin(t / 40) + np.sin(t / 13)
    noise = 0.02 * np.random.default_rng(1).normal(size=1500)
    for times in (1e-6, 1.0, 1e12):
        seen = lay_over((t, wave * times), (t, (wave + noise) * times), plain("J"), absolute=True,
                        names=("a reference with a name that is longer than it has to be", "and a device that is, too"))
        lines = check_quantity(seen, "5 %", meaning="readings").summary().splitlines()
        assert max(map(len, lines)) <= 80
        assert len(lines) <= 16
        assert any(line.startswith("A reading in J: 1 session") for line in lines)  # not "j"
        at = next(line for line in lines if "as recorded" in line).index("as recorded")
        assert {line[at - 2:at] for line in lines if "holds" in line and "HOLDS" not in line} == {"  "}
        assert "-0.0 s" not in "".join(lines)
        assert "[0.0000" not in "".join(lines)


def test_options_in_words(tmp_path, capsys):
    path = tmp_path / "j.csv"
    rows = zip(*both().values(), strict=True)
    path.write_text("subject,trial,plate_cm,mat_cm\n" + "".join(",".join(map(str, row)) + "\n" for row in rows),
                    encoding="utf-8")
    asked = ["trials", str(path), "--reference", "plate_cm", "--device", "mat_cm", "--claim", "2 cm"]
    texts = []
    for level in ("90%", "0.9"):
        command.main([*asked, "--level", level, "-o", str(tmp_path / "out.json")], standalone_mode=False)
        texts.append(capsys.readouterr().out)
    assert texts[0] == texts[1]
    assert '"level": 0.9' in (tmp_path / "out.json").read_text(encoding="utf-8")
    with pytest.raises(click.BadParameter) as caught:
        command.main([*asked, "--meaning", "next_subjct"], standalone_mode=False)
    assert "'average', 'levels', 'readings', 'next-subject'" in str(caught.value)
    command.main([*asked, "--meaning", "next_subject"], standalone_mode=False)
    assert "write --meaning next-subject" in capsys.readouterr().err


def test_look_says_what_to_do_with_a_table_of_trials_and_with_other_quantities(tmp_path):
    (tmp_path / "j.csv").write_text("subject,trial,plate_cm,mat_cm\n" + "".join(
        f"{s},{t},{x},{y}\n" for (s, t), x, y in zip(KEYS, LEVELS, READ, strict=True)), encoding="utf-8")
    said = " ".join(look(tmp_path / "j.csv").summary().split())
    assert ("Use a table of trials: agree trials j.csv --by subject,trial --reference 'plate_cm' --device 'mat_cm' "
            "--claim '5 %'") in said
    (tmp_path / "h.csv").write_text("time (s),heart rate (bpm),speed (km/h)\n" + "".join(
        f"{k},{120 + k % 30},{10 + k % 3}\n" for k in range(100)), encoding="utf-8")
    seen = look(tmp_path / "h.csv")
    assert (seen.problem, seen.clock, seen.seconds) == ("", "elapsed", 99.0)
    assert ("no power, but heart rate, speed: agree check REFERENCE DEVICE --quantity 'heart rate' --claim '5 bpm'"
            in " ".join(seen.summary().split()))


def test_equal_errors_do_not_grow_with_the_level():
    data = both()
    data["mat_cm"] = [value + 0.5 for value in data["plate_cm"]]  # equal but for the rounding of the sums
    check = check_trials(pair_trials(data, reference_column="plate_cm", device_column="mat_cm"), "2 cm")
    assert [note.kind for note in check.notes] == ["trials_limits_normal"]  # and none of spread or skew
    assert check.bias.value == pytest.approx(0.5)


def test_per_cent_of_readings_on_both_sides_of_zero():
    data = both()
    for name in ("plate_cm", "mat_cm"):
        data[name] = [value - 38.05 for value in data[name]]
    trials = pair_trials(data, reference_column="plate_cm", device_column="mat_cm")
    with pytest.raises(InputError, match="have a reference below 0, and others above, so per cent of them mean"):
        check_trials(trials, "5 %")
    assert check_trials(trials, "2 cm").verdict == "holds"
    data = {name: [-value for value in values] if name.endswith("cm") else values for name, values in both().items()}
    below = pair_trials(data, reference_column="plate_cm", device_column="mat_cm")  # all of them: a direction
    assert check_trials(below, "5 %").bias.value == pytest.approx(-check_trials(pair_trials(
        both(), reference_column="plate_cm", device_column="mat_cm"), "5 %").bias.value)


@pytest.mark.parametrize(("by", "told"), [("subject,trial", False), ("trial", True), ("row", True)])
def test_trials_do_not_pass_for_subjects_unsaid(by, told):
    # 36 rows of 12 subjects, keyed by a number of the row: 36 "independent subjects", and too narrow an interval.
    data = both() | {"row": list(range(36))}
    check = check_trials(pair_trials(data, by=by, reference_column="plate_cm", device_column="mat_cm"), "2 cm")
    assert ("trials_subjects_left_out" in [note.kind for note in check.notes]) == told
    assert ("begin --by with 'subject'" in " ".join(check.summary().split())) == told


def test_columns_side_by_side_must_be_as_many():
    data = both() | {"plate2_cm": list(LEVELS + 0.1)}
    with pytest.raises(InputError, match=r"`reference_column` names 2 \('plate_cm', 'plate2_cm'\) and `device_column` "
                                         r"1 \('mat_cm'\): columns side by side are trials"):
        pair_trials(data, reference_column="plate_cm,plate2_cm", device_column="mat_cm")


def test_uncertainty_beside_readings_without_a_unit():
    trials = pair_trials(both(("plate", "mat")), reference_column="plate", device_column="mat")
    with pytest.raises(InputError, match="no column names the readings' unit; state it with `unit`"):
        check_trials(trials, "2 %", reference_uncertainty="1 cm")


@pytest.mark.parametrize("columns", [30, 45, 60, 79])
def test_text_fits_narrow_terminals(columns, monkeypatch, tmp_path, capsys):
    monkeypatch.setenv("COLUMNS", str(columns))
    data = both()
    rows = [",".join(data), *(",".join(map(str, row)) for row in zip(*data.values(), strict=True))]
    (tmp_path / "jumps.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    command.main(["trials", str(tmp_path / "jumps.csv"), "--reference", "plate_cm", "--device", "mat_cm", "--claim",
                  "2 cm", "--meaning", "readings"], standalone_mode=False)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= columns
    assert sum("95 % of single" in line for line in lines) == 1
    t = np.arange(1200.0)
    wave = 130 + 20 * np.sin(t / 50)
    text = quantity_text(check_quantity(lay_over((t, wave), (t, wave + 1), quantity("heart rate"), absolute=True),
                                        "5 bpm"), width=columns)
    assert max(map(len, text.splitlines())) <= columns
    assert text.count("holds") >= 4


def test_people_under_a_name_for_each_trial_are_pointed_out(recwarn):
    """Six people with five trials each, each trial a subject of its own: said in the text, and no warning of Python."""
    rng = np.random.default_rng(4)
    height, error = np.repeat(rng.normal(38, 6, 6), 5), np.repeat(rng.normal(1, 1.2, 6), 5)
    x = height + rng.normal(0, 0.5, 30)
    table = {"subject": [f"jumper{k:02d}" for k in range(30)], "plate_cm": x,
             "mat_cm": x + error + rng.normal(0, 0.3, 30)}
    made = check_trials(pair_trials(table, by="subject", reference_column="plate_cm", device_column="mat_cm"), "1.5 cm")
    assert "trials_neighbours_alike" in {note.kind for note in made.notes}
    assert "name the person as the subject" in " ".join(made.summary().split())
    assert not [one for one in recwarn if one.category is AssumptionWarning]
