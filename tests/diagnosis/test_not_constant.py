"""A zero or a scale that moves from session to session is named as what moves, first."""

from types import SimpleNamespace

import numpy as np
import pytest

from agree import Estimate, Pairs
from agree.correction.find import correction
from agree.diagnosis.finding import Finding
from agree.diagnosis.findings import findings, not_constant
from agree.report.story.cause import causes
from agree.verdict.claim import Claim
from agree.verdict.columns import table
from agree.verdict.meanings import effects_of
from agree.verdict.rule import FAILS


def sessions(zeros):
    """Invented sessions of 10 min at 150 to 270 W, each with its zero, W."""
    made = []
    for number, zero in enumerate(zeros):
        rng = np.random.default_rng(number)
        watts = 210 + 60 * np.sin(np.arange(600) / 70 + number) + rng.normal(0, 5, 600)
        made.append(Pairs(reference=watts, device=watts + zero + rng.normal(0, 3, 600)))
    return table(made, 30)


@pytest.mark.parametrize(("zeros", "first"), [((0, 2, 4, 6), "sessions_differ"), ((5, 5, 5.5, 5.2), "offset")])
def test_a_zero_that_moves_is_no_zero_error_first(zeros, first):
    data = sessions(zeros)
    found = findings(data, correction(data, 0.95, 30, effects=effects_of(data, Claim.parse("1 %"), 0.95)))
    assert found[0].cause == first


@pytest.mark.parametrize(("low", "kind", "count", "moves"), [
    (0.98, "correction_spread", 3, False), (0.98, "correction_ageing", 3, True), (1.0, "correction_spread", 3, True),
    (1.0, "correction_few_sessions", 2, False)])
def test_what_shows_no_error_in_common(low, kind, count, moves):
    scale = Estimate(value=1.02, low=low if low == 1.0 else 1.01, high=1.04, level=0.95, method="t")
    assert not_constant(count, SimpleNamespace(scale=scale, because=(SimpleNamespace(kind=kind),))) == moves


def test_it_is_told_first_though_the_zero_is_larger():
    size = Estimate(value=2.0, low=1.0, high=3.0, level=0.95, method="t")
    zero = Finding(cause="offset", size=size, unit="W", percent=2.5, strength=1.0, values={})
    values = dict.fromkeys(("lowest_percent", "highest_percent", "sessions", "furthest_percent", "furthest_session"),
                           1.0)
    moves = Finding(cause="sessions_differ", size=size, unit="%", percent=1.5, strength=1.0, values=values)
    for order, first in (((moves, zero), "the error changes"), ((zero, moves), "")):
        told = causes(SimpleNamespace(findings=order, pairs=(), verdict=FAILS))[0]
        assert told.startswith("the error changes from session to session") == bool(first)
