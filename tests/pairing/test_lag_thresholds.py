"""Which lag is taken, and what is said of it, on both sides of each threshold: inputs are literal."""

from types import SimpleNamespace

import numpy as np
import pytest

from agree.core.data.alignment import Witness
from agree.core.errors import MatchError
from agree.pairing import match, witnesses
from agree.pairing.clocks import clock
from agree.pairing.clocks.clock import Candidate
from agree.pairing.clocks.drift_line import is_drift
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.lag_path import Stretch, without_excursions
from agree.pairing.facts import unusual_lag
from agree.pairing.grid import Grid
from agree.pairing.same_ride.minutes import Likeness, likeness
from agree.pairing.same_ride.unlike_part import unlike
from agree.pairing.witnesses import still

POWER = np.tile([180.0, 220.0, 200.0, 240.0], 100)


def peaks(monkeypatch, *found):
    """Let the traces be alike at some lags only, the best first."""
    monkeypatch.setattr(clock, "candidates", lambda x, y, lowest, highest: [
        one for one in found if lowest <= one.lag <= highest])


def matched(**asked):
    told = {"max_lag_s": None, "lag_s": None, "one_clock": False} | asked
    return match.match(Grid(0.0, POWER), Grid(0.0, POWER), **told)


def kinds(found):
    return [note.kind for note in found.notes]


@pytest.fixture
def plain(monkeypatch):
    """The lag is refined to itself."""
    monkeypatch.setattr(match, "refine", lambda x, y, lag, starts=(): Fine(lag, 0.1, 0.0, 0.1, 200.0, False))


@pytest.mark.parametrize(("common", "share", "found"), [
    pytest.param(61, 1.0, True, id="MIN_OVERLAP_S"), pytest.param(59, 1.0, False, id="MIN_OVERLAP_S"),
    pytest.param(124, 0.31, True, id="MIN_OVERLAP_SHARE"), pytest.param(116, 0.29, False, id="MIN_OVERLAP_SHARE")])
def test_readings_in_common(common, share, found):
    """Of traces of which the shorter has so many readings."""
    size = round(common / share)
    x = np.random.default_rng(1).normal(200, 30, size)
    assert bool(clock.candidates(x, x, size - common, size - common)) == found


@pytest.mark.parametrize(("apart", "number"), [
    pytest.param(11, 2, id="DISTINCT_LAG_S"), pytest.param(10, 1, id="DISTINCT_LAG_S")])
def test_lags_that_are_distinct(apart, number):
    """Of a trace and its echo."""
    x = np.random.default_rng(1).normal(200, 30, 400)
    found = clock.candidates(x, x + np.roll(x, apart), -2, 20)
    assert sum(one.correlation > 0.5 for one in found) == number


@pytest.mark.parametrize(("given", "severity"), [
    pytest.param(5.45, "detail", id="GIVEN_LAG_S"), pytest.param(5.55, "trust", id="GIVEN_LAG_S")])
def test_a_lag_given_beside_the_best(given, severity, monkeypatch):
    peaks(monkeypatch, Candidate(4, 0.9, 80.0))
    assert matched(lag_s=given).notes[0].severity == severity


@pytest.mark.parametrize(("lag", "taken"), [
    pytest.param(10, True, id="ONE_CLOCK_S"), pytest.param(11, False, id="ONE_CLOCK_S")])
def test_a_lag_in_one_file(lag, taken, monkeypatch, plain):
    peaks(monkeypatch, Candidate(lag, 0.9, 80.0))
    assert ("pair_one_clock" not in kinds(matched(one_clock=True))) == taken


@pytest.mark.parametrize(("lag", "rival", "decided"), [
    pytest.param(30, 200, True, id="STAMPS_S"), pytest.param(31, 200, False, id="STAMPS_S"),
    pytest.param(20, 104, True, id="STAMPS_RIVAL_SHARE"), pytest.param(20, 96, False, id="STAMPS_RIVAL_SHARE")])
def test_stamps_that_decide_between_lags(lag, rival, decided, monkeypatch, plain):
    """A rival so strong that power does not decide: 84 s away from a lag of 20 s, and 76 s."""
    peaks(monkeypatch, Candidate(lag, 0.9, 80.0), Candidate(rival, 0.9, 79.0))
    if decided:
        assert "pair_stamps_decided" in kinds(matched(absolute=True))
    else:
        with pytest.raises(MatchError, match="match at several lags"):
            matched(absolute=True)


