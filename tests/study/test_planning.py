"""How large a study must be: the numbers are those at which simulated studies reach the wanted chance."""

import numpy as np
import pytest
from scipy import stats

from agree import InputError
from agree.study import plan_study

RNG = np.random.default_rng(6)
STUDIES = 4000  # the Monte-Carlo error of a chance of 0.8 is 0.006


def simulated(question, athletes, sessions, athlete_sd, session_sd, difference):
    """Share of studies with the wanted answer."""
    spread = session_sd / np.sqrt(sessions) * (np.sqrt(2) if question == "difference" else 1)
    means = RNG.normal(0, athlete_sd, (STUDIES, athletes)) + RNG.normal(0, spread, (STUDIES, athletes))
    means += difference if question == "difference" else 0.3
    centre, se = means.mean(axis=1), means.std(axis=1, ddof=1) / np.sqrt(athletes)
    half = stats.t.ppf(0.975, athletes - 1) * se
    return (centre - half > 0).mean() if question == "difference" else ((np.abs(centre) + half) <= 1.5).mean()


@pytest.mark.parametrize("question", ["device in a condition", "difference", "mean of the units"])
@pytest.mark.parametrize("sessions", [1, 3])
def test_the_least_number_reaches_the_chance_and_one_less_does_not(question, sessions):
    made = plan_study("1.5 %", athlete_sd=0.7, unit_sd=0.7, session_sd=0.6, difference=0.8, true_error=0.3,
                      sessions=[sessions])
    row = next(row for row in made.rows if row.question == question)
    assert row.pairs == row.number * sessions
    assert simulated(question, row.number, sessions, 0.7, 0.6, 0.8) > 0.8 - 0.02
    assert simulated(question, row.number - 1, sessions, 0.7, 0.6, 0.8) < 0.8 + 0.02


def test_a_known_error_of_the_reference_asks_for_more():
    plain, known = (plan_study("1.5 %", unit_sd=0.7, reference_uncertainty=text).rows[0].number
                    for text in (None, "0.5 % k=2"))
    assert known > plain


def test_what_is_out_of_reach_is_said():
    made = plan_study("1 %", athlete_sd=0.5, true_error=1.2)
    assert {row.number for row in made.rows} == {None}
    assert "more than 1000 athletes with 1 session each" in " ".join(made.summary().split())
    assert all(len(line) <= 80 for line in made.summary().splitlines())


@pytest.mark.parametrize(("options", "text"), [
    ({}, "`athlete_sd` or `unit_sd` must be given: a study of athletes, or of units"),
    ({"unit_sd": 0.0}, "`unit_sd` must be above 0; got 0.0"),
    ({"unit_sd": 1.0, "sessions": [0]}, "`sessions` must be whole numbers of 1 or more; got [0]"),
])
def test_bad_input(options, text):
    with pytest.raises(InputError) as caught:
        plan_study("1.5 %", **options)
    assert str(caught.value) == text


def test_a_claim_without_per_cent():
    with pytest.raises(InputError, match="`claim` must be in per cent to plan a study; got '±2 W'"):
        plan_study("2 W", unit_sd=1.0)
