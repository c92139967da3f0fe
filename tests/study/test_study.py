"""A study from its list to tables: pairs found, never lost, never twice, whatever the executor."""

import csv
import json
import multiprocessing
import os
import shutil
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import agree
from agree import InputError
from agree.cli.commands.study import study as command
from agree.demo.trials import write_tables
from agree.report.story.language.vocabulary import QUESTIONS
from agree.report.studies.methods import methods_paragraph
from agree.report.texts.study_text import OF_TRIALS
from agree.study import check_unit, find_pairs, intended, run, study_table
from agree.study.kinds import MEANINGS
from agree.study.listing import read_list

UNITS = {"a": 1, "b": 2, "c": 3}


def test_pairs_are_found_by_their_names(folder):
    found = find_pairs(folder)
    assert [(row.unit, row.session) for row in found.rows] == [("a", "1"), ("b", "1"), ("b", "2"), ("c", "1"),
                                                               ("c", "2"), ("c", "3")]
    named = find_pairs(folder, "{unit}-{session}-{role}")
    assert named.rows == found.rows


def test_many_pairs_in_folders_by_pattern(tmp_path):
    """504 pairs of a crossed design, each found once, either way of naming; what fits nothing is left over."""
    for athlete in range(21):
        for condition in ("flat", "climb", "sprint"):
            for session in (1, 2):
                for unit in range(4):
                    for role in ("reference", "test"):
                        (tmp_path / f"P{athlete}-{condition}-{session}-U{unit}-{role}.csv").touch()
    (tmp_path / "P0-flat-1-U9-test.csv").touch()
    found = find_pairs(tmp_path, "{athlete}-{condition}-{session}-{unit}-{role}")
    assert len(found.rows) == 504
    assert found.leftovers == (("P0-flat-1-U9-test.csv", "no reference beside it"),)
    assert found.rows[0].factors == {"athlete": "P0", "condition": "climb"}
    plain = find_pairs(tmp_path)
    assert {(row.reference, row.device) for row in plain.rows} == {(row.reference, row.device) for row in found.rows}


@pytest.mark.parametrize(("names", "pattern", "expected"), [
    (["unit-7-1-ref", "unit-7-1-dev"], None, [("unit-7", "1", "unit-7-1-ref.csv", "unit-7-1-dev.csv")]),
    (["P1-1-ref", "P1-1-A-dev", "P1-1-B-dev"], "{athlete}-{session}[-{unit}]-{role}",
     [("A", "1", "P1-1-ref.csv", "P1-1-A-dev.csv"), ("B", "1", "P1-1-ref.csv", "P1-1-B-dev.csv")]),
    (["P1-1-crank", "P1-1-left", "P1-1-hub"], "{athlete}-{session}-{role}",
     [("hub", "1", "P1-1-crank.csv", "P1-1-hub.csv"), ("left", "1", "P1-1-crank.csv", "P1-1-left.csv")]),
    (["P1-1-crank", "P1-1-dev"], "{athlete}-{session}-{role}", [("1", "1", "P1-1-crank.csv", "P1-1-dev.csv")]),
    (["P1-1-crank", "P1-1-Pedals", "P1-1-hub"], "{athlete}-{session}-{role}",
     [("Pedals", "1", "P1-1-crank.csv", "P1-1-Pedals.csv"), ("hub", "1", "P1-1-crank.csv", "P1-1-hub.csv")]),
], ids=["a word for a role in the unit", "unit in brackets", "unit instead of the role", "plain",
        "pedals beside a hub"])
def test_names_of_many_kinds(tmp_path, names, pattern, expected):
    for name in names:
        (tmp_path / f"{name}.csv").touch()
    found = find_pairs(tmp_path, pattern)
    assert [(row.unit, row.session, row.reference, row.device) for row in found.rows] == expected
    assert not found.leftovers


