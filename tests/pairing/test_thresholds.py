"""When recordings are paired, on both sides of each threshold: inputs are literal, so that a moved one is seen."""

import numpy as np
import pytest
from scipy.signal import lfilter

from agree import Recording
from agree.core.data.alignment import Witness
from agree.core.data.matched import Matched
from agree.core.errors import MatchError
from agree.pairing import refusal
from agree.pairing.clocks.clock import Candidate
from agree.pairing.clocks.delay import attributed
from agree.pairing.clocks.fine import Fine
from agree.pairing.clocks.lag_path import Stretch, without_excursions
from agree.pairing.facts import drift_fact
from agree.pairing.grid import to_grid
from agree.pairing.gross_zeros import lags_without_zeros
from agree.pairing.refusal import Doubt
from agree.pairing.same_ride.minutes import Likeness
from agree.report.notes.pairing import SENTENCES

NONE = Matched(reference=[100.0], device=[101.0])


@pytest.mark.parametrize(("matched", "steps", "good"), [(20, 0, True), (19, 0, False), (24, 1, True), (23, 1, False)])
def test_limit_of_matched_minutes(matched, steps, good):
    """LEAST_LIKENESS, LEAST_STEPPED_LIKENESS, 0.30 and 0.40.

    Of 45 minutes 20 have a lower limit of 0.309, 19 of 0.290; of 43 minutes 24 have one of 0.411, 23 of 0.389.
    """
    number = 45 if not steps else 43
    found = Likeness(np.arange(number), np.arange(number) < matched, np.ones(number))
    if good:
        refusal.refuse_likeness(found, steps)
    else:
        with pytest.raises(MatchError, match=f"{matched} of {number} minutes are more alike") as told:
            refusal.refuse_likeness(found, steps)
        limit, needed = (39, 40) if steps else (29, 30)
        assert f"{limit} % only (lower 95 % limit); {needed} % or more are needed of it" in str(told.value)


def test_few_minutes_are_not_judged():
    """LIKENESS_WINDOWS."""
    for number, judged in ((4, False), (5, True)):
        found = Likeness(np.arange(number), np.zeros(number, bool), np.ones(number))
        if judged:
            with pytest.raises(MatchError):
                refusal.refuse_likeness(found, 0)
        else:
            refusal.refuse_likeness(found, 0)


@pytest.mark.parametrize(("matched", "ratio", "good"), [
    (9, 1.0, True), (8, 1.0, False), (8, 1.99, False), (8, 2.01, True), (8, 0.51, False), (8, 0.49, True)])
def test_limit_of_rapid_changes(matched, ratio, good):
    """LEAST_RAPID_LIKENESS, 0.10: of 45 minutes 9 have a lower limit of 0.109, 8 of 0.093. MOST_RAPID_RATIO, 2."""
    found = Likeness(np.arange(45), np.arange(45) < matched, np.ones(45))
    if good:
        refusal.refuse_other_rider(found, ratio, lambda: (found, 0.0))
    else:
        with pytest.raises(MatchError, match=f"the rider's own, only in {matched} of 45 minutes"):
            refusal.refuse_other_rider(found, ratio, lambda: (found, 0.0))


@pytest.mark.parametrize(("ratio", "matched", "colour", "good"), [
    (0.23, 37, 0.27, False), (0.22, 37, 0.27, True), (4.4, 37, 0.27, False), (4.6, 37, 0.27, True),
    (0.3, 38, 0.27, True), (0.3, 37, 0.25, True), (0.3, 37, 0.27, False)])
def test_limits_of_rapid_changes_where_one_has_less(ratio, matched, colour, good):
    """LARGEST_RAPID_RATIO, 4.5; LEAST_EVEN_LIKENESS, 0.70: of 45 minutes 37 have 0.687, 38 0.712; MOST_LEFT_COLOUR."""
    none, even = (Likeness(np.arange(45), np.arange(45) < count, np.ones(45)) for count in (0, matched))
    if good:
        refusal.refuse_other_rider(none, ratio, lambda: (even, colour))
    else:
        with pytest.raises(MatchError, match="the rider's own"):
            refusal.refuse_other_rider(none, ratio, lambda: (even, colour))


@pytest.mark.parametrize(("matched", "even", "colour", "good"), [
    (23, 19, 0.27, True), (22, 19, 0.27, False), (22, 20, 0.27, True), (22, 19, 0.25, True)])