@pytest.mark.parametrize(("sd", "noise", "steady"), [
    pytest.param(9.8, 0.0, True, id="STEADY_SHARE"), pytest.param(10.2, 0.0, False, id="STEADY_SHARE"),
    pytest.param(19.5, 99.0, True, id="STEADY_NOISY_SHARE"), pytest.param(20.5, 99.0, False, id="STEADY_NOISY_SHARE"),
    pytest.param(14.8, 10.0, True, id="STEADY_NOISE"), pytest.param(15.2, 10.0, False, id="STEADY_NOISE")])
def test_power_too_steady_to_tell_a_lag(sd, noise, steady):
    assert still(200.0, sd, noise) == steady


@pytest.mark.parametrize(("channel", "strength", "heard"), [
    pytest.param("cadence", 25.2, True, id="CADENCE_STRENGTH"),
    pytest.param("cadence", 24.8, False, id="CADENCE_STRENGTH"),
    pytest.param("speed", 35.2, True, id="SPEED_STRENGTH"), pytest.param("speed", 34.8, False, id="SPEED_STRENGTH")])
def test_a_witness_that_is_heard(channel, strength, heard, monkeypatch):
    peaks(monkeypatch, Candidate(0, 0.9, strength))
    grid = SimpleNamespace(**{channel: POWER})
    assert (witnesses.ask(grid, grid, channel, -9, 9) is not None) == heard


@pytest.mark.parametrize(("lag", "se", "agrees"), [
    pytest.param(2.95, 0.0, True, id="AGREES_S"), pytest.param(3.05, 0.0, False, id="AGREES_S"),
    pytest.param(5.95, 1.0, True, id="AGREES_SE"), pytest.param(6.05, 1.0, False, id="AGREES_SE")])
def test_a_witness_that_agrees(lag, se, agrees, monkeypatch):
    monkeypatch.setattr(witnesses, "ask", lambda x, y, channel, lowest, highest: witnesses.Told(
        lag, se, [Candidate(round(lag), 0.9, 80.0)]) if channel == "cadence" else None)
    grid = Grid(0.0, POWER)
    told, = witnesses.call(grid, grid, Fine(0.0, 0.0, 0.0, 0.1, 200.0, False), "power", -99, 99)
    assert told.agrees == agrees


@pytest.mark.parametrize(("lag", "refused"), [
    pytest.param(12.9, False, id="CONTRADICTS_S"), pytest.param(13.1, True, id="CONTRADICTS_S")])
def test_a_witness_that_contradicts(lag, refused):
    """A lag of 3 s by power."""
    told = Witness(channel="cadence", lag_s=lag, lag_se_s=0.1, correlation=0.9, strength=60.0, agrees=False)
    if refused:
        with pytest.raises(MatchError, match="match at different lags"):
            witnesses.hear([told], 3.0, "power", [], 0.0)
    else:
        assert witnesses.hear([told], 3.0, "power", [], 0.0)[0].kind == "pair_witness_differs"


@pytest.mark.parametrize(("ppm", "se", "windows", "taken_out"), [
    pytest.param(200, 66, 20, True, id="DRIFT_SE"), pytest.param(200, 67, 20, False, id="DRIFT_SE"),
    pytest.param(-126, 1, 20, True, id="DRIFT_S"), pytest.param(-124, 1, 20, False, id="DRIFT_S"),
    pytest.param(200, 1, 6, True, id="DRIFT_WINDOWS"), pytest.param(200, 1, 5, False, id="DRIFT_WINDOWS")])
def test_a_drift_that_is_taken_out(ppm, se, windows, taken_out):
    """Over 4000 s."""
    assert is_drift(1e-6 * ppm, 1e-6 * se, 4000.0, windows) == taken_out


@pytest.mark.parametrize(("lag", "said"), [
    pytest.param(3600.0 + 119, "pair_zone", id="ZONE_NEAR_S"),
    pytest.param(3600.0 - 121, "pair_lag_unusual", id="ZONE_NEAR_S"),
    pytest.param(2700.0 + 60, "pair_zone", id="ZONE_STEP_S"),  # of 45 min: 3 quarters
    pytest.param(599.0, "", id="UNUSUAL_LAG_S"), pytest.param(-601.0, "pair_lag_unusual", id="UNUSUAL_LAG_S")])
