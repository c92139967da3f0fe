"""Recordings of which a part is of another ride."""

import numpy as np
import pytest

from agree import Recording, check_claim, pair_recordings
from agree.assessment.doubts.unlike_minutes import UnlikeMinutes
from agree.core.errors import MatchError
from agree.core.results.note import Note
from agree.core.thresholds import (
    LEAST_LEVEL_MINUTES,
    LEAST_LEVELS_OFF,
    LEAST_LIVELY,
    LEAST_OTHER_MINUTES,
    LEAST_REST_ALIKE,
    LEAST_SLIGHTLY_OFF,
    LEAST_VARIED,
    LEVELS_OFF_TIMES,
    MOST_ASTRAY_R,
    MOST_LEVELS_R,
    MOST_OTHER_R,
    MOST_OTHER_SLOPE,
    MOST_RETURNS,
    RETURN_S,
    UNLIKE_SHIFT,
    USUALLY_ALIKE,
)
from agree.pairing import match as matching
from agree.pairing.clocks.fine import Fine
from agree.pairing.grid import Grid
from agree.pairing.match import match
from agree.pairing.match_types import Match
from agree.pairing.refusal import JoinedRides, refuse_returns
from agree.pairing.same_ride.joined import Levels, Part, alike_elsewhere, levels
from agree.pairing.same_ride.unlike_part import UNLIKE, unlike_part
from agree.report.story.tell import tell

SIZE, CUT = 2700, 1500
AT = {"minutes": LEAST_OTHER_MINUTES, "rest_alike": LEAST_REST_ALIKE, "correlation": MOST_OTHER_R,
      "most_slope": MOST_OTHER_SLOPE, "lively": LEAST_LIVELY}


def ride(seed):
    rng = np.random.default_rng(seed)
    return np.maximum(200 + np.convolve(rng.standard_normal(SIZE + 59), np.ones(60), "valid") * 4
                      + 25 * rng.standard_normal(SIZE), 1)


def paired(device, noise=5.0):
    measured = np.rint(np.maximum(device + noise * np.random.default_rng(9).standard_normal(SIZE), 0))
    return match(Grid(0.0, ride(1)), Grid(0.0, measured), None, None, False)


@pytest.mark.parametrize("turned", [False, True])
def test_a_file_joined_of_two_rides_is_refused(turned):
    parts = [ride(1)[:CUT], ride(2)[CUT:]] if not turned else [ride(2)[:SIZE - CUT], ride(1)[SIZE - CUT:]]
    with pytest.raises(MatchError, match="are of different rides, or a clock lost seconds that"):
        paired(np.concatenate(parts))


@pytest.mark.parametrize("alike", [False, True])
def test_another_ride_is_not_followed_by_steps_put_in_freely(monkeypatch, alike):
    """A real pair so refused was taken after a step of 515 s into the other ride, without a word.

    Where all minutes are alike after the steps, they are those of a clock.
    """
    told = Match(Grid(0.0, ride(1)), Grid(0.0, ride(1)), Fine(0.0, 0.1, 0.0, 0.0, 0.0, False), [],
                 notes=() if alike else (Note(kind=UNLIKE, severity="trust"),))
    monkeypatch.setattr(matching, "_crowded", lambda *_: told)
    monkeypatch.setattr(matching, "_without_gross", lambda *_: pytest.fail("zeros were left out"))
    if alike:
        assert paired(np.r_[ride(1)[:CUT], ride(2)[CUT:]]).x is told.x
    else:
        with pytest.raises(JoinedRides):
            paired(np.r_[ride(1)[:CUT], ride(2)[CUT:]])


@pytest.mark.parametrize("alike", [False, True])
def test_minutes_that_are_unlike_may_be_before_a_step_not_found(monkeypatch, alike):
    """Of five stops on a trainer the first two were missed; about the lag where windows crowd all five are found."""
    note = Note(kind=UNLIKE, severity="trust")
    seen = Match(Grid(0.0, ride(1)), Grid(0.0, ride(1)), Fine(0.0, 0.1, 0.0, 0.0, 0.0, False), [], notes=(note,))
    stepped = seen._replace(x=Grid(0.0, ride(2)), notes=() if alike else (note,))
    monkeypatch.setattr(matching, "_seen", lambda *_: seen)
    monkeypatch.setattr(matching, "_crowded", lambda *_: stepped)
    assert paired(ride(1)).x is (stepped if alike else seen).x


def calm(seed, memory=240):
    """Another ride that hardly changes from second to second, but from minute to minute."""
    slow = np.convolve(np.random.default_rng(seed).standard_normal(SIZE + memory - 1), np.ones(memory), "valid")
    return 200 + 3 * slow


