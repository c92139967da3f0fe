"""What is said beside a mean error and its interval is true of these."""

from dataclasses import replace

import pytest

from agree.correction.entered import Judged
from agree.correction.find import action_of
from agree.report.notes.sentence import note_text
from agree.report.story.doubt import main_doubt
from agree.report.story.enter import to_enter
from agree.verdict.columns import table
from agree.verdict.reference import ReferenceUncertainty
from tests.report.made import item, made

SOME = Judged("scale", None, [], 0.1, 0.2, 0.5, False)


@pytest.mark.parametrize(("value", "half", "stated", "said"), [
    (0.1, 0.15, None, "the mean error is at most 0.3 %"),
    (-0.1, 0.15, "0.5 %", "the error is not shown to differ from 0 (a correction of -0.41 to +0.61 % would fit)"),
    (-0.1, 2.3, None, "the error is not shown to differ from 0 (a correction of -2.2 to +2.4 % would fit)"),
    (0.2, 0.15, None, "a mean error of +0.2 % is too small to correct")])
def test_a_mean_error_is_called_small_only_where_its_interval_is(value, half, stated, said):
    data = table(made(0.1, 0.1, sessions=3).pairs, 30)
    action, why = action_of(data, "none", item(value, half), SOME, ReferenceUncertainty.parse(stated))
    assert (action, note_text(why)) == ("none", said)


@pytest.mark.parametrize(("kind", "more"), [("correction_small", {"percent": 0.3}),
                                            ("correction_small_value", {"error": 0.2})])
def test_a_ground_that_is_of_the_settled_part_says_so(kind, more):
    fix = made(0.1, 0.1, sessions=3).correction
    fix = replace(fix, reason=replace(fix.reason, kind=kind, values={**more, "beside": "warm_up"}))
    assert to_enter(fix)[0].endswith(" after the warm-up.")


# MOSTLY_WITHIN: the errors below have an SD of 0.6 %
@pytest.mark.parametrize(("spread", "said"), [(0.29, "(\u22121.3 to \u22120.1 %), mostly by what changes within each"),
                                              (0.31, "(SD 0.3 %)")])
def test_a_spread_far_below_that_of_the_errors_shown(spread, said):
    check = made(-0.7, 1.6, sessions=3, errors=(-1.3, -0.1, -0.7))
    check = replace(check, effects=replace(check.effects, between_sd=spread), budget=check.budget[::-1])
    assert said in main_doubt(check)[0]