def test_tables_are_those_of_the_units_alone(folder, undisturbed):
    rows = list(csv.DictReader(undisturbed["units.csv"].decode().splitlines()))
    assert [(row["unit"], row["sessions"]) for row in rows] == [("a", "1"), ("b", "2"), ("c", "3")]
    for row in rows:
        pairs = [agree.pair_recordings(folder / f"{row['unit']}-{k}-ref.csv", folder / f"{row['unit']}-{k}-dev.csv",
                                       session=str(k)) for k in range(1, int(row["sessions"]) + 1)]
        check = agree.check_claim(pairs if len(pairs) > 1 else pairs[0], "1.5 %").to_dict()
        assert row["verdict"] == check["verdict"]
        for name, key in (("bias", "value"), ("low", "low"), ("high", "high")):
            assert float(row[name]) == pytest.approx(check["bias_percent"][key], rel=1e-9)
    for line in undisturbed["results.jsonl"].decode().splitlines():
        stored = json.loads(line)
        assert stored["result"]["schema"] == 1
        assert stored["row"]["unit"] in UNITS


def test_own_pool_gives_the_same_bytes_and_goes_on(folder, undisturbed, tmp_path, tables):
    first = run(folder / "list.csv", "1.5 %", out=tmp_path, workers=2)
    assert first.computed == 6
    assert tables(tmp_path) == undisturbed
    again = run(folder / "list.csv", "1.5 %", out=tmp_path, workers=2)
    assert (again.computed, again.reused) == (0, 6)
    assert tables(tmp_path) == undisturbed


def test_relabelling_costs_nothing_and_a_changed_file_is_checked_again(folder, undisturbed, done, tmp_path):
    shutil.copytree(done, tmp_path, dirs_exist_ok=True)
    with ThreadPoolExecutor(1) as executor:
        rows = [{"unit": "a", "session": "first", "reference": str(folder / "a-1-ref.csv"),
                 "device": str(folder / "a-1-dev.csv"), "athlete": "P1"}]
        relabelled = run(rows, "1.5 %", executor=executor, out=tmp_path)
        assert (relabelled.computed, relabelled.reused) == (0, 1)
        assert relabelled.pairs[0].factors == {"athlete": "P1"}
        assert run(rows, "2 %", executor=executor, out=tmp_path).computed == 1
        changed = tmp_path / "changed.csv"
        changed.write_text((folder / "a-1-dev.csv").read_text().replace("\n3,", "\n3.0,", 1))
        assert run([rows[0] | {"device": str(changed)}], "1.5 %", executor=executor, out=tmp_path).computed == 1


def test_errors_are_rows_and_a_pair_given_twice_is_checked_once(folder, tmp_path):
    (tmp_path / "empty.csv").touch()
    good = {"unit": "a", "session": "1", "reference": str(folder / "a-1-ref.csv"),
            "device": str(folder / "a-1-dev.csv")}
    rows = [good, good, good | {"unit": "x", "device": str(tmp_path / "none.csv")},
            good | {"unit": "y", "device": str(tmp_path / "empty.csv")}]
    with ThreadPoolExecutor(2) as executor:
        study = run(rows, "1.5 %", executor=executor)
    assert study.failed == 2
    assert study.pairs[0].bias == study.pairs[1].bias
    assert study.units[0].sessions == 1
    assert study.pairs[2].error.endswith("none.csv: No such file or directory")
    assert "empty.csv" in study.pairs[3].error
    assert len(study.summary().splitlines()) <= 16


def test_a_pair_that_ends_its_worker_becomes_a_row(folder, tmp_path, monkeypatch):
    """The worker is made to end while it reads one device file; the others are checked all the same."""
    trap = tmp_path / "sitecustomize.py"
    trap.write_text("import sys\n"
                    "def end(event, args):\n"
                    "    if event == 'open' and str(args[0]).endswith('b-2-dev.csv'):\n"
                    "        import os\n"
                    "        os._exit(9)\n"
                    "sys.addaudithook(end)\n")
    monkeypatch.setenv("PYTHONPATH", f"{tmp_path}{os.pathsep}{Path(agree.__file__).parents[1]}")
    context = multiprocessing.get_context("forkserver")  # workers by the dozen that begin at once
    context.set_forkserver_preload(["agree.assessment.claim_check", "agree.pairing.pair", "agree.recordings.read"])
    rows = [row_of(folder, name) for name in ("a-1", "b-1", "b-2")]
    study = run(rows, "1.5 %", out=tmp_path / "out", workers=1,
                executor=lambda: ProcessPoolExecutor(1, mp_context=context))
    assert [bool(line.error) for line in study.pairs] == [False, False, True]
    assert study.pairs[2].error.startswith("its worker ended 3 times")
    assert [(line.sessions, line.error) for line in study.units] == [(1, ""), (1, "")]
    with ThreadPoolExecutor(1) as executor:
        mended = run(rows, "1.5 %", out=tmp_path / "out", executor=executor, retry=True)
    assert mended.failed == 0


