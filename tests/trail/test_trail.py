"""States of a device: judged on the last, and what each adjustment did."""

import json
import math
import subprocess
import sys

import numpy as np
import pytest

from agree import Estimate, InputError, Pairs
from agree.trail.states import State, change_between, expected_change
from agree.trail.trail import check_trail


def sessions(gains, seconds=900):
    rng = np.random.default_rng(4)
    time = np.arange(seconds)
    courses = [210 + 80 * np.sin(time / 90 + phase) for phase in rng.uniform(0, 6, len(gains))]
    return [Pairs(reference=true, device=(1 + gain / 100) * true + rng.normal(0, 2, seconds), session=str(k))
            for k, (gain, true) in enumerate(zip(gains, courses, strict=True), 1)]


LABELS = ["new"] * 3 + ["zeroed anew"] * 2 + ["factor 1.02 entered"] * 4
GAINS = (-2.2, -1.9, -2.1, -2.0, -2.05, 0.1, -0.2, 0.0, 0.1)


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
    with pytest.raises(InputError, match=r"^`state` must be one of 'a', 'b'; got 'c'$"):
        check_trail(sessions((0, 0, 0, 0)), ["a", "a", "b", "b"], "1.5 %", state="c")


def test_the_command_judges_the_last_state(tmp_path):
    demo = [sys.executable, "-m", "agree", "demo", "trail", str(tmp_path)]
    subprocess.run(demo, check=True, capture_output=True)
    check = [sys.executable, "-m", "agree", "check", "--sessions", str(tmp_path / "sessions.csv"), "--claim", "1.5%"]
    said = subprocess.run(check, check=True, capture_output=True, text=True, encoding="utf-8").stdout
    assert said.startswith("HOLDS")
    assert "factor 1.026 entered" in said
    new = subprocess.run([*check, "--json", "-", "--state", "new"], check=True, capture_output=True, encoding="utf-8")
    stored = json.loads(new.stdout)
    assert stored["verdict"] == "not settled"
    assert stored["state"] == "new"
    assert [(item["state"], item["sessions"]) for item in stored["states"]] == [
        ("new", 2), ("zeroed anew", 2), ("factor 1.01 entered", 2), ("factor 1.026 entered", 3)]
    assert {item["answer"] for item in stored["changes"]} == {"not settled"}
    bad = subprocess.run([*check, "--state", "old"], capture_output=True, text=True, encoding="utf-8", check=False)
    assert bad.returncode == 2
    assert "must be one of 'new'" in bad.stderr