def test_limit_of_rapid_changes_of_like_size_beyond_which_nothing_more_is_asked(matched, even, colour, good):
    """SURE_RAPID_LIKENESS, 0.35; LEAST_SURE_EVEN, 0.30: of 45 23 have 0.370, 22 0.3496; 20 0.309, 19 0.290."""
    rapid, other = (Likeness(np.arange(45), np.arange(45) < count, np.ones(45)) for count in (matched, even))
    if good:
        refusal.refuse_other_rider(rapid, 1.0, lambda: (other, colour))
    else:
        with pytest.raises(MatchError, match=f"only in {even} of 45 minutes"):
            refusal.refuse_other_rider(rapid, 1.0, lambda: (other, colour))


@pytest.mark.parametrize(("number", "even", "colour", "good"), [
    (4, 2, 0.9, True), (4, 1, 0.9, False), (4, 1, 0.25, True), (1, 0, 0.9, False), (0, 0, 0.9, True)])
def test_few_minutes_that_tell_must_be_half_alike_or_leave_noise(number, even, colour, good):
    """LEAST_EVEN_SHARE, 0.5, below LIKENESS_WINDOWS: ten minutes of two rides that share the shape of one event."""
    rapid, other = (Likeness(np.arange(number), np.arange(number) < count, np.ones(number)) for count in (number, even))
    if good:
        refusal.refuse_other_rider(rapid, 1.0, lambda: (other, colour))
    else:
        with pytest.raises(MatchError, match=f"only in {even} of {number} minutes"):
            refusal.refuse_other_rider(rapid, 1.0, lambda: (other, colour))


def drift_refused(fine, ppm, absolute=False):
    said = ""
    try:
        refusal.refuse_drift(fine, absolute)
    except MatchError as found:
        said = str(found)
    assert not said or f"the lag changes by {ppm:+.0f} ppm (standard error " in said
    return bool(said)


@pytest.mark.parametrize(("ppm", "se", "good"), [
    (299, 1, True), (301, 1, False), (-301, 1, False), (310, 95, False), (299, 95, True),  # MOST_DRIFT_PPM, 300
    (310, 104, False), (310, 106, True)])  # by two standard errors more than two clocks usually differ by, 100
def test_a_drift_is_refused_that_is_estimated_beyond_what_two_clocks_differ_by(ppm, se, good):
    """MOST_DRIFT_PPM."""
    fine = Fine(0.0, 0.01, 1e-6 * ppm, 1e-6 * se, 1000.0, True)
    assert drift_refused(fine, ppm) is not good
    assert not drift_refused(fine, ppm, absolute=True)
    assert not drift_refused(fine._replace(drifting=False), ppm)


@pytest.mark.parametrize(("ppm", "se", "good"), [
    (299, 20, True), (301, 20, False), (-320, 20, False), (1000, 149, False), (1000, 151, True), (350, 130, True)])
def test_a_drift_that_is_drawn_to_that_of_usual_clocks_is_refused_by_the_data_alone(ppm, se, good):
    """MOST_PLAIN_SE_PPM, 150: of 320 ppm beside two stops 240 were left, and accepted."""
    fine = Fine(0.0, 0.01, 200e-6, 50e-6, 1000.0, True, plain=(1e-6 * ppm, 1e-6 * se))
    assert drift_refused(fine, ppm) is not good


@pytest.mark.parametrize(("middle", "good"), [(990.0, True), (1010.0, False)])
def test_a_drift_is_wild_that_comes_to_seconds_however_uncertain(middle, good):
    """MOST_DRIFT_S, 4 s over the recording."""
    assert drift_refused(Fine(0.0, 0.01, 2000e-6, 960e-6, middle, False), 2000) is not good


@pytest.mark.parametrize(("ppm", "se", "dated", "said"), [
    (289, 5, False, ""),
    (291, 5, False, "; that is perhaps more than 300 ppm, the most that two clocks differ by: if so, one of the "
     "recordings loses seconds, as when it leaves out short pauses; files with dates would tell"),
    (350, 20, True, "; that is more than 300 ppm, the most that two clocks differ by: one of the recordings seems to "
     "lose seconds, as when it leaves out short pauses"), (150, 90, False, "")])
def test_a_drift_that_may_be_more_than_two_clocks_have_is_a_doubt(ppm, se, dated, said):
    fine = Fine(0.0, 0.01, 1e-6 * ppm, 1e-6 * se, 1000.0, True)
    note = drift_fact(fine, dated)
    assert note.severity == ("trust" if said else "detail")
    assert SENTENCES["pair_clock_drift"](note) == (
        f"the clocks drift by {ppm} ppm (standard error {se}): the device was re-timed along a straight line; the lag "
        "is that in the middle" + said)


