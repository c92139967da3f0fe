"""One recording split at a place: its parts, the change, and what a place chosen after looking costs."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from agree import Estimate, InputError, Pairs, SampleSizeError
from agree.cli import main
from agree.cli.run import asked_of_check
from agree.core.data.fault import Fault
from agree.core.data.matched import Matched
from agree.trail.split import change_at, place_s, place_text, split_pairs
from agree.trail.trail import check_split
from agree.verdict.declaration import Declaration, read_declaration


def recording(step=2.6, seconds=2400, at=1200):
    rng, time = np.random.default_rng(4), np.arange(seconds)
    true = 210 + 80 * np.sin(time / 90)
    slow = np.convolve(rng.normal(0, 1, seconds + 59), np.ones(60) / 60, "valid") * math.sqrt(60)
    percent = np.where(time < at, -step, 0.0) + 0.6 * slow
    return Pairs(reference=true, device=(1 + percent / 100) * true, session="5")


def run(*words):
    done = CliRunner().invoke(main.command, list(map(str, words)), standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout


DECLARED = Declaration(claim="±1.5 %", splits=("0:20:00",))


def test_the_part_after_the_place_is_judged_and_both_answers_are_shown():
    trail = check_split(recording(), ["0:20:00"], "2 %")
    assert [item.state for item in trail.states] == ["before 0:20:00", "from 0:20:00 on"]
    assert (trail.judged, trail.verdict) == ("from 0:20:00 on", "holds")
    change = trail.changes[0]
    assert trail.notes[0].kind == "split_undeclared"
    assert (change.answer, change.answer_if_declared) == ("changed", "changed")
    assert change.change_percent.low < change.if_declared.low < 2.6 < change.if_declared.high
    text = trail.summary()
    assert "0:20:00 was not declared beforehand" in text.replace("\n              ", " ")
    assert max(map(len, text.splitlines())) <= 80
    assert len(text.splitlines()) <= 16
    json.dumps(trail.to_dict(), allow_nan=False)


def test_a_declared_place_has_one_answer_and_another_place_has_not():
    whole = recording()
    known = check_split(whole, ["0:20:00"], "1.5 %", declared=DECLARED, state="before 0:20:00")
    assert known.verdict == "does not hold"
    assert known.notes[0].kind == "split_declared"
    assert known.changes[0].if_declared is None
    assert "Declare it" not in known.summary()
    other = check_split(whole, ["0:18:00"], "1.5 %", declared=DECLARED)
    assert other.notes[0].kind == "split_otherwise"
    assert other.changes[0].if_declared is not None


# SPLIT_PLACES
def test_a_small_change_is_one_only_if_its_place_was_declared():
    """t of 16 at 5 % is 2.120 (tables); beyond t of 8 at a tenth of it only a place chosen afterwards counts."""
    rng = np.random.default_rng(3)
    first, second = (rng.normal(0, 1, 800) for _ in range(2))
    for part in (first, second):
        part -= part.mean()
    parts = [Estimate(value=value, low=-9, high=9, level=0.95, method="t", standard_error=1.0, df=8.0)
             for value in (0.0, 2.5 * math.sqrt(2))]
    found = change_at(*parts, first, second, 0.95)
    assert found.beforehand.low > 0 > found.afterwards.low
    assert (found.beforehand.high - found.beforehand.value) / math.sqrt(2) == pytest.approx(2.120, abs=0.001)
    assert found.afterwards.standard_error == pytest.approx(math.sqrt(2))  # the parts' own, if larger
    half = found.afterwards.high - found.afterwards.value
    assert half / math.sqrt(2) == pytest.approx(3.8325, abs=0.001)  # t of 8 beyond which lie 0.005 (tables)
    # a short part that happens to be quiet does not decide
    quiet = [Estimate(value=value, low=-9, high=9, level=0.95, method="t", standard_error=0.001, df=8.0)
             for value in (0.0, 0.1)]
    found = change_at(*quiet, first, second[:100], 0.95)
    assert found.beforehand.low > 0 > found.afterwards.low


def test_parts_keep_their_seconds_clock_and_matched_columns():
    base = recording()
    whole = Pairs(reference=base.reference, device=base.device, cadence=np.full(2400, 90.0),
                  matched=Matched(reference=base.reference * 1.0, device=base.device * 1.5))
    parts, labels = split_pairs(whole, ["0:25:00", "0:10:00"])
    assert labels == ["before 0:10:00", "0:10:00 to 0:25:00", "from 0:25:00 on"]
    assert [part.time.size for part in parts] == [600, 900, 900]
    assert np.array_equal(np.concatenate([part.time for part in parts]), whole.time)
    assert np.array_equal(parts[1].matched_device, 1.5 * whole.device[600:1500])
    assert parts[2].cadence.size == 900


# SPLIT_LEAST_S
@pytest.mark.parametrize(("seconds", "allowed"), [(300, True), (299, False)])
def test_a_part_needs_five_minutes(seconds, allowed):
    whole = Pairs(reference=np.full(1800, 200.0), device=np.full(1800, 199.0))
    if allowed:
        assert split_pairs(whole, [place_text(seconds)])[0][0].used.sum() == 300
        return
    with pytest.raises(SampleSizeError) as caught:
        split_pairs(whole, [place_text(seconds)])
    assert str(caught.value) == ("the part 'before 0:04:59' has 299 used seconds; at least 300 are needed to judge a "
                                 "part: leave the split out, or give another place declared beforehand")


@pytest.mark.parametrize(("start", "seconds", "kept"), [(0.0, 1200, False), (0.0, 1130, True), (1200.0, 1200, False),
                                                        (1270.0, 1130, True)])
def test_a_step_at_the_place_is_not_one_of_a_part(start, seconds, kept):
    """A step is told by its shorter side: where that is the part itself, the cut shows it, and no part changed."""
    step = Fault(kind="step", start_s=start, seconds=seconds, energy_share=0.5, handling="report")
    warm = replace(step, kind="warm_up_drift")
    whole = recording()
    parts, _ = split_pairs(replace(whole, faults=(step, warm)), ["0:20:00"])
    assert [fault.kind for part in parts for fault in part.faults] == ["step"] * kept + ["warm_up_drift"]
    said = check_split(replace(whole, faults=(step,)), ["0:20:00"], "2 %").summary()
    assert ("changed its level" in said) is kept


def test_places_that_are_not_understood():
    assert place_s("1:02:03") == 3723
    for text in ("35:00", "0:35", "2100", "0:61:00", "0:00:00", ""):
        with pytest.raises(InputError, match="write hours, minutes and seconds"):
            place_s(text)
    whole = recording()
    with pytest.raises(InputError, match=r"^split 0:50:00 lies beyond the end of the recording, 0:39:59"):
        split_pairs(whole, ["0:50:00"])
    with pytest.raises(InputError, match="different places"):
        split_pairs(whole, ["0:20:00", "0:20:00"])
    with pytest.raises(InputError, match=r"^`state` must be one of 'before 0:20:00'"):
        check_split(whole, ["0:20:00"], "1.5 %", state="new")


def test_the_command_declares_and_splits(tmp_path):
    whole = recording()
    files = [tmp_path / "reference.csv", tmp_path / "device.csv"]
    rng = np.random.default_rng(2)
    rider = np.convolve(rng.normal(0, 60, 2404), np.ones(5) / 5, "valid")  # so that the clocks can be matched
    for file, ratio in zip(files, (1.0, whole.device / whole.reference), strict=True):
        file.write_text("time_s,power_W\n" + "".join(
            f"{k},{watts:.0f}\n" for k, watts in enumerate((whole.reference + rider) * ratio)), encoding="utf-8")
    declared = tmp_path / "declared.json"
    run("plan", "--claim", "1.5%", "--split", "0:20:00", "--declare", declared)
    assert read_declaration(declared).splits == ("0:20:00",)
    words = ["check", *files, "--claim", "1.5%", "--split", "0:20:00", "--declared", declared, "--json", "-"]
    done = CliRunner().invoke(main.command, list(map(str, words)), standalone_mode=False)
    stored = json.loads(done.stdout)
    assert "Warning" not in done.stderr
    assert stored["changes"][0]["answer"] == "changed"
    assert stored["changes"][0]["if_declared"] is None
    assert stored["trail_notes"][0]["kind"] == "split_declared"
    assert stored["verdict"] == "holds"


def test_a_declared_split_that_is_not_asked_for_is_pointed_out(tmp_path, capsys):
    declared = tmp_path / "declared.json"
    declared.write_text(DECLARED.text(), encoding="utf-8")
    options = dict.fromkeys(("meaning", "reference_uncertainty", "bands", "window", "level"))
    assert asked_of_check({**options, "declared_file": str(declared)})["declared"].splits == ("0:20:00",)
    assert "a split at 0:20:00 was declared" in capsys.readouterr().err
    asked_of_check({**options, "declared_file": str(declared), "splits": ("0:20:00",)})
    assert not capsys.readouterr().err