def test_a_killed_driver_leaves_no_orphan_and_goes_on(folder, undisturbed, tmp_path, tables):
    """Killed when its first pair is done; the next run ends with the undisturbed bytes (random kills: benchmarks)."""
    command = [sys.executable, "-m", "agree", "study", "check", str(folder / "list.csv"), "--claim", "1.5 %", "--out",
               str(tmp_path), "--workers", "1", "--quiet"]
    driver = subprocess.Popen(command, start_new_session=True)
    while driver.poll() is None and not list(tmp_path.glob("pairs/*/*.json")):
        time.sleep(0.01)
    workers = [int(pid) for task in Path(f"/proc/{driver.pid}/task").glob("*/children")
               for pid in task.read_text().split()]
    driver.kill()
    driver.wait()
    assert workers
    with ThreadPoolExecutor(1) as executor:
        again = run(folder / "list.csv", "1.5 %", out=tmp_path, executor=executor)
    assert again.reused >= 1
    assert tables(tmp_path) == undisturbed
    assert not list(tmp_path.rglob("*.part"))
    ended = time.monotonic() + 10
    while time.monotonic() < ended and any(Path(f"/proc/{pid}").exists() for pid in workers):
        time.sleep(0.05)
    assert not any(Path(f"/proc/{pid}").exists() for pid in workers)


@pytest.mark.parametrize(("rows", "text"), [
    ([], "the list: found no pairs; expected a row for each"),
    ([{"unit": "a", "session": "1", "reference": "r.csv"}],
     "the list: found the columns unit, session, reference; expected unit, session, reference, device; add device"),
])
def test_lists_that_cannot_be_used(rows, text):
    with pytest.raises(InputError) as caught:
        run(rows, "1.5 %")
    assert str(caught.value) == text


@pytest.mark.parametrize(("text", "found"), [
    ("unit,session,reference,device,unit\n7,1,r,d,8\n", "found the column 'unit' twice; expected each once"),
    ("Unit,session,reference,device,unit\n7,1,r,d,8\n", "found the column 'unit' twice; expected each once"),
    ("unit,session,reference,device,rider\n7,1,r,d,A, B\n", "row 2: found 6 cells; expected 5, one for each column"),
])
def test_lists_whose_cells_may_be_another_columns_are_refused(tmp_path, text, found):
    (tmp_path / "list.csv").write_text(text)
    with pytest.raises(InputError, match=found):
        run(tmp_path / "list.csv", "1.5 %")


def test_a_column_without_a_name_is_no_factor(tmp_path):
    (tmp_path / "list.csv").write_text("unit,session,reference,device,,\n7,1,r,d,,\n,,,,,\n")
    row, = read_list(tmp_path / "list.csv")[0]
    assert (row.unit, row.factors) == ("7", {})


def test_options_and_claims_that_cannot_be_used():
    with pytest.raises(InputError, match="`workers` must be 1 or more; got 0"):
        run([], "1.5 %", workers=0)
    with pytest.raises(InputError, match="options colour are not known"):
        run([], "1.5 %", colour="red")
    with pytest.raises(InputError, match="options bands are not known"):
        run([], "5 bpm", quantity="heart rate", bands=[100])
    with pytest.raises(InputError, match="`meaning` must be one of average, levels, readings, next_sub"):
        run([], "2 cm", by="subject,trial", meaning="bands")
    with pytest.raises(InputError, match="not understood"):
        run([], "soon")


