"""Plans: published-style check values, pilots, what makes a plan impossible, bad input."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from agree import InputError, check_claim, plan
from agree.planning.case import plan_case
from agree.report.notes.sentence import note_text
from agree.report.texts.plan_text import steps
from agree.verdict.claim import Claim
from agree.verdict.columns import table
from agree.verdict.error_distribution import EXACT
from agree.verdict.looks import level_at
from agree.verdict.meanings import average
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.rule import three_way, widen
from agree.verdict.sessions import mean_over_sessions
from agree.verdict.settling.chance import Terms, chance
from agree.verdict.settling.chance_of_looks import settled_by_looks
from tests.rides import session

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.DriftWarning")
LONG = 1e9  # minutes after which nothing is left of what varies within a session


@pytest.mark.parametrize(("sd", "margin", "sessions"), [
    # two-sided 95 %, t s/sqrt(S) <= margin: figures of common planning tables, which know the width alone
    (0.5, 0.5, 7), (0.5, 1.0, 4), (0.8, 0.5, 13), (0.8, 1.0, 5), (1.0, 0.5, 18), (1.0, 1.0, 7), (1.5, 0.5, 38),
    (1.5, 1.0, 12)])
def test_width_alone_gives_the_tables_and_settles_half_the_time(sd, margin, sessions):
    made = plan("1.5 %", true_error=1.5 - margin, session_sd=sd, minutes=LONG, most=100)
    assert made.cases[0].by_width == sessions
    terms = Terms(1.5, sd, EXACT, 0.95)
    assert 0.5 < float(chance("holds", sessions, 1.5 - margin, terms)) < 0.8
    assert made.sessions > sessions


def test_within_part():
    # SD 5 %, correlation 0.9 from second to second, 1 h: 0.36 %
    made = plan("1.5 %", correlation_s=-1 / math.log(0.9))
    assert made.within == pytest.approx(5 * math.sqrt(1.9 / 0.1 / 3600), rel=1e-12)
    assert round(made.within, 2) == 0.36
    assert made.minutes_enough == pytest.approx(4 * 25 * 19 / 0.8**2 / 60)
    enough = plan("1.5 %", minutes=made.minutes_enough, correlation_s=-1 / math.log(0.9))
    assert enough.within == pytest.approx(0.8 / 2)


def test_cases_and_symmetry():
    made = plan("1.5 %", true_error=[0, 0.75, 1.5, 2.25, -0.75], power=[0.8, 0.9])
    answers = {case.true_error: case.answer for case in made.cases}
    assert answers == {0: "holds", 0.75: "holds", 1.5: "not settled", 2.25: "does not hold", -0.75: "holds"}
    numbers = {(case.true_error, case.power): case.sessions for case in made.cases}
    assert numbers[-0.75, 0.8] == numbers[0.75, 0.8] == numbers[2.25, 0.8]
    assert numbers[0, 0.8] <= numbers[0, 0.9] <= numbers[0.75, 0.9]
    for case in made.cases:
        if case.sessions:
            sd = math.hypot(0.8, made.within)
            reached, before = (float(chance(case.answer, n, case.true_error, Terms(1.5, sd, EXACT, 0.95)))
                               for n in (case.sessions, case.sessions - 1))
            assert before < case.power <= reached == pytest.approx(case.reached)


def test_at_the_limit_no_number_settles():
    case = plan("1.5 %", true_error=1.5).cases[0]
    assert (case.possible, case.sessions) == (False, None)
    assert note_text(case.because) == "an error at the limit itself is settled by no number of sessions"


def test_reference_can_forbid_it():
    made = plan("1.5 %", reference_uncertainty="±1 %")
    case = made.cases[0]
    assert not made.possible
    assert made.u_reference == pytest.approx(1 / math.sqrt(3))
    # 95 % of a rectangle of ±1 reach to 0.95: the claim can hold while the reference is within 1.5 - 0.95 of the truth
    assert case.ceiling == pytest.approx(0.55, abs=1e-6)
    assert note_text(case.because) == ("the reference's own error (standard uncertainty 0.58 %) leaves a chance of "
                                       "55 % at most, however many sessions; one below 0.49 % is needed")
    assert plan("1.5 %", reference_uncertainty=f"±{0.99 * math.sqrt(3) * case.u_needed} %").cases[0].ceiling > 0.8
    assert plan("1.5 %", reference_uncertainty=f"±{1.01 * math.sqrt(3) * case.u_needed} %").cases[0].ceiling < 0.8


def test_spread_can_forbid_the_next_session():
    case = plan("1.5 %", meaning="next_session").cases[0]
    assert not case.possible
    assert note_text(case.because) == ("sessions differ by SD 0.88 %: the next one is known to ±1.7 % at best, so no "
                                       "number of sessions settles it")
    assert case.u_needed is None
    assert plan("1.5 %", meaning="next_session", session_sd=0.3).sessions > plan("1.5 %", session_sd=0.3).sessions


def test_more_than_most():
    case = plan("1.5 %", true_error=1.2).cases[0]
    assert (case.possible, case.sessions, note_text(case.because)) == (True, None, "more than 50 sessions")
    assert plan("1.5 %", true_error=1.2, most=100).sessions > 50


def test_bands_need_more():
    plain, bands = plan("1.5 %"), plan("1.5 %", meaning="bands")
    assert bands.sessions > plain.sessions
    assert bands.minutes_per_band == plain.minutes_per_band == 12
    assert bands.within == pytest.approx(plain.within * math.sqrt(5))
    assert plan("1.5 %", meaning="bands", bands=[100, 200, 300]).sessions < bands.sessions


def test_watts():
    # 3 W at 200 W are 1.5 %: the assumed spreads are turned into W there
    percent, watts = plan("1.5 %", reference_uncertainty="0.5 %"), plan("3 W", reference_uncertainty="1 W")
    assert (percent.unit, watts.unit) == ("%", "W")
    assert watts.sessions == percent.sessions
    assert watts.session_sd.value == pytest.approx(2 * percent.session_sd.value)
    at = plan("3 W", bands=[100, 200])  # at 150 W the same spreads in % are fewer W
    assert at.session_sd.value == pytest.approx(1.2)
    band = plan("3 W", meaning="bands", bands=[100, 200, 300])
    assert (band.unit, band.limit) == ("%", pytest.approx(100 * 3 / 250))
    assert "W and % turned into each other at 200 W" in band.assumptions


@given(st.floats(0.1, 1.5), st.floats(1.05, 2), st.floats(0, 1))
@settings(max_examples=10)
def test_more_spread_or_less_time_needs_more(sd, factor, error):
    def count(**more):
        return plan("1.5 %", **({"true_error": error, "session_sd": sd} | more)).sessions or math.inf

    assert count() <= count(session_sd=factor * sd)
    assert count() <= count(minutes=60 / factor)
    assert count() <= count(power=0.9)
    assert count() <= count(level=0.99)


@pytest.fixture(scope="module")
def rides():
    rng = np.random.default_rng(8)
    return [session(rng, scale=1 + 0.01 * z, label=str(k)) for k, z in enumerate(rng.normal(0.2, 0.5, 5))]


def test_pilot(rides):
    check = check_claim(rides, "1.5 %", reference_uncertainty="0.3 % k=2")
    made = plan("1.5 %", pilot=check, minutes=60, power=[0.8, 0.9])
    biases = np.array([item.value for item in check.session_bias])
    errors = np.array([item.standard_error for item in check.session_bias])
    assert made.session_sd.value == pytest.approx(math.sqrt(biases.var(ddof=1) - (errors**2).mean()))
    low, high = np.sqrt(biases.var(ddof=1) * 4 / stats.chi2.ppf([0.975, 0.025], 4))
    assert made.session_sd.high == pytest.approx(math.sqrt(high**2 - (errors**2).mean()))
    assert made.session_sd.low == pytest.approx(math.sqrt(max(low**2 - (errors**2).mean(), 0)))
    assert made.within == pytest.approx(math.sqrt((errors**2).mean()))  # sessions of the pilot took 60 min too
    assert made.u_reference == pytest.approx(0.15)
    assert all(case.sessions is None or case.sessions >= case.expected for case in made.cases)
    assert made.cases[0].expected is not None
    assert "5 pilot sessions" in made.assumptions[0]


def test_pilot_in_every_form_is_the_same(rides):
    check = check_claim(rides, "1.5 %")
    stored = json.loads(json.dumps(check.to_dict()))
    plans = [plan("1.5 %", pilot=pilot).to_dict() for pilot in (check, stored, rides)]
    assert plans[0] == plans[1] == plans[2]


def test_pilot_of_one_session(rides):
    made = plan("1.5 %", pilot=rides[0])
    assert made.session_sd.value == 0.8
    assert made.session_sd.method == "assumed"
    assert made.assumptions[0] == ("sessions of one unit differ by SD 0.8 % (assumed): a pilot of one session does not "
                                   "show it")
    assert made.within < 0.3  # measured: SD 2 W, not the assumed 5 %


def test_pilot_scaled_to_other_minutes(rides):
    hour, half = plan("1.5 %", pilot=rides), plan("1.5 %", pilot=rides, minutes=30)
    assert half.within == pytest.approx(hour.within * math.sqrt(2))
    assert half.session_sd.value == hour.session_sd.value


def test_plan_keeps_its_promise():
    """The verdict on simulated rides, sessions as planned: settled as often as said."""
    rng = np.random.default_rng(21)
    made = plan("1.5 %", session_sd=0.5, within_sd=1, minutes=5, true_error=0.4, power=0.8)
    exact = ReferenceUncertainty.parse(None)
    held = [average(table([session(rng, scale=1 + rng.normal(0.4, 0.5) / 100, sd=1.7, seconds=300, label=str(k))
                           for k in range(made.sessions)], 30), made.claim, exact, 0.95).verdict == "holds"
            for _ in range(40)]
    reached = made.cases[0].reached
    assert np.mean(held) > reached - 3 * math.sqrt(reached * (1 - reached) / 40)


def test_json_and_summary():
    made = plan("1.5 %", true_error=[0, 0.75, 1.5], power=[0.8, 0.9], reference_uncertainty="±1 %")
    data = json.loads(json.dumps(made.to_dict(), allow_nan=False))
    assert data["schema"] == 1
    assert [case["power"] for case in data["cases"]] == [0.8, 0.9] * 3
    assert data["session_sd"] == {"value": 0.8, "low": 0.0, "high": None, "level": 0.95, "method": "assumed",
                                  "standard_error": None, "df": None, "drift": False}
    lines = made.summary().splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize(("change", "message"), [
    ({"claim": "good"}, "claim 'good' is not understood; write it like '1.5%', '2 W' or '1.5 % or 2 W above 100 W'"),
    ({"meaning": "single"}, "`meaning` must be one of 'average', 'bands', 'readings', 'next_session'; got 'single'"),
    ({"power": 80}, "`power` must be a fraction between 0 and 1, such as 0.95; got 80; did you mean 0.8?"),
    ({"power": []}, "`true_error` and `power` must hold at least one number each; got none"),
    ({"true_error": []}, "`true_error` and `power` must hold at least one number each; got none"),
    ({"true_error": [0, math.nan]}, "`true_error` must hold finite numbers; got nan"),
    ({"true_error": ["0"]}, "`true_error` must hold finite numbers; got '0'"),
    ({"session_sd": 0}, "`session_sd` must be a positive number; got 0"),
    ({"within_sd": -1}, "`within_sd` must be a positive number; got -1"),
    ({"correlation_s": 0}, "`correlation_s` must be a positive number; got 0"),
    ({"minutes": math.inf}, "`minutes` must be a positive number; got inf"),
    ({"level": 95}, "`level` must be a fraction between 0 and 1, such as 0.95; got 95; did you mean 0.95?"),
    ({"most": 2}, "`most` must be a whole number of sessions from 3 to 500; got 2"),
    ({"most": 10.5}, "`most` must be a whole number of sessions from 3 to 500; got 10.5"),
    ({"bands": [0, math.inf]}, "`bands` must be finite powers from 0 W on to plan minutes for; got [0.0, inf]"),
    ({"pilot": {"verdict": "holds"}}, "`pilot` must be a ClaimCheck, Pairs, a list of Pairs, or a check's to_dict(); "
                                      "got dict without the biases of sessions: make it with agree check ... "
                                      "--json FILE"),
    ({"pilot": 3}, "`pilot` must be a ClaimCheck, Pairs, a list of Pairs, or a check's to_dict(); got int without the "
                   "biases of sessions: make it with agree check ... --json FILE"),
])
def test_bad_input(change, message):
    with pytest.raises(InputError) as caught:
        plan(change.pop("claim", "1.5 %"), **change)
    assert str(caught.value) == message


def test_pilot_in_another_unit(rides):
    with pytest.raises(InputError) as caught:
        plan("3 W", pilot=check_claim(rides[0], "1.5 %"))
    assert str(caught.value) == ("the pilot was checked against a claim in %, this claim is in W: check the pilot "
                                 "against this claim first")


def test_a_pilots_number_keeps_its_promise():
    """Pilots of 3 sessions: the number planned reaches the chance wanted, that for the pilot's own SD does not."""
    rng, reached, expected = np.random.default_rng(5), [], []
    for _ in range(120):
        spread = 0.8 * math.sqrt(rng.chisquare(2) / 2)
        upper = spread * math.sqrt(2 / stats.chi2.ppf(0.2, 2))
        careful, plain = (Terms(1.5, sd, EXACT, 0.95) for sd in (upper, spread))
        case = plan_case(Claim.parse("1.5 %"), "%", 0.75, 0.8, [200.0], [plain], [careful], True, 100)
        truth = Terms(1.5, 0.8, EXACT, 0.95)
        reached.append(1.0 if case.sessions is None else float(chance("holds", case.sessions, 0.75, truth)))
        expected.append(float(chance("holds", case.expected, 0.75, truth)))
    assert np.mean(reached) > 0.8
    assert np.mean(expected) < 0.72