def test_a_lag_that_is_said(lag, said):
    note = unusual_lag(lag, True, True)
    assert ("" if note is None else note.kind) == said


def note_of(minutes, jumps=()):
    """Minutes alike are "#"; `jumps` are minutes at which a long step of a clock lies."""
    alike = np.array([minute == "#" for minute in minutes])
    return bool(unlike(Likeness(60 * np.arange(alike.size), alike, np.ones(alike.size)), tuple(60 * j for j in jumps)))


@pytest.mark.parametrize(("minutes", "noted"), [
    pytest.param(50 * "#" + "...", True, id="UNLIKE_SURPRISE, MOST_USUAL_ALIKE"),  # 8.3, a share of 0.95
    pytest.param(50 * "#" + "..", False, id="UNLIKE_SURPRISE, MOST_USUAL_ALIKE"),  # 5.5; of 0.99 it would be 8.8
    pytest.param(5 * "#########." + "#....", True, id="UNLIKE_SURPRISE"),
    pytest.param(5 * "#########." + "#...", False, id="UNLIKE_SURPRISE"),
    pytest.param(50 * "#" + "..##..", True, id="UNRELATED_ALIKE"),
    pytest.param(50 * "#" + "..###..", False, id="UNRELATED_ALIKE"),
    pytest.param(30 * "#." + "#" + 40 * ".", True, id="LEAST_REST_ALIKE"),
    pytest.param(".." + 29 * "#." + "#" + 40 * ".", False, id="LEAST_REST_ALIKE"),
    pytest.param(9 * ".", False, id="nothing alike")])
def test_minutes_that_are_unlike(minutes, noted):
    assert note_of(minutes) == noted


@pytest.mark.parametrize(("minutes", "noted"), [
    pytest.param("..##." + 30 * "#", True, id="UNLIKE_BEYOND_JUMP"),  # 5.2
    pytest.param("..###." + 30 * "#", False, id="UNLIKE_BEYOND_JUMP")])  # 3.6
def test_minutes_beyond_a_long_step_are_doubted_sooner(minutes, noted):
    assert note_of(minutes, jumps=(len(minutes) - 30,)) == noted
    assert not note_of(minutes)
    assert not note_of(minutes, jumps=(len(minutes) - 10,))


@pytest.mark.parametrize(("back", "stretches"), [
    pytest.param(1, 1, id="MIN_STEP_S"), pytest.param(2, 3, id="MIN_STEP_S")])
def test_a_lag_that_comes_back_to_almost_the_same(back, stretches):
    parts = [Stretch(600 * k, 600 * (k + 1), np.full(5, lag)) for k, lag in enumerate((0, 40, back))]
    assert len(without_excursions(parts)) == stretches


@pytest.mark.parametrize(("size", "minutes"), [(0.0105, 3), (0.0095, 2)])
def test_minutes_of_a_file_that_is_mostly_stop(size, minutes):
    """STILL_MINUTE_AT_ALL: a thousandth of the mean energy, a tenth of that of two minutes of twenty."""
    one = np.tile([1.0, -1.0, 2.0, -2.0], 300)
    one[60:] *= 1e-6
    one[1140:] *= 1e6 * size
    one[600:660] = np.tile([1.0, -1.0, 2.0, -2.0], 15)
    assert likeness(one, one, np.zeros(1200)).matched.size == minutes


@pytest.mark.parametrize(("size", "known", "minutes"), [
    pytest.param(0.105, 60, 10, id="STILL_MINUTE"), pytest.param(0.095, 60, 9, id="STILL_MINUTE"),
    pytest.param(1.0, 30, 10, id="LEAST_MINUTE_S"), pytest.param(1.0, 29, 9, id="LEAST_MINUTE_S")])
def test_minutes_that_tell_something(size, known, minutes):
    """A minute with changes of a tenth of the usual size has a hundredth of their energy."""
    one = np.tile([1.0, -1.0, 2.0, -2.0], 150)
    one[300:360] *= size
    one[300 + known:360] = np.nan
    assert likeness(one, one, np.zeros(600)).matched.size == minutes