def test_another_ride_may_have_minutes_alike_by_chance():
    """Without them a tenth of the rest is unlike, and the power of minutes told nothing: it was accepted."""
    device = np.r_[ride(1)[:CUT], calm(5, 400)[CUT:]]
    for minute in (33, 36, 39, 42):
        device[60 * minute:60 * minute + 60] = ride(1)[60 * minute:60 * minute + 60]
    with pytest.raises(JoinedRides, match="from 25 to 44 min"):
        paired(device, noise=1)


@pytest.mark.parametrize("where", ["end", "middle"])
def test_a_part_of_a_calm_ride_is_refused(where):
    """Its rapid changes are too small to tell it from a device that is stuck; the mean of its minutes tells."""
    device = ride(1)
    device[CUT:CUT + 600 if where == "middle" else SIZE] = calm(5)[CUT:CUT + 600 if where == "middle" else SIZE]
    with pytest.raises(MatchError, match="are of different rides"):
        paired(device)


def test_a_part_that_begins_before_a_fault_and_ends_after_it_has_like_power():
    """Half of the power for 5 of 7 minutes: at the ratio of the 5 alone, the other 2 were those of another ride."""
    rng = np.random.default_rng(3)
    x = np.repeat(rng.permutation(np.linspace(150, 300, 20)), 60) + rng.normal(0, 5, 1200)
    y = x + rng.normal(0, 3, 1200)
    y[480:780] /= 2
    part, rest = np.arange(420, 840, 60), np.r_[0:420:60, 840:1200:60]
    assert not levels(x, y, part, rest).unlike
    y[420:840] = np.repeat(rng.permutation(np.linspace(100, 350, 7)), 60) + rng.normal(0, 5, 420)
    assert levels(x, y, part, rest).unlike


def test_six_minutes_of_another_ride_are_refused():
    device = ride(1)
    device[CUT:CUT + 360] = ride(2)[:360]
    with pytest.raises(MatchError, match="are of different rides"):
        paired(device)


@pytest.mark.parametrize("working", [(0, 200), (400, 520, 1500, 1600)])
def test_a_file_that_is_mostly_stop_is_no_other_ride(working):
    """Minutes without any work tell nothing: they were counted as unlike, or their size divided by 0."""
    rides = np.zeros(SIZE), np.zeros(SIZE)
    for start, stop in zip(working[::2], working[1::2], strict=True):
        for power, noise in zip(rides, (0, 1), strict=True):
            power[start:stop] = np.rint(np.convolve(ride(1), np.ones(4) / 4, "same")[start:stop] if noise else ride(1)[
                start:stop])
    assert match(Grid(0.0, rides[0]), Grid(0.0, rides[1]), None, None, False).fine.lag == pytest.approx(0, abs=1)


@pytest.mark.parametrize("part", [np.zeros(SIZE - CUT), ride(1)[CUT:] / 2, np.full(SIZE - CUT, 180.0)],
                         ids=["zeros", "half", "held"])
def test_a_device_that_fails_is_no_other_ride(part):
    assert paired(np.r_[ride(1)[:CUT], part]).fine.lag == pytest.approx(0, abs=0.5)


def test_noise_from_some_minute_on_is_no_other_ride():
    loud = 60 * np.random.default_rng(3).standard_normal(SIZE - CUT)
    paired(np.r_[ride(1)[:CUT], np.maximum(ride(1)[CUT:] + loud, 1)])


def unsure(scale):
    """Minutes whose mean is right but for a scale, and whose changes are others': no ride, and no fault, is known."""
    x, other = ride(1), ride(2)
    means = np.repeat(x[1200:1800].reshape(-1, 60).mean(axis=1), 60)
    device = x.copy()
    device[1200:1800] = scale * np.maximum(means + other[1200:1800] - np.convolve(other, np.ones(61) / 61, "same")[
        1200:1800], 1)
    return pair_recordings(*(Recording(time=np.arange(SIZE), power=np.rint(trace)) for trace in (x, device)))


def test_minutes_that_are_not_alike_decide_no_answer():
    """They are said in the first lines, with the mean error with them and without."""
    check = check_claim(unsure(1.2), "25 %")
    assert check.verdict == "not settled"
    first = tell(check)
    assert "the recordings are not alike, and the answer hangs on them" in first.sentence
    assert "a file goes on into another ride. The mean error is +" in first.caveats[0].text
    assert check_claim(unsure(1.0), "25 %").verdict == "holds"


def test_seconds_of_minutes_that_are_not_alike_are_those_of_the_pairs():
    """The device's file begins 300 s later, and times are counted from there."""
    x, device = ride(1), unsure(1.2).device
    late = pair_recordings(*(Recording(time=np.arange(SIZE)[first:], power=np.rint(trace[first:]))
                             for trace, first in ((x, 0), (device, 300))))
    note, = (note for note in late.notes if isinstance(note, Note) and note.kind == "pair_minutes_unlike")
    assert note.values["from_s"] == pytest.approx(900, abs=60)
    assert note.values["to_s"] == pytest.approx(1500, abs=60)


