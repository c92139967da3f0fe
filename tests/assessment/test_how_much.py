"""No "holds" from a minute of riding, or from a sliver of the reference's ride; a short one says so."""

from dataclasses import replace

import numpy as np
import pytest

from agree import Pairs, check_claim, pair_recordings
from agree.report.plain_text.details import details
from agree.report.story.tell import tell
from tests.rides import effort, session

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def kinds(check):
    return {note.kind for note in check.notes if hasattr(note, "kind")}


# LEAST_TO_HOLD_S, SHORT_RIDE_S
@pytest.mark.parametrize(("seconds", "verdict", "kind"), [
    (115, "not settled", "used_too_short"), (599, "not settled", "used_too_short"),
    (600, "holds", "used_short"), (1799, "holds", "used_short"),
    (1800, "holds", "")])
def test_seconds_of_one_recording(rng, seconds, verdict, kind):
    check = check_claim(session(rng, seconds=seconds, sd=0.5), "3 %")
    assert check.verdict == verdict
    assert (verdict == "holds") == any(item.verdict == "holds" for item in check.readings)
    assert {one for one in kinds(check) if one.startswith("used_")} == ({kind} if kind else set())
    text = " ".join(check.summary().split())
    if kind == "used_too_short":
        assert check.next_step.kind == "next_ride_at_least"
        assert "an error that wanders more slowly cannot be seen" in text
        assert text.startswith("NOT SETTLED claim ±3 %, judged by the mean error (one session, ")
    elif kind:
        assert "min do not show how an error wanders over 5 min or more" in text


def test_a_short_recording_that_fails_still_fails(rng):
    assert check_claim(session(rng, seconds=115, sd=0.5, scale=1.05), "3 %").verdict == "does not hold"


def test_an_open_answer_from_a_short_recording_asks_for_a_longer_one_first(rng):
    check = check_claim(session(rng, seconds=140, sd=6.0, scale=1.01), "1.5 %")
    assert (check.verdict, check.next_step.kind) == ("not settled", "next_ride_at_least")


def test_seconds_in_the_range_of_the_claim_count(rng):
    ride = session(rng, seconds=1800, sd=0.5)
    above = float(np.sort(ride.reference)[-300])
    assert "used_too_short" in kinds(check_claim(ride, f"3 % or 2 W above {above:.0f} W"))


def test_several_sessions_show_by_their_differences_what_wanders(rng):
    check = check_claim([session(rng, seconds=300, sd=0.5) for _ in range(4)], "3 %")
    assert (check.verdict, "used_too_short" in kinds(check)) == ("holds", False)


# LEAST_RIDE_SHARE, SMALL_SPAN_SHARE
@pytest.mark.parametrize(("share", "verdict", "kind"), [
    (0.099, "not settled", "used_hardly_any"), (0.101, "holds", "used_part"),
    (0.899, "holds", "used_part"), (0.901, "holds", "")])
def test_share_of_the_reference(rng, share, verdict, kind):
    check = check_claim(session(rng, seconds=1800, sd=0.5, ridden_s=1800 / share), "3 %")
    assert check.verdict == verdict
    assert {one for one in kinds(check) if one.startswith("used_")} == ({kind} if kind else set())
    if kind:
        assert f"{100 * share:.0f} % of the reference's riding" in " ".join(check.summary().split())
        assert f"The reference's recording shows {1800 / share:,.0f} s of riding." in " ".join(
            details(check, tell(check)).split())
    if verdict != "holds":
        assert check.next_step.kind == "next_record_whole_ride"


# SMALL_RIDE_SHARE
@pytest.mark.parametrize(("share", "told"), [(0.499, True), (0.501, False)])
def test_share_used_where_both_recorded_the_whole_ride(rng, share, told):
    ride = session(rng, seconds=2000, sd=0.5, ridden_s=2000)
    reason = np.where(np.arange(2000) < round(2000 * share), "", "device_spike")
    assert ("used_part" in kinds(check_claim(replace(ride, reason=reason, faults=None), "3 %"))) == told


@pytest.mark.parametrize(("ridden", "says"), [
    ((1800, 3600, 1800), "in session 2 only 50 % of the reference's riding was used (75 % in all)"),
    ((2571, 2600, 2571), "in 3 of 3 sessions only a part of the reference's riding was used, least in session 2 (69 %; "
                         "70 % in all)")])
def test_one_session_of_several_that_ends_early_is_told(rng, ridden, says):
    rides = [session(rng, seconds=1800, sd=0.5, ridden_s=seconds) for seconds in ridden]
    check = check_claim(rides, "3 %")
    assert check.verdict == "holds"
    assert says[1:] in " ".join(check.summary().split())
    assert f"recordings show {sum(ridden):,} s of riding." in " ".join(details(check, tell(check)).split())


# LEAST_RIDE_SHARE over sessions
@pytest.mark.parametrize(("share", "verdict"), [(0.099, "not settled"), (0.101, "holds")])
def test_a_sliver_of_one_session_of_several(rng, share, verdict):
    rides = [session(rng, seconds=1800, sd=0.5, ridden_s=seconds) for seconds in (1800, 1800, 1800 / share)]
    check = check_claim(rides, "3 %")
    assert check.verdict == verdict
    if verdict != "holds":
        text = " ".join(check.summary().split())
        assert "nly 10 % of the reference's riding in session 3 could be used" in text
        assert "covers too little of it in session 3." in text


def test_the_reference_rides_on_without_the_device(rng):
    watts = np.round(effort(rng, 4000))
    whole = (np.arange(4000.0), watts)
    part = (np.arange(700.0), np.round(1.002 * watts[1000:1700] + rng.normal(0, 1, 700)))
    pairs = pair_recordings({"time": whole[0], "power": whole[1]}, {"time": part[0], "power": part[1]})
    assert pairs.ridden_s == 4000
    assert "used_part" in kinds(check_claim(pairs, "3 %"))
    assert Pairs(reference=[1.0], device=[1.0]).ridden_s != 4000