def test_looks_change_the_plan():
    """One check after 8 settles 97 %; looks after 3, 5 and 8 settle 93 % and end after 7.1 sessions on average."""
    made = plan("1.5 %", session_sd=0.88, minutes=LONG, looks=(3, 5, 8), power=[0.25, 0.9, 0.96])
    assert made.looks == (3, 5, 8)
    early, late, never = made.cases
    assert (early.sessions, late.sessions, never.sessions) == (5, 8, None)
    assert late.reached == pytest.approx(0.93, abs=0.015)
    assert late.mean_sessions == pytest.approx(7.1, abs=0.1)
    assert note_text(never.because) == ("the looks after 3, 5, 8 sessions settle it with a chance of 93 % at most; "
                                        "declare a later last look")
    assert "Looks      after 3, 5, 8 sessions, the first settled answer counting" in made.summary()
    assert "check once" not in made.summary()
    assert "looks" in json.loads(json.dumps(made.to_dict(), allow_nan=True))


@pytest.mark.parametrize("looks", [(8, 3), (3, 3), (1, 3), ()])
def test_looks_must_increase(looks):
    with pytest.raises(InputError, match="`looks` must be increasing numbers of sessions, 2 or more each"):
        plan("1.5 %", looks=looks)


@pytest.mark.parametrize(("answer", "error", "reference", "runs"), [
    ("holds", 0.2, None, 400), ("does not hold", 2.8, "±1 %", 60)])