def row_of(folder, name, **changes):
    unit, session = name.split("-")
    return {"unit": unit, "session": session, "reference": str(folder / f"{name}-ref.csv"),
            "device": str(folder / f"{name}-dev.csv")} | changes


def test_an_empty_cell_is_a_row_with_its_error_and_the_rest_is_checked(folder, tmp_path):
    (tmp_path / "list.csv").write_text("unit,session,reference,device\n"
                                       f",1,{folder}/a-1-ref.csv,{folder}/a-1-dev.csv\n"
                                       f"b,1,{folder}/b-1-ref.csv,{folder}/b-1-dev.csv\n,,,\n"
                                       f"c,,{folder}/c-1-ref.csv,\n")
    with ThreadPoolExecutor(1) as executor:
        study = run(tmp_path / "list.csv", "1.5 %", executor=executor)
    assert [line.error for line in study.pairs] == [
        "row 2: found no unit; expected one; fill the cell in", "",
        "row 5: found no session and no device; expected one; fill the cell in"]
    assert [(line.labels["unit"], line.sessions, line.listed, line.error) for line in study.units] == [
        ("b", 1, 1, ""), ("c", 0, 1, "no session could be used")]
    assert "no unit, session 1: row 2: found no unit" in study.summary().replace("\n" + 14 * " ", " ")


def test_one_effort_counts_once(folder, undisturbed, done, tmp_path):
    """Given again it is said; as another session or unit, or beside the same reference, it is an error."""
    other = tmp_path / "other.csv"
    other.write_text((folder / "b-1-dev.csv").read_text().replace("\n3,", "\n3.0,", 1))
    rows = [row_of(folder, "b-1"), row_of(folder, "b-1"), row_of(folder, "b-1", session="2"),
            row_of(folder, "b-1", unit="z"), row_of(folder, "b-2", session="3", reference=str(folder / "b-1-ref.csv")),
            row_of(folder, "b-1", unit="y", device=str(other))]
    with ThreadPoolExecutor(1) as executor:
        study = run(rows, "1.5 %", executor=executor, out=done)
    assert [line.repeats for line in study.pairs] == [None, 2, None, None, None, None]
    assert [line.error for line in study.pairs[2:5]] == [
        "row 4: found the recordings of row 2 again (unit b, session 1); expected one row for each effort; one effort "
        "counts once: give its own files, or leave the row out",
        "row 5: found the recordings of row 2 again (unit b, session 1); expected another recording for another unit; "
        "one effort counts once: give its own files, or leave the row out",
        "row 6: found the reference's recording of row 2 again (unit b, session 1); expected one row for each effort; "
        "one effort counts once: give its own files, or leave the row out"]
    assert [(line.labels["unit"], line.sessions, line.listed) for line in study.units] == [
        ("b", 1, 4), ("z", 0, 1), ("y", 1, 1)]  # two units beside one reference are two units
    assert "Counted once  1 of the list's rows, given twice; the first is b, session 1." in study.summary()
    assert [row["repeats"] for row in csv.DictReader((done / "pairs.csv").read_text().splitlines())] == [
        "", "2", "", "", "", ""]


def test_statistics_over_units_count_a_pair_given_twice_once(folder, undisturbed, done):
    rows = [row_of(folder, f"{unit}-{k}") for unit, count in UNITS.items() for k in range(1, count + 1)]
    with ThreadPoolExecutor(1) as executor:
        once, twice = (run(given, "1.5 %", executor=executor, out=done).fleet for given in (rows, [*rows, rows[1]]))
    assert twice.to_dict() == once.to_dict()


def test_the_headline_names_the_meaning(folder, undisturbed, done):
    with ThreadPoolExecutor(1) as executor:
        heads = {meaning: run([row_of(folder, "a-1")], "1.5 %", executor=executor, meaning=meaning,
                              out=done).summary() for meaning in ("average", "readings")}
    assert heads["average"].startswith("1 UNIT  claim 1.5 %, mean error: 1 does not hold\n")
    assert heads["readings"].startswith("1 UNIT  claim 1.5 %, single 30-s readings: 1 does not hold\n")


