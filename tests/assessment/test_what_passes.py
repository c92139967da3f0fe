"""An error that is gone once warm, or that came of one change, is not corrected by a factor for every ride."""

import numpy as np
import pytest

from agree import Pairs, check_claim, find_correction
from agree.core.interval.estimate import Estimate
from agree.diagnosis.finding import Finding
from agree.diagnosis.over_sessions import merged
from agree.diagnosis.settled import passing, without
from agree.report.notes.sentence import note_text
from agree.report.story.cause import told_causes
from agree.report.story.enter import to_enter, to_enter_briefly
from agree.verdict.columns import table

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def ridden(seed, count, reads, seconds=2700):
    """Sessions of blocks of a minute at 120 to 300 W; `reads` of watts, seconds and session makes the device."""
    rng, pairs = np.random.default_rng(seed), []
    for k in range(count):
        watts = np.repeat(rng.uniform(120, 300, seconds // 60), 60) + rng.normal(0, 4, seconds)
        pairs.append(Pairs(reference=watts, session=str(k + 1),
                           device=reads(watts, np.arange(seconds), k) + rng.normal(0, 4, seconds)))
    return pairs if count > 1 else pairs[0]


def warming(scale=1.0):
    return lambda watts, t, k: scale * watts * (1 - 0.05 * np.exp(-t / 400))


@pytest.mark.parametrize("count", [1, 4])
def test_a_warm_up_alone_leaves_nothing_to_enter(count):
    check = check_claim(ridden(1, count, warming()), "1.5 %")
    assert check.findings[0].cause == "warm_up"
    assert check.correction.action == "none"
    if check.correction.reason.kind == "correction_passes":
        assert "the error goes with the warm-up; ride" in note_text(check.correction.reason)
    assert (count, check.correction.reason.kind) in {(1, "correction_passes"), (1, "correction_no_gain"),
                                                     (4, "correction_passes")}
    assert find_correction(ridden(1, count, warming()), claim="1.5 %").action == "none"


def test_a_scale_beside_a_warm_up_is_that_of_the_settled_part():
    found = find_correction(ridden(2, 3, warming(0.97)), claim="1.5 %")
    assert found.action == "scale"
    assert found.entered.scale == pytest.approx(1 / 0.97, abs=0.003)  # the mean error would give 1.041
    assert "correction_settled" in {note.kind for note in found.because}
    assert ", found after the warm-up" in to_enter(found)[0]
    assert ", found after the warm-up" in to_enter_briefly(found)


def test_a_step_or_a_drift_alone_leaves_nothing_to_enter():
    step = check_claim(ridden(3, 1, lambda watts, t, k: watts + 8 * (t > 900)), "1.5 %")
    assert (step.findings[0].cause, step.correction.action) == ("step", "none")
    drift = check_claim(ridden(4, 4, lambda watts, t, k: watts * (1 + 0.04 * t / 3600)), "1.5 %")
    assert (drift.findings[0].cause, drift.correction.action) == ("drift", "none")
    assert note_text(drift.correction.reason).startswith("the error comes of a drift within the session; set the zero")


def test_a_scale_before_a_step_is_entered():
    found = find_correction(ridden(5, 1, lambda watts, t, k: 0.96 * watts + 8 * (t > 1200)), claim="1.5 %")
    assert found.entered.scale == pytest.approx(1 / 0.96, abs=0.01)


def test_warm_ups_of_several_sessions_are_one_cause_in_one_unit():
    found = check_claim(ridden(1, 4, warming()), "1.5 %")
    assert [item.cause for item in found.findings].count("warm_up") == 4
    told = [(item, words) for item, words in told_causes(found) if item.cause == "warm_up"]
    assert len(told) == 1
    item, words = told[0]
    assert item.values["sessions"] == "1 to 4"
    assert item.unit == "%"
    assert item.size.low < -5 * 0.9 < item.size.high + 1
    assert words.endswith("min, in 4 sessions")


def _warm(unit, value, session):
    size = Estimate(value=value, low=value - 1, high=value + 1, level=0.95, method="t", standard_error=0.5)
    return Finding(cause="warm_up", size=size, unit=unit, percent=0.6, values={
        "session": session, "settled_s": 600.0 * session, "mean_W": 200.0})


def test_watts_and_per_cent_of_warm_ups_are_put_together():
    alone = (_warm("W", -8.0, 1),)
    assert merged(alone) == alone
    other = Finding(cause="scale", percent=1.0)
    item, last = merged((*alone, other, _warm("%", -6.0, 2)))
    assert last is other
    assert (item.size.value, item.unit, item.values["settled_s"]) == (-5.0, "%", 1200.0)
    assert item.percent == pytest.approx(np.hypot(0.6, 0.6))


def test_a_smaller_drift_stays_in_the_mean():
    drift = Finding(cause="drift", percent=0.9)
    assert passing((drift, Finding(cause="scale", percent=1.0))) == ()
    assert passing((drift, Finding(cause="scale", percent=0.8))) == (drift,)


# LEAST_SETTLED_S
@pytest.mark.parametrize(("left", "used"), [(299, 1500), (300, 300)])
def test_how_much_after_a_warm_up_is_judged_alone(left, used):
    watts = np.full(1500, 200.0)
    item = Pairs(reference=watts, device=watts + np.arange(1500) % 3)
    slow = Finding(cause="warm_up", values={"settled_s": 1500.0 - left})
    assert without(table(item, 30), (slow,), 30).reference.size == used


def test_after_a_rest_what_follows_the_step_is_judged(rng):
    from agree.diagnosis.finding import Pattern

    watts = np.full(1500, 200.0)
    data = table(Pairs(reference=watts, device=watts + np.arange(1500)), 30)
    rest = (Pattern(moment="after a rest", count=1, of=1, expected=float("nan"), p=1.0),)
    for patterns, first in ((rest, 700.0), ((), 0.0)):
        slow = Finding(cause="step", values={"at_s": 700.0}, patterns=patterns)
        assert without(data, (slow,), 30).time[0] == first
