"""Answers over several sessions a day must stand with one mean for each day."""

from types import SimpleNamespace

import numpy as np
import pytest

from agree import Estimate, check_claim
from agree.assessment.doubts.few_days import few_days
from agree.core.results.note import Note
from agree.verdict.meanings import Reading
from tests.assessment.test_next_step import dated


def doubt(errors, days, seconds=1800):
    own = [Estimate(value=x, low=x - 0.1, high=x + 0.1, level=0.95, method="t") for x in errors]
    pairs = [SimpleNamespace(start=f"2026-03-{day:02}T{6 + k:02}:00:00Z" if day else "", time=np.arange(9.0),
                             stamps=None) for k, day in enumerate(days)]
    return few_days(SimpleNamespace(pairs=pairs, session=np.repeat(np.arange(len(days)), seconds),
                                    sessions=len(days)), own, 0.95, "interval")


# LEAST_DAYS
@pytest.mark.parametrize(("days", "asked"), [
    ((1, 1, 2, 2), 0), ((1, 1, 2, 3), 3), ((1, 2, 3, 4), 0), ((0, 0, 2, 2), 3)])
def test_days_from_which_they_are_asked(days, asked):
    """Sessions without a date stand for days of their own."""
    assert doubt((0.1, 0.2, -0.1, 0.3), days).days == asked


def reading(value, verdict, meaning="average"):
    item = Estimate(value=value, low=value - 0.3, high=value + 0.3, level=0.95, method="t")
    return Reading(meaning=meaning, verdict=verdict, estimate=item, limit=1.5, unit="%",
                   because=Note(kind="because_in"))


@pytest.mark.parametrize(("errors", "verdict", "answer"), [
    ((0.9, 0.9, 0.9, 0.0, 0.0, 0.0, 1.0), "holds", "not settled"),       # days 0.9, 0, 1: t of 2 degrees of freedom
    ((0.5, 0.5, 0.5, 0.4, 0.4, 0.4, 0.6), "holds", "holds"),
    ((3.0, 3.0, 3.0, 2.0, 2.0, 2.0, 4.0), "does not hold", "not settled"),
    ((3.0, 3.0, 3.0, 3.1, 3.1, 3.1, 2.9), "does not hold", "does not hold"),
    ((3.0, 3.0, 3.0, 2.0, 2.0, 2.0, 4.0), "not settled", "not settled")])
def test_an_answer_stands_if_it_does_over_days(errors, verdict, answer):
    found = doubt(errors, (1, 1, 1, 2, 2, 2, 3))
    given = (reading(0.5, verdict), reading(0.5, "holds", "bands"))
    average, bands = found.answers(given)
    assert average.verdict == answer
    assert (average.because.kind == "because_days") == (answer != verdict)
    assert (bands.verdict == "holds") == (verdict != "holds" or answer == "holds")
    assert (found.next(given, "average") is not None) == (answer != verdict)


def test_a_check_over_days_that_differ_gives_no_answer():
    """Sessions of one day agree to 0.05 %, days do not: taken for nine days they held."""
    errors = [day + 0.05 * k for day in (0.9, -0.6, 0.9) for k in (-1, 0, 1)]
    check = check_claim(dated(errors, [1, 1, 1, 2, 2, 2, 3, 3, 3]), "1.5 %")
    assert check.verdict == "not settled"
    assert check.readings[0].because.kind == "because_days"
    assert check.next_step.kind == "next_other_days"
    text = " ".join(check.summary().split())
    assert "one mean for each of 3 days gives -1.8 to +2.6 %" in text
    assert "may be too narrow; an answer must stand with one mean for each day too." in text
    assert check_claim(dated(errors, range(1, 10)), "1.5 %").verdict == "holds"