def test_limit_of_what_minutes_that_are_not_alike_may_do_to_the_mean():
    some = UnlikeMinutes((1,), 1, with_them=UNLIKE_SHIFT * 1.5 + 0.01, without=0.0, limit=1.5)
    assert some.decide
    assert not some.turn
    assert not some._replace(with_them=UNLIKE_SHIFT * 1.5 - 0.01).decide
    assert some._replace(with_them=1.6).turn


LEVELS_AT = {"minutes": LEAST_LEVEL_MINUTES, "off": LEAST_LEVELS_OFF, "usual": LEAST_LEVELS_OFF / LEVELS_OFF_TIMES,
             "correlation": MOST_LEVELS_R, "varied": LEAST_VARIED}


@pytest.mark.parametrize("outside", [
    {"minutes": LEAST_LEVEL_MINUTES - 1}, {"off": LEAST_LEVELS_OFF - 0.01}, {"correlation": MOST_LEVELS_R + 0.01},
    {"usual": 1.01 * LEAST_LEVELS_OFF / LEVELS_OFF_TIMES}, {"varied": LEAST_VARIED - 0.001}])
def test_limits_of_minutes_whose_means_go_their_own_way(outside):
    assert Levels(**LEVELS_AT).unlike
    assert not Levels(**{**LEVELS_AT, **outside}).unlike


def test_minutes_astray_have_rapid_changes_astray_too_and_the_rest_has_not():
    """One ride with halves of power for a fifth of it had 0.27 of 0.83, and 0.74 of the rest alike."""
    part = Part(LEAST_LEVEL_MINUTES, USUALLY_ALIKE, MOST_ASTRAY_R * 0.8, 9.0, 9.0, Levels(**LEVELS_AT), 0.8)
    assert part.other
    assert not part._replace(correlation=MOST_ASTRAY_R * 0.8 + 0.01).other
    assert not part._replace(rest_alike=USUALLY_ALIKE - 0.01).other


def test_rapid_changes_alone_make_no_other_ride_where_the_means_of_minutes_are_alike():
    alike = Levels(9, LEAST_SLIGHTLY_OFF, 0.01, MOST_LEVELS_R, 0.1)
    assert Part(**AT, levels=alike).other
    assert not Part(**AT, levels=alike._replace(off=LEAST_SLIGHTLY_OFF - 0.001)).other
    assert not Part(**AT, levels=alike._replace(correlation=MOST_LEVELS_R + 0.01)).other


@pytest.mark.parametrize("outside", [
    {"minutes": LEAST_OTHER_MINUTES - 1}, {"rest_alike": LEAST_REST_ALIKE - 0.01},
    {"correlation": MOST_OTHER_R + 0.01}, {"most_slope": MOST_OTHER_SLOPE + 0.01}, {"lively": LEAST_LIVELY - 0.01}])
def test_limits_of_another_ride(outside):
    assert Part(**AT).other
    assert not Part(**{**AT, **outside}).other


def test_the_part_that_is_unlike_may_have_a_minute_alike_by_chance():
    matched = np.r_[np.ones(10), np.zeros(8), 1, np.zeros(6), np.ones(5)] > 0
    assert unlike_part(matched) == (10, 25)


def test_jumps_to_and_fro_are_of_no_two_clocks():
    """RETURN_S and more, and more than MOST_RETURNS of each sign."""
    there, back = [int(RETURN_S)] * (MOST_RETURNS + 1), [-int(RETURN_S)] * (MOST_RETURNS + 1)
    with pytest.raises(MatchError, match="the lag jumps to and fro"):
        refuse_returns(there + back)
    refuse_returns(there + back[1:])
    refuse_returns([*there, *back[1:], -int(RETURN_S) + 1])


@pytest.mark.parametrize(("elsewhere", "other"), [(0.74 * 0.9, False), (0.76 * 0.9, True)])
def test_a_part_alike_at_another_lag_is_of_a_step_not_found(elsewhere, other):
    """ELSEWHERE_ALIKE, of a rest of 0.9."""
    assert alike_elsewhere(elsewhere, 0.9) is other


@pytest.mark.parametrize(("work", "stuck", "minutes"), [(20, 1, 10), (19, 1, 0), (60, 4, 10), (60, 5, 0)])
def test_minutes_whose_power_is_compared(work, stuck, minutes):
    """LEAST_WORK_S, 20, of which the seconds of a device that repeats one reading (STUCK_S, 5) are none."""
    x = np.where(np.arange(1200) % 60 < work, 200.0 + np.arange(1200) % 7, 0.0)
    y = np.where(x > 0, 180.0 + np.arange(1200) // stuck, 0.0)
    first = 60 * np.arange(20)
    assert levels(x, y, first[:10], first[10:]).minutes == minutes
