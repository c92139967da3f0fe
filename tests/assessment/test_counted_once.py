"""In one check each figure is computed once: calls are counted."""

import pytest

from agree import check_claim
from agree.assessment import claim_check
from agree.correction import find
from agree.estimators.lines.passing_bablok import passing_bablok_line
from agree.verdict import meanings
from tests.rides import session

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


@pytest.fixture
def calls(monkeypatch):
    found = {}

    def counted(module, name):
        original = getattr(module, name)

        def wrapper(*args, **more):
            found[name] = found.get(name, 0) + 1
            return original(*args, **more)

        monkeypatch.setattr(module, name, wrapper)

    counted(claim_check, "fitted_line")
    counted(find, "fitted_line")
    counted(meanings, "average")
    counted(claim_check, "judge_bands")
    counted(claim_check, "table")
    return found


@pytest.mark.parametrize("count", [1, 3])
def test_one_check_computes_each_once(rng, calls, count):
    pairs = [session(rng, seconds=900, sd=1.0, label=str(k), scale=1 + k / 2000) for k in range(count)]
    check = check_claim(pairs if count > 1 else pairs[0], "1.5 %")
    assert check.correction.action == "none"  # nothing is corrected, so that nothing is judged again after it
    assert calls == {"fitted_line": 1, "average": 1, "judge_bands": 1, "table": 1}


def test_one_mean_error_has_one_interval(rng):
    check = check_claim([session(rng, seconds=900, sd=1.0, label=str(k), scale=1 + k / 500) for k in range(3)], "1.5 %")
    own, effects, scale = check.reading.own, check.effects.mean, check.correction.scale
    assert (own.value, own.low, own.high) == pytest.approx((check.bias.value, check.bias.low, check.bias.high))
    assert (own.value, own.low, own.high) == pytest.approx((effects.value, effects.low, effects.high))
    assert (100 / scale.value - 100, 100 / scale.high - 100, 100 / scale.low - 100) == pytest.approx(
        (own.value, own.low, own.high))
    ahead = check.readings[3].own
    assert ahead.value == pytest.approx(own.value)


def test_lines_and_mean_weigh_sessions_alike(rng):
    """10 min without an error beside an hour of +2 %: the mean is 1.16 %; with equal weights lines had 1.0 %."""
    check = check_claim([session(rng, seconds=600, sd=0.1), session(rng, seconds=3600, sd=0.1, scale=1.02)], "1.5 %")
    assert check.bias.value == pytest.approx(1.16, abs=0.02)
    slope, intercept = check.deming.slope.value, check.deming.intercept.value
    assert 100 * (slope + intercept / 220.0 - 1) == pytest.approx(check.bias.value, abs=0.03)
    robust = check.passing_bablok
    labels = (robust.device > 1.01 * robust.reference).astype(int)
    again = passing_bablok_line(robust.reference, robust.device, labels, sampling="sessions", half_weight_n=10.0)
    assert (again.intercept.value, again.slope.low) == (robust.intercept.value, robust.slope.low)
    alike = passing_bablok_line(robust.reference, robust.device, labels, sampling="sessions")
    assert alike.intercept.value != robust.intercept.value
