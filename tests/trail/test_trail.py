"""States of a device: judged on the last, and what each adjustment did."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from agree import Estimate, InputError, Pairs
from agree.cli import main
from agree.cli.deliver import json_of
from agree.correction import history
from agree.planning.plan import plan
from agree.report.story.provenance import Provenance
from agree.report.texts.trail_text import answer_text
from agree.trail.states import State, answered, change_between, expected_change, foretold
from agree.trail.trail import check_trail


def sessions(gains, seconds=600):
    rng = np.random.default_rng(4)
    time = np.arange(seconds)
    courses = [210 + 80 * np.sin(time / 90 + phase) for phase in rng.uniform(0, 6, len(gains))]
    return [Pairs(reference=true, device=(1 + gain / 100) * true + rng.normal(0, 2, seconds), session=str(k))
            for k, (gain, true) in enumerate(zip(gains, courses, strict=True), 1)]


LABELS = ["new"] * 3 + ["zeroed anew"] * 2 + ["factor 1.02 entered"] * 4
GAINS = (-2.2, -1.9, -2.1, -2.0, -2.05, 0.05, -0.05, 0.0, 0.02)


def test_the_last_state_is_judged_and_each_change_told():
    trail = check_trail(sessions(GAINS), LABELS, "1.5 %")
    assert trail.verdict == "holds"
    assert check_trail(sessions(GAINS), LABELS, "1.5 %", state="new").verdict == "does not hold"
    assert [(item.state, item.sessions) for item in trail.states] == [("new", 3), ("zeroed anew", 2),
                                                                     ("factor 1.02 entered", 4)]
    assert [item.answer for item in trail.changes] == ["not settled", "changed"]
    assert trail.changes[1].as_expected is True
    assert trail.changes[1].change_percent.value == pytest.approx(2.0, abs=0.15)
    assert math.isnan(trail.changes[0].expected_percent)
    stored = json.loads(json.dumps(trail.to_dict(), allow_nan=False))
    assert stored["verdict"] == "holds"
    assert stored["states"][0]["bias_percent"]["value"] == pytest.approx(-2.07, abs=0.05)
    assert (stored["changes"][0]["from"], stored["changes"][0]["to"]) == ("new", "zeroed anew")
    text = trail.summary()
    assert text.startswith("HOLDS")
    assert len(text.splitlines()) <= 16
    assert max(map(len, text.splitlines())) <= 80


def test_one_session_in_a_state_settles_nothing():
    trail = check_trail(sessions((-2.0, -2.1, 3.0)), ["new", "new", "zeroed anew"], "1.5 %")
    assert trail.changes[0].answer == "not settled"
    assert trail.changes[0].as_expected is None
    assert math.isinf(trail.changes[0].change_percent.high)
    assert "one session cannot show a change" in trail.summary()


def test_a_label_that_comes_again_is_a_state_of_its_own():
    trail = check_trail(sessions((-2.0, -2.1, 0.0, 0.1, -2.0, -1.9)), ["a", "a", "b", "b", "a", "a"], "1.5 %")
    assert [item.state for item in trail.states] == ["a", "b", "a"]
    assert check_trail(sessions((-2.0, -2.1, 0.0, 0.1)), ["a", "a", "b", "b"], "1.5 %", state="a").judged == "a"


def test_states_may_follow_each_other_within_a_ride_but_sessions_of_one_state_may_not():
    starts = ("2026-03-01T10:00:00", "2026-03-02T10:00:00", "2026-03-02T10:11:00", "2026-03-04T10:00:00")
    made = [replace(item, start=start) for item, start in zip(sessions((0, 0.1, 2.0, 2.1)), starts, strict=True)]
    assert check_trail(made, ["a", "a", "b", "b"], "1.5 %").changes[0].answer == "changed"
    with pytest.raises(InputError, match="pieces of one ride"):
        check_trail(made, ["a", "b", "b", "a"], "1.5 %")


# TRAIL_MARGIN_OF_CLAIM, TRAIL_USUAL_MARGIN
@pytest.mark.parametrize(("claim", "inside", "outside"), [("1.5 %", 0.749, 0.751), ("3 W", 0.499, 0.501)])
def test_half_of_the_claim_or_half_a_point_counts_as_no_change(claim, inside, outside):
    trail = check_trail(sessions((0.0, 0.0, 0.0, 0.0), seconds=300), ["a", "a", "b", "b"], claim)
    for half, answer in ((inside, "not changed"), (outside, "not settled")):
        assert answered(Estimate(value=0.0, low=-half, high=half, level=0.95, method="t"),
                        trail.changes[0].margin_percent) == answer


def test_a_correction_that_did_not_do_what_was_expected():
    labels = ["new"] * 3 + ["factor 1.02 entered"] * 3
    trail = check_trail(sessions((-2.0, -2.05, -1.95, -1.4, -1.45, -1.42)), labels, "1.5 %")
    assert trail.changes[0].as_expected is False
    assert "which it did not do" in trail.summary().replace("\n              ", " ")


@pytest.mark.parametrize(("sizes", "sds"), [((2, 6), (0.2, 1.0)), ((6, 2), (0.2, 1.0)), ((3, 3), (0.8, 0.8)),
                                            ((4, 2), (1.2, 0.3))])
def test_changes_cover_whatever_the_spreads(sizes, sds):
    """4,000 trails without a change: wrong "changed" at most 5 % in all, two standard errors (0.7 points) allowed."""
    rng = np.random.default_rng(11)
    wrong = 0
    for _ in range(4000):
        states = []
        for size, sd in zip(sizes, sds, strict=True):
            values = rng.normal(0, sd, size)
            item = Estimate(value=float(values.mean()), low=-9, high=9, level=0.95, method="t", df=size - 1.0,
                            standard_error=float(values.std(ddof=1) / math.sqrt(size)))
            states.append(State(state="", sessions=size, bias_percent=item, session_sd=float(values.std(ddof=1))))
        wrong += change_between(*states, margin=0.75)[1] == "changed"
    assert wrong / 4000 <= 0.05 + 2 * 0.0035


def test_what_labels_promise():
    assert expected_change("new", "factor 1,01 entered") == pytest.approx(1.0)
    assert expected_change("scale 1.02", "scale 1.01") == pytest.approx(100 * (1.01 / 1.02 - 1))
    assert math.isnan(expected_change("new", "zeroed anew"))
    assert math.isnan(expected_change("new", "factor 101"))


def test_labels_that_cannot_be_used():
    with pytest.raises(InputError, match=r"^`states` must have one label for each session; got 1 for 2$"):
        check_trail(sessions((0, 0)), ["a"], "1.5 %")
    made = sessions((0.1,))
    with pytest.raises(InputError, match="a session counts once"):  # the same ride in two states
        check_trail([made[0], made[0]], ["a", "b"], "1.5 %")
    with pytest.raises(InputError, match=r"^`state` must be one of 'a', 'b'; got 'c'$"):
        check_trail(sessions((0, 0, 0, 0)), ["a", "a", "b", "b"], "1.5 %", state="c")


def run(*words):
    done = CliRunner().invoke(main.command, list(map(str, words)), standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout


def write(folder, pairs, states, expected):
    rows = ["reference,device,session,state,expected"]
    rng = np.random.default_rng(1)
    for item, label, points in zip(pairs, states, expected, strict=True):
        rider = np.convolve(rng.normal(0, 60, item.time.size + 4), np.ones(5) / 5, "valid")
        ratio = item.device / item.reference
        names = [f"{item.session}-{role}.csv" for role in ("ref", "dev")]
        for name, watts in zip(names, ((item.reference + rider), (item.reference + rider) * ratio), strict=True):
            (folder / name).write_text("time_s,power_W\n" + "".join(f"{k},{w:.0f}\n" for k, w in enumerate(watts)),
                                       encoding="utf-8")
        rows.append(f"{names[0]},{names[1]},{item.session},{label},{points}")
    (folder / "sessions.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder / "sessions.csv"


def test_the_command_judges_a_state_and_correct_and_plan_know_it(tmp_path):
    made = sessions((-2.2, -2.18, 0.0, 0.1), seconds=500)
    listed = write(tmp_path, made, ["new", "new", "mended", "mended"], ("", "", "+2.2", "+2.2"))
    check = ("check", "--sessions", listed, "--claim", "1.5%")
    result = tmp_path / "new.json"
    said = run(*check, "--state", "new", "--json", result)
    assert said.startswith("DOES NOT HOLD")
    assert "expected +2.2" in said.replace("\n              ", " ")
    assert run(*check, "--state", "new", "--quiet").startswith(
        "DOES NOT HOLD  claim ±1.5 %, judged on 2 sessions in the state 'new', not on a")
    stored = json.loads(result.read_text(encoding="utf-8"))
    assert stored["verdict"] == "does not hold"
    assert stored["state"] == "new"
    assert [(item["state"], item["sessions"]) for item in stored["states"]] == [("new", 2), ("mended", 2)]
    assert stored["changes"][0]["expected_percent"] == 2.2
    two = json.loads(json_of(check_trail(made, ["new", "new", "mended", "mended"], "1.5 %").check,
                             Provenance(), 2, {"state": "mended", "states": [], "changes": []}))
    assert (two["schema"], two["state"], two["states"], two["changes"]) == (2, "mended", [], [])
    with pytest.raises(InputError, match=r"must be one of 'new', 'mended'"):
        run(*check, "--state", "old")
    # plan: the spread within both states, not the adjustment between them, is a session's spread
    planned = json.loads(run("plan", "--claim", "1.5%", "--from", result, "--json", "-"))
    assert planned["session_sd"]["value"] < 0.2
    assert "in 2 states" in planned["session_sd"]["method"]
    # correct: the correction of one state is not for the recordings of another, nor for later ones
    run("correct", tmp_path / "1-dev.csv", tmp_path / "out.csv", "--from", result, "--even-if-unstable")
    for name, how in (("3-dev.csv", "was recorded in the state 'mended'"),
                      ("9-dev.csv", "is not listed; the device is in the state 'mended'")):
        (tmp_path / "9-dev.csv").write_bytes((tmp_path / "3-dev.csv").read_bytes())
        with pytest.raises(InputError) as caught:
            run("correct", tmp_path / name, tmp_path / "out2.csv", "--from", result, "--even-if-unstable")
        assert str(caught.value) == (f"{name} {how}, and this correction was found in the state 'new': check the state "
                                     "'mended' and give its result")


def test_a_state_that_came_again_is_told_by_its_recordings():
    ground = {"state": "a", "states": [["a", ["1"]], ["b", ["2"]], ["a", ["3"]]]}
    history.refuse_other_state("3.csv", ground)
    history.refuse_other_state("4.csv", ground)
    for name in ("1.csv", "2.csv"):
        with pytest.raises(InputError, match="this correction was found in the state 'a'"):
            history.refuse_other_state(name, ground)


def test_a_plan_from_one_session_in_each_state_shows_no_spread():
    trail = check_trail(sessions((-2.0, 1.0), seconds=700), ["new", "mended"], "1.5 %")
    assert plan("1.5 %", pilot=trail.to_dict()).session_sd.method == "assumed"


@pytest.mark.parametrize(("high", "answer"), [(1.999, True), (2.001, None)])
def test_what_was_foretold_is_met_within_the_margin(high, answer):
    """Expected 1.5, margin 0.5: an interval from 1.2 to just inside and just outside 2."""
    item = Estimate(value=1.6, low=1.2, high=high, level=0.95, method="t")
    assert foretold(item, 1.5, 0.5) is answer
    assert foretold(item, 1.199 if answer else 1.1, 0.5) is False


@pytest.mark.parametrize(("half", "answer"), [(0.749, "not changed"), (0.751, "not settled")])
def test_half_of_the_claim_counts_as_no_change(half, answer):
    """Two alike sessions a state, df 1: t = 12.706 (table); the margin is half of 1.5 points."""
    def state():
        item = Estimate(value=0.0, low=-9, high=9, level=0.95, method="t", df=1.0,
                        standard_error=half / 12.7062 / math.sqrt(2))
        return State(state="", sessions=2, bias_percent=item, session_sd=0.1)

    assert change_between(state(), state(), margin=0.75)[1] == answer


def test_one_state_spelt_in_two_ways_is_refused():
    """'new' and 'New' would be two states, and the claim judged on the sessions of one spelling alone."""
    for labels in (["new", "New", "b"], ["factor 1.02", "factor 1,02", "b"], ["zeroed-anew", "zeroed anew", "b"]):
        with pytest.raises(InputError, match=f"holds '{labels[0]}' and '{labels[1]}', which differ only"):
            check_trail(sessions((0.0, 0.1, 0.2)), labels, "1.5 %")
    trail = check_trail(sessions((0.0, 0.1, 0.2, 0.1)), ["new"] * 2 + ["b"] * 2, "1.5 %", state="NEW")
    assert trail.judged == "new"


def test_states_that_come_again_and_sessions_against_their_dates_are_said():
    """The last change decides what is judged: where the order of the list is doubtful, it is said."""
    made = sessions((0.0, 0.1, 0.0, 0.2))
    again = check_trail(made, ["a", "b", "a", "b"], "1.5 %")
    assert [note.kind for note in again.order] == ["trail_again"]
    for said in (again.summary(), answer_text(again)):
        assert "ridden before too (session 2)" in " ".join(said.split())
    days = ["2026-03-01T10:00:00", "2026-03-09T10:00:00", "2026-03-05T10:00:00", "2026-03-12T10:00:00"]
    dated = [replace(item, start=day) for item, day in zip(made, days, strict=True)]
    odd = check_trail(dated, ["a", "a", "b", "b"], "1.5 %")
    assert [note.kind for note in odd.order] == ["trail_against_dates"]
    assert "Session 3 (2026-03-05) was ridden before session 2 (2026-03-09)" in " ".join(odd.summary().split())
    fallen = [replace(item, session=str(4 - k)) for k, item in enumerate(made)]
    assert [note.kind for note in check_trail(fallen, ["a", "a", "b", "b"], "1.5 %").order] == ["trail_against_numbers"]
    assert not check_trail(sorted(dated, key=lambda item: item.start), ["a", "a", "b", "b"], "1.5 %").order