def test_chance_of_looks_against_tests_that_stop(rng, answer, error, reference, runs):
    """Tests, one by one, through the mean over sessions, the reference's interval and the level of each look."""
    looks, known = (3, 5, 8), ReferenceUncertainty.parse(reference).known(200.0)
    foretold = settled_by_looks(answer, looks, [error], [Terms(1.5, 0.8, known, 0.95)])
    found = np.zeros(len(looks))
    for row in error + 0.8 * rng.normal(size=(runs, 8)) + (rng.uniform(-1, 1, (runs, 1)) if reference else 0):
        for k, count in enumerate(looks):
            item = widen(mean_over_sessions(row[:count], np.full(count, 1e9), level_at(looks, count, 0.95)), known)
            if (said := three_way(item.low, item.high, 1.5)) != "not settled":
                found[k:] += said == answer
                break
    assert np.abs(found / runs - foretold.by_look).max() < 3 * 0.5 / np.sqrt(runs)


def test_a_plan_asks_for_sessions_of_one_length():
    """Of 10 to 110 min where 60 are planned, 30 points fewer settled the next session (benchmarks/planning.py)."""
    made = plan("1.5 %", session_sd=0.5)
    assert "Every session as long" in " ".join(made.summary().split())
    assert any("every session as long" in step.text for _, group in steps(made) for step in group)