def stamped(path, start, seconds=600):
    path.parent.mkdir(exist_ok=True)
    path.write_text("time,power_W\n" + "".join(f"{np.datetime64(start) + np.timedelta64(k, 's')}Z,{200 + k % 7}\n"
                                              for k in range(seconds)))


def test_recordings_whose_names_do_not_tell_are_paired_by_their_times(tmp_path):
    stamped(tmp_path / "crank" / "morning.csv", "2026-03-14T08:00:00")
    stamped(tmp_path / "crank" / "evening.csv", "2026-03-14T18:00:00")
    stamped(tmp_path / "U7" / "0001.csv", "2026-03-14T18:04:59")   # 301 of 600 s: a pair
    stamped(tmp_path / "U7" / "0002.csv", "2026-03-14T08:05:01")   # 299 of 600 s: none
    stamped(tmp_path / "U8" / "0001.csv", "2026-03-14T18:00:10")
    (tmp_path / "notes.txt").write_text("it rained")
    found = find_pairs(tmp_path)
    assert [(row.unit, row.session, row.reference, row.device) for row in found.rows] == [
        ("U8", "2026-03-14 18:00", "crank/evening.csv", "U8/0001.csv"),
        ("U7", "2026-03-14 18:00", "crank/evening.csv", "U7/0001.csv")][::-1]
    assert found.leftovers == (
        ("U7/0002.csv", "no word for reference or device in it"),
        ("crank/morning.csv", "no device beside it, nor any at its time (2026-03-14 08:00 UTC)"),
        ("notes.txt", "no word for reference or device in it"))


def test_files_of_one_time_without_a_word_for_the_reference_are_no_pair(tmp_path):
    stamped(tmp_path / "garage" / "x.csv", "2026-03-14T08:00:00")
    stamped(tmp_path / "new" / "y.csv", "2026-03-14T08:00:10")
    with pytest.raises(InputError, match="found no pair among 2 files"):
        find_pairs(tmp_path)
    assert [(row.unit, row.reference) for row in find_pairs(tmp_path, reference_word="Garage").rows] == [
        ("new", "garage/x.csv")]


def test_results_given_back_as_a_list_are_refused(undisturbed, tmp_path):
    (tmp_path / "pairs.csv").write_bytes(undisturbed["pairs.csv"])
    with pytest.raises(InputError, match=r"^pairs.csv: found the column 'bias', a name of the results"):
        run(tmp_path / "pairs.csv", "1.5 %")
    with pytest.raises(InputError, match="Is a directory; give the list of a study"):
        run(tmp_path, "1.5 %")


def test_one_units_own_page_shows_the_result_of_the_study(folder, undisturbed, tmp_path):
    check = check_unit(folder / "list.csv", "b", "1.5 %")
    line = next(row for row in csv.DictReader(undisturbed["units.csv"].decode().splitlines()) if row["unit"] == "b")
    assert (check.verdict, check.to_dict()["bias_percent"]["value"]) == (line["verdict"], float(line["bias"]))
    assert "b-2-dev" in check.pairs[1].device_name
    words = ["unit", str(folder / "list.csv"), "b", "--claim", "1.5%", "--page", str(tmp_path / "b.svg")]
    assert CliRunner().invoke(command, words).exit_code == 0
    assert "b-1-ref" in (tmp_path / "b.svg").read_text()
    with pytest.raises(InputError, match="the list has no unit 'z'; expected one of a, b, c"):
        check_unit(folder / "list.csv", "z", "1.5 %")


def test_one_units_own_page_says_what_its_athletes_means_say(folder, undisturbed, done):
    rows = [row_of(folder, f"c-{k}") | {"rider": name} for k, name in enumerate("PPQ", 1)]
    with ThreadPoolExecutor(1) as executor:
        line, = run(rows, "1.5 %", executor=executor, out=done).units
    said = check_unit(rows, "c", "1.5 %").summary()
    assert line.over == "athletes"
    assert f"over the athletes' means the answer is {line.verdict}" in " ".join(said.split())


