"""`agree correct` as a user runs it: a copy and its history, or one line and nothing written."""

import hashlib
import json

import pytest
from click.testing import CliRunner

from agree.cli.commands.correct import correct
from agree.correction.history import known_history
from agree.files import writing
from agree.files.copy_history import history_path, story_at
from tests.cli.test_check import BIKE, PEDALS, agree, refused


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    """Result of the check of the real pair."""
    path = tmp_path_factory.mktemp("result") / "result.json"
    assert agree("check", BIKE, PEDALS, "--claim", "1.5%", "--json", path).returncode == 0
    return path


def files(folder):
    return sorted(path.name for path in folder.iterdir())


def test_copy_and_history_from_a_result(tmp_path, result):
    before = PEDALS.read_bytes()
    done = agree("correct", PEDALS, "copy.csv", "--from", result, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    found = json.loads(result.read_text(encoding="utf-8"))["correction"]
    scale = found["entered"]["scale"]
    assert done.stdout == (f"copy.csv: 'power_W' = device * {scale:g}, 3,814 readings; 12 left as they are (0 or "
                           "missing).\nOn the rides that the correction was found on the copy proves nothing: check it "
                           "on others.\nWhether this correction lasts is not known: wait for 3 sessions before "
                           "relying on it.\n\nWritten: copy.csv, copy.csv.history.json\n")
    assert PEDALS.read_bytes() == before
    assert files(tmp_path) == ["copy.csv", "copy.csv.history.json"]
    copy = (tmp_path / "copy.csv").read_bytes()
    for old, new in zip(before.splitlines()[1:], copy.splitlines()[1:], strict=True):
        old, new = old.split(b","), new.split(b",")
        assert (old[0], old[2:]) == (new[0], new[2:])
        assert old[1] == new[1] if old[1] in (b"", b"0") else abs(float(new[1]) - scale * float(old[1])) <= 0.0501
    story = json.loads((tmp_path / "copy.csv.history.json").read_text(encoding="utf-8"))
    assert story["source"] == {"name": PEDALS.name, "sha256": hashlib.sha256(before).hexdigest()}
    assert story["copy"] == {"name": "copy.csv", "sha256": hashlib.sha256(copy).hexdigest()}
    assert story["correction"]["scale"] == scale
    assert story["ground"]["factor"] == found["factor"]
    assert story["ground"]["claim"] == "±1.5 %"
    assert story["made_by"].startswith("agree 0.")
    assert story["command"][0] == "correct"
    assert story["date"].endswith("+00:00")


def test_checked_again_it_is_as_foretold(tmp_path, result):
    found = json.loads(result.read_text(encoding="utf-8"))
    agree("correct", PEDALS, "copy.csv", "--from", result, cwd=tmp_path)
    again = json.loads(agree("check", BIKE, "copy.csv", "--claim", "1.5%", "--json", "-", cwd=tmp_path).stdout)
    foretold = found["correction"]["entered"]["left_percent"]
    # one decimal in the copy; the lag may be found a few hundredths of a second apart
    assert again["bias_percent"]["value"] == pytest.approx(foretold, abs=0.02)


def test_never_twice(tmp_path, result):
    agree("correct", PEDALS, "copy.csv", "--from", result, cwd=tmp_path)
    scale = json.loads(result.read_text(encoding="utf-8"))["correction"]["entered"]["scale"]
    message = (f"copy.csv: found a copy of {PEDALS.name} corrected by this already (device * {scale:g}); expected a "
               "recording as the device made it; nothing needs to be done")
    assert refused("correct", "copy.csv", "again.csv", "--from", result, cwd=tmp_path) == message
    (tmp_path / "copy.csv").rename(tmp_path / "renamed.csv")
    assert refused("correct", "renamed.csv", "again.csv", "--scale", scale, cwd=tmp_path) == message.replace(
        "copy.csv:", "renamed.csv:")
    done = agree("correct", "renamed.csv", "other.csv", "--scale", "0.99", "--offset", "-2", cwd=tmp_path)
    assert done.stdout.splitlines() == [
        "other.csv: 'power_W' = (device + 2 W) * 0.99, 3,814 readings; 12 left as they are (0 or missing).",
        f"Careful: renamed.csv is a copy of {PEDALS.name} already corrected by device * {scale:g}; this comes on top "
        "of it.", "Where this correction was found is not recorded, so that no check of the copy is answered 'holds'; "
        "--from RESULT.json records it.", "", "Written: other.csv, other.csv.history.json"]
    story = json.loads((tmp_path / "other.csv.history.json").read_text(encoding="utf-8"))
    assert story["earlier"]["correction"]["scale"] == scale


def test_never_over_a_file(tmp_path, result):
    own = tmp_path / "own.csv"
    own.write_bytes(PEDALS.read_bytes())
    (tmp_path / "link.csv").symlink_to(own)
    for name in ("own.csv", "link.csv"):
        for force in ([], ["--force"]):
            assert refused("correct", own, name, "--scale", "1.03", *force, cwd=tmp_path) == (
                f"{name} is one of the recordings; a recording is never written over: choose another name")
    assert own.read_bytes() == PEDALS.read_bytes()
    (tmp_path / "taken.csv").write_text("mine", encoding="utf-8")
    assert refused("correct", own, "taken.csv", "--scale", "1.03", cwd=tmp_path) == (
        "taken.csv exists already; choose another name, or say --force")
    assert (tmp_path / "taken.csv").read_text(encoding="utf-8") == "mine"
    assert refused("correct", own, "taken.csv", "--scale", "1.03", "--force", cwd=tmp_path) == (
        "taken.csv is not the corrected copy that a history beside it tells of; only a corrected copy is written over: "
        "choose another name")
    assert (tmp_path / "taken.csv").read_text(encoding="utf-8") == "mine"
    assert files(tmp_path) == ["link.csv", "own.csv", "taken.csv"]


def test_names_do_not_act_through_a_history(tmp_path):
    """The command stood in it as typed; a source's name in a history of unknown origin was printed raw."""
    name = "ride\x1b[31m\u202e.csv"
    (tmp_path / name).write_bytes(PEDALS.read_bytes())
    assert agree("correct", name, "c.csv", "--scale", "1.02", cwd=tmp_path).returncode == 0
    story = tmp_path / "c.csv.history.json"
    assert json.loads(story.read_text(encoding="utf-8"))["command"][1] == "ride?[31m?.csv"
    story.write_text(story.read_text(encoding="utf-8").replace("ride?[31m?", "ride\\u001b[31m\u202e"), encoding="utf-8")
    done = agree("correct", "c.csv", "d.csv", "--scale", "1.01", cwd=tmp_path)
    assert "Careful: c.csv is a copy of ride?[31m?.csv already corrected" in done.stdout


def test_no_history_is_left_of_a_copy_that_cannot_be_written(tmp_path):
    """A link into a folder that is not there stands for a full disk; the history alone barred the next try."""
    (tmp_path / "c.csv").symlink_to(tmp_path / "gone" / "c.csv")
    assert "does not exist" in refused("correct", PEDALS, "c.csv", "--scale", "1.02", cwd=tmp_path)
    assert files(tmp_path) == ["c.csv"]


def test_only_a_copy_is_written_over(tmp_path):
    """A raw recording, a copy that was edited and a file that is no history stay as they are, --force or not."""
    own = tmp_path / "own.csv"
    own.write_bytes(PEDALS.read_bytes())
    assert agree("correct", own, "copy.csv", "--scale", "1.03", cwd=tmp_path).returncode == 0
    assert refused("correct", own, "copy.csv", "--scale", "1.04", cwd=tmp_path) == (
        "copy.csv and copy.csv.history.json exist already; choose another name, or say --force")
    assert agree("correct", own, "copy.csv", "--scale", "1.04", "--force", cwd=tmp_path).returncode == 0
    assert "device * 1.04" not in (tmp_path / "copy.csv").read_text(encoding="utf-8")
    story = tmp_path / "copy.csv.history.json"
    assert json.loads(story.read_text(encoding="utf-8"))["correction"]["scale"] == 1.04
    with (tmp_path / "copy.csv").open("a", encoding="utf-8") as copy:
        copy.write("# edited\n")
    before = (tmp_path / "copy.csv").read_bytes()
    again = refused("correct", own, "copy.csv", "--scale", "1.05", "--force", cwd=tmp_path)
    assert "is not the corrected copy" in again
    raw = tmp_path / "raw.csv"
    raw.write_bytes(BIKE.read_bytes())
    assert "is not the corrected copy" in refused("correct", own, "raw.csv", "--scale", "1.05", "--force", cwd=tmp_path)
    (tmp_path / "new.csv.history.json").write_text("{}", encoding="utf-8")
    assert "is no history of a corrected copy" in refused("correct", own, "new.csv", "--scale", "1.05", "--force",
                                                          cwd=tmp_path)
    assert (tmp_path / "copy.csv").read_bytes() == before
    assert raw.read_bytes() == BIKE.read_bytes()
    assert (tmp_path / "new.csv.history.json").read_text(encoding="utf-8") == "{}"


def test_a_kill_between_history_and_copy_leaves_the_old_copy_with_its_own(tmp_path, monkeypatch):
    """The new history stood beside the old copy: told of with the wrong factor, and barred from being written again."""
    copy = tmp_path / "copy.csv"
    assert agree("correct", PEDALS, copy, "--scale", "1.03").returncode == 0
    old = copy.read_bytes()

    def killed(path, content):
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(writing, "write_bytes", killed)
        CliRunner().invoke(correct, [str(PEDALS), str(copy), "--scale", "1.04", "--force"])
    assert copy.read_bytes() == old
    assert story_at(history_path(copy))["correction"]["scale"] == 1.04
    assert known_history(copy)["change"].scale == 1.03
    assert agree("correct", PEDALS, copy, "--scale", "1.05", "--force").returncode == 0
    assert known_history(copy)["change"].scale == 1.05
    assert "replaced" not in story_at(history_path(copy))
    assert copy.read_bytes() != old


def edited(result, folder, **changes):
    found = json.loads(result.read_text(encoding="utf-8"))
    found["correction"].update(changes)
    path = folder / "edited.json"
    path.write_text(json.dumps(found), encoding="utf-8")
    return path


def test_a_correction_known_to_last_is_not_doubted(tmp_path, result):
    for k, stable in enumerate((None, True)):
        done = agree("correct", PEDALS, f"{k}.csv", "--from", edited(result, tmp_path, stable=stable), cwd=tmp_path)
        assert ("wait for 3 sessions before relying on it" in done.stdout) == (stable is None)


def test_what_was_refused_is_not_done(tmp_path, result):
    for changes in ({"action": "refused", "reason": {"kind": "correction_scatter"}},
                    {"stable": False, "reason": {"kind": "correction_scatter"}}):
        path = edited(result, tmp_path, **changes)
        assert refused("correct", PEDALS, "copy.csv", "--from", path, cwd=tmp_path) == (
            "edited.json: found a correction that was refused (why, the check says under 'To enter'); record further "
            "sessions, or pass even_if_unstable=True; on the command line: --even-if-unstable")
        assert files(tmp_path) == ["edited.json"]
    assert agree("correct", PEDALS, "copy.csv", "--from", path, "--even-if-unstable", cwd=tmp_path).returncode == 0
    path = edited(result, tmp_path, action="none", reason={"kind": "correction_small"}, entered=None)
    assert refused("correct", PEDALS, "other.csv", "--from", path, cwd=tmp_path) == (
        "edited.json: found that no correction is advised (what the check says under 'To enter'); to correct it "
        "anyway, give the scale yourself; on the command line: --scale FACTOR")
    path = edited(result, tmp_path, action="refused", entered=None)
    assert refused("correct", PEDALS, "other.csv", "--from", path, "--even-if-unstable", cwd=tmp_path) == (
        "edited.json: found no values to enter; expected scale and offset; give a file written by agree check --json")


@pytest.mark.parametrize(("arguments", "message"), [
    ([PEDALS, "copy.csv"], "give either --from RESULT.json, or --scale FACTOR and/or --offset W"),
    ([PEDALS, "copy.csv", "--scale", "103"],
     "scale 103 must be a factor from 0.2 to 5, such as 1.03; did you mean 1.03?"),
    ([PEDALS, "copy.csv", "--scale", "1"], "scale 1 and offset 0 change nothing; give the correction found"),
    ([PEDALS, "no/copy.csv", "--scale", "1.03"],
     "folder no does not exist; make it first or choose another place for copy.csv.history.json"),
    (["nowhere.csv", "copy.csv", "--scale", "1.03"],
     "nowhere.csv: found no such file; expected a text table of one recording; check the path"),
    ([PEDALS, "copy.csv", "--from", "nowhere.json"],
     "nowhere.json: found no file that can be read (No such file or directory); give a file written by agree check "
     "--json"),
    ([PEDALS, "copy.csv", "--from", PEDALS],
     f"{PEDALS.name}: found no correction with an action; expected a result; give a file written by agree check "
     "--json"),
    ([PEDALS, "copy.csv", "--scale", "1.03", "--column", "watts"],
     "pair-1-pedals.csv: found no column 'watts'; expected one of 'timestamp', 'power_W', 'cadence_rpm'; correct "
     "power_column"),
])
def test_bad_calls_end_in_one_line(tmp_path, arguments, message):
    assert refused("correct", *arguments, cwd=tmp_path) == message
    assert files(tmp_path) == []


def test_the_reference_is_not_corrected(tmp_path, result):
    assert refused("correct", BIKE, "copy.csv", "--from", result, cwd=tmp_path) == (
        "pair-1-bike.csv was the reference of that check; the correction is for the device: give a recording of the "
        "device")
    assert files(tmp_path) == []