@pytest.mark.parametrize(("share", "hidden"), [(0.0095, False), (0.0105, True)])
def test_zeros_amid_work_are_hidden_from_the_clocks_where_they_are_many(share, hidden):
    """GROSS_ZEROS."""
    rng = np.random.default_rng(4)
    x = 200 + 30 * lfilter([0.5], [1, -0.85], rng.standard_normal(4000))
    y = x.copy()
    y[rng.choice(4000, round(share * 4000), replace=False)] = 0
    grids = [to_grid(Recording(time=np.arange(4000.0), power=np.rint(p), clock="elapsed"), "device") for p in (x, y)]
    assert bool(lags_without_zeros(*grids, -1e9, 1e9)) == hidden


def cadence(lag):
    return (Witness(channel="cadence", lag_s=lag, lag_se_s=0.1, correlation=0.9, strength=60.0, agrees=True),)


@pytest.mark.parametrize(("rest", "told", "cause"), [
    (1.25, (), "none"), (1.26, (), "undecided"), (59.9, (), "undecided"), (60.1, (), "clock"),
    (8.0, cadence(1.19), "device"), (8.0, cadence(1.21), "undecided"),
    (8.0, cadence(6.68), "clock"), (8.0, cadence(6.67), "undecided")])
def test_limits_of_a_second(rest, told, cause):
    """DELAY_LEAST_S, 1 s and two standard errors: 0.13 s of the lag, 0.1 of cadence, 0.16 of both; CLOCK_ALONE_S."""
    assert attributed(rest, 0.1, NONE, told).cause == cause


@pytest.mark.parametrize(("stamps", "apart", "good"), [
    pytest.param(True, -53_900.0, True, id="DAY_APART_S"), pytest.param(True, 54_100.0, False, id="DAY_APART_S"),
    pytest.param(False, 54_100.0, True, id="DAY_APART_S without dates")])
def test_limit_of_what_a_time_zone_explains(stamps, apart, good):
    if good:
        refusal.refuse_other_day(apart, stamps)
    else:
        with pytest.raises(MatchError, match=r"which no time zone explains.*\(--max-lag\); if you know the lag"):
            refusal.refuse_other_day(apart, stamps)


@pytest.mark.parametrize(("apart", "named"), [
    pytest.param(27 * 86400.0 + 1, True, id="EXCHANGED_S"), pytest.param(27 * 86400.0 - 1, False, id="EXCHANGED_S")])
def test_day_and_month_exchanged_are_named(apart, named):
    with pytest.raises(MatchError) as caught:
        refusal.refuse_other_day(apart, True)
    assert ("dates=month-first" in str(caught.value)) == named


def test_most_steps_of_a_clock():
    """MOST_CLOCK_STEPS."""
    refusal.refuse_steps(60)
    with pytest.raises(MatchError, match="differ by 61 steps, and at most 60 are taken out"):
        refusal.refuse_steps(61)


@pytest.mark.parametrize(("away", "kept"), [
    pytest.param(900, 1, id="EXCURSION_S"), pytest.param(901, 3, id="EXCURSION_S")])
def test_a_lag_that_comes_back(away, kept):
    there, gone = np.zeros(5, int), np.full(5, 40)
    assert len(without_excursions([Stretch(0, 1000, there), Stretch(1000, 1000 + away, gone),
                                   Stretch(1000 + away, 4000, there)])) == kept


@pytest.mark.parametrize(("best", "rival", "said"), [
    pytest.param((0.5, 15.1), None, Doubt.NONE, id="MIN_STRENGTH"),
    pytest.param((0.5, 14.9), None, Doubt.WEAK, id="MIN_STRENGTH"),
    pytest.param((0.301, 50.0), None, Doubt.NONE, id="MIN_CORRELATION"),
    pytest.param((0.299, 50.0), None, Doubt.WEAK, id="MIN_CORRELATION"),
    pytest.param((0.9, 100.0), (0.6, 74.9), Doubt.NONE, id="MAX_RIVAL"),
    pytest.param((0.9, 100.0), (0.6, 75.1), Doubt.RIVAL, id="MAX_RIVAL"),
    pytest.param((0.9, 100.0), (0.872, 50.0), Doubt.NONE, id="MAX_ALIKE"),
    pytest.param((0.9, 100.0), (0.874, 50.0), Doubt.RIVAL, id="MAX_ALIKE")])
def test_the_best_lag_and_its_rival(best, rival, said):
    assert refusal.doubt([Candidate(0, *best)] + ([Candidate(300, *rival)] if rival else [])) == said
