"""A recording under 45 min holds only if it would with errors slower than it can show."""

from dataclasses import replace

import numpy as np
import pytest

from agree import Pairs, check_claim
from agree.assessment.doubts.slower_errors import asked_times
from agree.core.interval.slower import times_wider
from agree.core.thresholds import SLOW_ASKED_LEAST, SLOW_ASKED_S, SLOW_SHOWS_S
from agree.report.plain_text.screen import screen
from tests.rides import session

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def near_the_limit(pairs, room):
    """Judge by a limit so many times as far as the end of the interval that is shown."""
    item = next(one for one in check_claim(pairs, "20 %").readings if one.meaning == "average").estimate
    return check_claim(pairs, f"{room * max(abs(item.low), abs(item.high)):.6f} %")


# SLOW_SHOWS_S
@pytest.mark.parametrize(("seconds", "verdict"), [(int(SLOW_SHOWS_S) - 1, "not settled"), (int(SLOW_SHOWS_S), "holds")])
def test_from_45_min_on_the_interval_shown_decides(rng, seconds, verdict):
    check = near_the_limit(session(rng, seconds=seconds), 1.05)
    assert check.verdict == verdict
    kinds = {note.kind for note in check.notes if hasattr(note, "kind")}
    assert ("used_slower" in kinds) == (verdict == "not settled")
    if verdict != "holds":
        assert (check.next_step.kind, check.next_step.values["minutes"]) == ("next_ride_at_least", 45)
        assert "An error that wanders over 5 min or more could leave ±" in " ".join(screen(check).split())
        assert check.readings[0].because.kind == "because_slower"


def test_with_room_for_slow_errors_a_short_recording_holds(rng):
    ride = session(rng, seconds=1200)
    assert near_the_limit(ride, 2.0).verdict == "holds"
    assert near_the_limit(ride, 1.1).verdict == "not settled"


# SLOW_ASKED_S, SLOW_ASKED_LEAST
@pytest.mark.parametrize(("seconds", "asked"), [
    (600, 1.425), (1200, 1.35), (2360, 1.205), (2440, 1.2), (2699, 1.2), (2700, 1.0)])
def test_the_shorter_the_recording_the_more_room_is_asked(seconds, asked):
    assert asked_times(1.5, seconds) == pytest.approx(asked)
    assert (SLOW_ASKED_S, SLOW_ASKED_LEAST) == (4000, 0.4)


@pytest.mark.parametrize(("room", "verdict"), [(1.04, "not settled"), (1.28, "holds")])
def test_a_half_hour_asks_for_less_room_than_ten_minutes(rng, room, verdict):
    """At 30 min 1.27 times on quick errors where 1.5 were asked."""
    assert near_the_limit(session(rng, seconds=1800), room).verdict == verdict


def test_what_fails_still_fails_and_sessions_show_it_by_their_differences(rng):
    assert check_claim(session(rng, seconds=900, scale=1.05), "1.5 %").verdict == "does not hold"
    days = [session(rng, seconds=900, label=str(k), scale=1 + 0.001 * k) for k in range(4)]
    assert near_the_limit(days, 1.05).verdict == "holds"


def test_bands_are_asked_too(rng):
    ride = session(rng, seconds=1500)
    wide = check_claim(ride, "20 %", meaning="bands")
    reach = max(max(abs(band.plain.low), abs(band.plain.high)) for band in wide.bands)
    assert check_claim(ride, f"{1.05 * reach:.6f} %", meaning="bands").verdict == "not settled"
    assert check_claim(ride, f"{2 * reach:.6f} %", meaning="bands").verdict == "holds"


def test_times_wider(rng):
    """Half as wide again on quick errors, more on slow ones, and 1 where nothing can be said."""
    n = 1800
    quick, power = rng.normal(size=n), 200 + 50 * np.sin(np.arange(n) / 60)
    slow = np.cumsum(rng.normal(size=n))
    assert 1.3 < times_wider(quick, power) < 1.8
    assert times_wider(slow - slow.mean(), power) > 1.8
    assert times_wider(1e-9 * quick, 1e6 * power) == pytest.approx(times_wider(quick, power), rel=1e-6)
    assert times_wider(np.zeros(n), power) == times_wider(quick[:20], power[:20]) == 1.0
    assert times_wider(quick, np.full(n, 200.0)) > 1.3


def test_an_exact_copy_is_not_held_back(rng):
    ride = session(rng, seconds=1200)
    exact = replace(ride, device=1.001 * ride.reference)
    assert isinstance(exact, Pairs)
    assert check_claim(exact, "0.2 %").verdict == "holds"