def beats(path, values):
    path.write_text("time (s),heart rate (bpm)\n" + "".join(f"{k},{value:.0f}\n" for k, value in enumerate(values)))
    return str(path)


def test_other_quantities_by_column_or_option_and_their_unit(tmp_path):
    """A claim in per cent has errors in per cent, one in bpm in bpm; the same answers as of the unit alone."""
    rng = np.random.default_rng(5)
    rows, seen = [], []
    for session in (1, 2, 3):
        strap = 130 + 25 * np.sin(np.arange(900) / 40) + rng.normal(0, 1, 900)
        files = [beats(tmp_path / f"{session}-{role}.csv", values) for role, values in (
            ("ref", strap), ("dev", strap + 2 + rng.normal(0, 2, 900)))]
        rows.append({"unit": "w", "session": str(session), "reference": files[0], "device": files[1]})
        seen.append(agree.overlay_recordings(*files, "heart rate", session=str(session)))
    with ThreadPoolExecutor(1) as executor:
        by_column = run([row | {"quantity": "heart rate"} for row in rows], "5 bpm", executor=executor, out=tmp_path)
        by_option = run(rows, "5 %", executor=executor, quantity="heart rate", out=tmp_path)
    for study, claim, unit in ((by_column, "5 bpm", "bpm"), (by_option, "5 %", "%")):
        alone = agree.check_quantity(seen, claim)
        line = study.units[0]
        assert (line.verdict, line.bias_unit, line.sessions) == (alone.verdict, unit, 3)
        assert line.bias == pytest.approx(alone.decides.bias.value)
    assert (by_option.computed, by_option.reused) == (3, 0)
    named = [row | {"athlete": name} for row, name in zip(rows, "PPQ", strict=True)]
    said = check_unit(named, "w", "5 bpm", quantity="heart rate").summary()
    assert "he 3 sessions are of 2 athletes, and those of one are alike" in " ".join(said.split())


def test_tables_of_trials(tmp_path, tables):
    reference, device = write_tables(tmp_path)
    row = {"unit": "mat", "session": "1", "reference": str(reference), "device": str(device)}
    with ThreadPoolExecutor(1) as executor:
        study = run([row], "2 cm", executor=executor, by="athlete,jump", meaning="next_subject")
        alone = agree.check_trials(agree.pair_trials(reference, device, by="athlete,jump"), "2 cm",
                                   meaning="next_subject")
        again = tmp_path / "again.csv"
        again.write_text(device.read_text().replace("A01,1,", "A01,1,0", 1))
        other = tmp_path / "other.csv"
        other.write_text(reference.read_text().replace("A01,1,", "A01,1,0", 1))
        two = run([row, row | {"session": "2", "reference": str(other), "device": str(again)}], "2 cm",
                  executor=executor, by="athlete,jump")
    assert (study.units[0].verdict, study.units[0].bias_unit) == (alone.verdict, "cm")
    assert study.units[0].bias == pytest.approx(alone.bias.value)
    assert "each over the unit's table of trials." in study.summary()
    assert study.summary().startswith("1 UNIT  claim 2 cm, the error of a new subject: ")
    said = methods_paragraph(study_table(study))
    assert "with 1 pair of tables of trials. Mean errors have 95 % t intervals over the trials of each table," in said
    assert two.units[0].error == ("found 2 tables of trials of one unit; expected one: join them, with a column for "
                                  "the session among the keys")


def test_claims_of_their_own_stand_in_the_tables(folder, tmp_path):
    rows = [{"Unit": "a", "session": "1", "reference": str(folder / "a-1-ref.csv"),
             "device": str(folder / "a-1-dev.csv"), "claim": "10 %"}]
    with ThreadPoolExecutor(1) as executor:
        study = run(rows, "1.5 %", executor=executor, out=tmp_path)
    assert study.units[0].verdict == "holds"
    assert "claims of their own" in study.summary()
    assert next(csv.DictReader((tmp_path / "units.csv").read_text().splitlines()))["claim"] == "10 %"


