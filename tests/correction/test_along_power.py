"""A correction may not make a device wrong at a power at which it was right."""

import numpy as np
import pytest

from agree import Claim, Pairs, find_correction
from agree.correction.along_power import Stretches, harms, stretches
from agree.correction.rules import Rule
from agree.verdict.columns import table

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")
CLAIM = Claim.parse("1.5 %")


def rides(seed, reads, count, seconds=2400):
    """Sessions of blocks of 20 to 120 s at 100 to 350 W, with noise of 6 W and factors that differ by 0.3 %."""
    rng, pairs = np.random.default_rng(seed), []
    for _ in range(count):
        watts = np.repeat(rng.uniform(100, 350, 120), rng.integers(20, 120, 120))[:seconds]
        watts = watts + rng.normal(0, 8, watts.size)
        read = reads(watts) * (1 + 0.003 * rng.normal()) + rng.normal(0, 6, watts.size)
        pairs.append(Pairs(reference=watts, device=read))
    return pairs if count > 1 else pairs[0]


@pytest.mark.parametrize("sessions", [1, 3])
@pytest.mark.parametrize(("from_w", "percent"), [(300, -3), (200, -3), (150, -3), (250, 4)])
def test_a_device_that_is_exact_in_a_part_of_the_range_is_not_made_wrong_there(from_w, percent, sessions):
    for seed in range(2):
        found = find_correction(rides(seed, lambda watts: np.where(watts > from_w, 1 + percent / 100, 1) * watts,
                                      sessions), claim="1.5 %")
        assert found.action in ("none", "refused")


@pytest.mark.parametrize("sessions", [1, 3])
@pytest.mark.parametrize("reads", [lambda watts: 0.97 * watts, lambda watts: 0.97 * watts - 6, lambda watts: watts - 6,
                                   lambda watts: np.where(watts > 300, 0.95, 0.96) * watts])
def test_a_straight_error_is_still_entered(reads, sessions):
    assert all(find_correction(rides(seed, reads, sessions), claim="1.5 %").entered is not None for seed in range(2))


# HARM_ERRORS
@pytest.mark.parametrize(("error_w", "harmed"), [(3.99, True), (4.01, False)])
def test_how_sure_harm_must_be(error_w, harmed):
    """At 200 W, where it reads right, 4 % would be added: half of that is 4 W, or 1 standard error of 4 W."""
    both = np.array([200.0, 300.0])
    at = Stretches(both, np.array([200.0, 288.5]), np.full(2, error_w), np.array([0.2, 0.8]))
    assert harms(at, Rule(1.04, 0.0), CLAIM) == harmed


# MOST_HARMED_SHARE
@pytest.mark.parametrize(("share", "harmed"), [(0.245, False), (0.255, True)])
def test_how_much_may_be_worse_inside_the_claim(share, harmed):
    at = Stretches(np.array([200.0, 300.0]), np.array([200.0, 291.3]), np.full(2, 0.1), np.array([share, 1 - share]))
    assert harms(at, Rule(1.03, 0.0), Claim.parse("5 %")) == harmed


# HARM_CLAIM_SHARE
@pytest.mark.parametrize(("claim", "harmed"), [("3.74 %", True), ("3.76 %", False)])
def test_how_much_of_the_claim_an_error_that_grows_may_use(claim, harmed):
    at = Stretches(np.array([200.0, 300.0]), np.array([200.0, 291.3]), np.full(2, 0.1), np.array([0.1, 0.9]))
    assert harms(at, Rule(1.03, 0.0), Claim.parse(claim)) == harmed  # 3 % is four fifths of 3.75 %


# HARM_GROWTH_SHARE
@pytest.mark.parametrize(("claim", "harmed"), [("3.9 %", True), ("4.1 %", False)])
def test_by_how_much_of_the_claim_it_must_have_grown(claim, harmed):
    """From -2 % to +4 % at 200 W."""
    at = Stretches(np.array([200.0, 300.0]), np.array([196.0, 283.0]), np.full(2, 0.1), np.array([0.1, 0.9]))
    assert harms(at, Rule(1.0612, 0.0), Claim.parse(claim)) == harmed


def test_outside_the_claim_nothing_may_be_worse_but_below_its_level():
    at = Stretches(np.array([200.0, 300.0]), np.array([200.0, 291.3]), np.full(2, 0.1), np.array([0.1, 0.9]))
    assert harms(at, Rule(1.03, 0.0), CLAIM)
    assert harms(at, Rule(1.03, 0.0), None)
    assert not harms(at, Rule(1.03, 0.0), Claim.parse("1.5 % or 1 W above 250 W"))


@pytest.mark.parametrize(("seconds", "count"), [(299, 2), (300, 3), (2399, 23), (2400, 24), (5000, 24)])
def test_stretches_are_as_narrow_as_the_seconds_allow(rng, seconds, count):
    """LEAST_STRETCH_S, 100; MOST_STRETCHES, 24."""
    watts = np.linspace(100, 300, seconds)
    at = stretches(table(Pairs(reference=watts, device=watts + rng.normal(0, 1, seconds)), 30))
    assert at.reference.size == count
    assert at.share == pytest.approx(np.full(count, 1 / count), abs=1.1 / seconds)
    assert (np.diff(at.reference) > 0).all()


def test_the_standard_error_of_a_stretch_takes_in_that_errors_of_a_minute_go_together(rng):
    """Errors that are the same over each minute: of a stretch with n seconds of as many minutes, SD/sqrt(minutes)."""
    watts, off = np.repeat(rng.uniform(100, 300, 150), 240), np.repeat(rng.normal(0, 4, 600), 60)
    at = stretches(table(Pairs(reference=watts, device=watts + off), 30))
    alone = 4 / np.sqrt(36_000 / 24)  # if each second were by itself
    assert 2 * alone < at.u.mean() < 8 * alone
