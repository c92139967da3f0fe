"""No two means over sessions stand side by side in a check: limits and faulty seconds have the weights of the mean."""

from dataclasses import replace

import numpy as np
import pytest

from agree import Pairs, check_claim
from agree.core.interval.over_sessions import weighted_means
from agree.estimators.limits.agreement import limits_of_agreement, limits_over
from agree.report.plain_text.details import details
from agree.report.story.tell import tell

MINUTES, ERRORS = (10, 10, 90), (1.0, 0.4, 3.0)


@pytest.fixture(scope="module")
def check():
    rng, pairs = np.random.default_rng(3), []
    for minutes, error in zip(MINUTES, ERRORS, strict=True):
        watts = 200 + 20 * np.sin(np.arange(60 * minutes) / 50) + rng.normal(0, 5, 60 * minutes)
        pairs.append(Pairs(reference=watts, device=watts * (1 + error / 100 + 0.01 * rng.normal(size=watts.size))))
    return check_claim(pairs, "2 %")


def test_limits_are_centred_on_the_mean_error(check):
    weight = np.array([10 / 15, 10 / 15, 90 / 95])
    assert check.limits.bias.value == pytest.approx(weight @ ERRORS / weight.sum(), abs=0.05)
    assert check.limits.bias.value == pytest.approx(check.bias.value, abs=0.02)
    assert check.limits.bias.low == pytest.approx(check.bias.low, abs=0.1)
    assert (check.limits.lower.value + check.limits.upper.value) / 2 == pytest.approx(check.limits.bias.value)


def test_details_say_what_the_limits_take_for_normal(check):
    for limits, told in ((check.limits, True), (replace(check.limits, sampling="serial"), False)):
        shown = replace(check, limits=limits)
        assert ("take the sessions' means as normal" in " ".join(details(shown, tell(shown)).split())) == told


def test_with_faults_is_the_mean_error_where_there_are_none(check):
    assert [check.bias_with_faults.value, check.bias_with_faults.low] == pytest.approx(
        [check.bias.value, check.bias.low], rel=1e-9)


def test_limits_over_weighted_sessions(rng):
    """The mean's pivots have its variance; equal sessions do not feel the weight; that of arrays is 0."""
    session = np.repeat(np.arange(4), (20, 20, 40, 360))
    error = rng.normal(size=4)[session] + rng.normal(size=session.size)
    found = limits_over(np.zeros(error.size), error, session, sampling="sessions", half_weight_n=10)
    means = np.array([error[session == k].mean() for k in range(4)])
    share = np.array([2 / 3, 2 / 3, 0.8, 36 / 37])
    share /= share.sum()
    between = share @ (means - share @ means) ** 2 / (1 - share @ share)
    within = share @ [error[session == k].var() for k in range(4)]
    assert found.sd == pytest.approx(np.sqrt(between + within))
    assert found.bias.standard_error == pytest.approx(weighted_means(means[None], share).guarded()[0, 0] ** 0.5)
    alike = np.repeat(np.arange(4), 110)
    plain = limits_of_agreement(np.zeros(440), error, session=alike)
    weighed = limits_over(np.zeros(440), error, alike, sampling="sessions", half_weight_n=10)
    assert (plain.upper.low, plain.upper.high) == pytest.approx((weighed.upper.low, weighed.upper.high), rel=1e-6)