def test_a_study_of_which_nothing_could_be_checked_ends_with_an_error(tmp_path):
    """The tables are written, with the reasons; the exit status is that of bad input."""
    (tmp_path / "list.csv").write_text("unit,session,reference,device\na,1,no.csv,none.csv\n", encoding="utf-8")
    words = ["check", str(tmp_path / "list.csv"), "--claim", "1.5%", "--out", str(tmp_path / "out"), "--workers", "1"]
    done = CliRunner().invoke(command, words)
    assert done.exit_code == 2
    assert "1 of 1 pairs could not be checked" in done.stderr
    assert (tmp_path / "out" / "pairs.csv").exists()


@pytest.mark.parametrize(("athletes", "over"), [("PPQ", "athletes"), ("PQR", "sessions"), ("   ", "sessions")])
def test_a_unit_and_its_cell_have_one_figure_and_say_what_it_is_over(folder, undisturbed, done, athletes, over):
    rows = [row_of(folder, f"c-{k}") | {"rider": name} for k, name in enumerate(athletes, 1)] + [row_of(folder, "a-1")]
    with ThreadPoolExecutor(1) as executor:
        made = run(rows, "1.5 %", executor=executor, out=done)
    unit, other = made.units
    cell = study_table(made).cells[0]
    assert (unit.over, other.over) == (over, "recording")
    assert (unit.verdict, unit.bias, unit.low, unit.high) == (
        cell.verdict, cell.bias.value, cell.bias.low, cell.bias.high)
    if over == "athletes":  # two of them: the interval of two means is wide, whatever the number of sessions
        assert cell.groups == 2
        assert unit.high - unit.low > 1.5 * (study_table(made, athlete="").cells[0].bias.high - unit.bias)
    assert [row["over"] for row in csv.DictReader((done / "units.csv").read_text().splitlines())] == [over, "recording"]
    words = "over sessions: 1" if over == "sessions" else "over athletes' means: 1"
    assert words in " ".join(made.summary().split())


def test_the_list_hints_at_further_devices_and_at_one_unit_in_two_spellings(tmp_path):
    for name in ("u7-1-ref", "u7-1-dev", "U7-2-ref", "U7-2-dev", "u7-1-hub"):
        (tmp_path / f"{name}.csv").touch()
    said = CliRunner().invoke(command, ["list", str(tmp_path)]).stderr
    assert "each name that is no reference is a unit." in said
    assert "1 unit of the same name but for capitals: one unit has one name." in said


def test_a_dry_run_says_what_a_run_would_do_and_writes_nothing(folder, undisturbed, done, tmp_path):
    text = (folder / "list.csv").read_text()
    (tmp_path / "list.csv").write_text("".join(
        ",".join([*row[:2], *(str(folder / name) for name in row[2:])]) + "\n" if k else ",".join(row) + "\n"
        for k, row in enumerate(csv.reader([*text.splitlines(), text.splitlines()[1], "n,1,none.csv,none.csv"]))))
    for out, said in ((done, "0 pairs to check, 6 found done,"), (tmp_path / "new", "6 pairs to check, 0 found done,")):
        found = CliRunner().invoke(command, ["check", str(tmp_path / "list.csv"), "--claim", "1.5 %", "--out", str(out),
                                             "--dry-run"])
        assert found.output == f"{said} 1 row with an error, 1 given twice; 4 units. Nothing was done.\n"
    assert not (tmp_path / "new").exists()


def test_another_claim_question_or_version_asks_anew(folder, undisturbed, done, monkeypatch):
    def left(claim="1.5 %", **options):
        return intended(folder / "list.csv", claim, out=done, **options).to_check

    assert left() == left(meaning="average") == left(level=0.95) == 0
    assert left("1.6 %") == left(meaning="bands") == left(level=0.9) == left(reference_uncertainty="1 %") == 6
    monkeypatch.setattr(agree, "__version__", "9.9")
    assert left() == 6


def test_every_question_has_words_in_the_headline():
    asked = {kind: set(meanings) for kind, meanings in MEANINGS.items()}
    assert asked["trials"] <= set(OF_TRIALS)
    assert asked["power"] | asked["quantity"] <= set(QUESTIONS)
