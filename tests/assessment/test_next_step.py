"""What would settle an open answer: the amount named does so about as often as is said."""

import re

import numpy as np
import pytest

from agree import Pairs, check_claim
from agree.verdict.chance import Terms, chance
from agree.verdict.error_distribution import EXACT
from tests.rides import session

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.DriftWarning")
SD = 0.6


def exact(mean, sd, count):
    """Session errors in per cent with exactly this mean and SD."""
    z = np.linspace(-1, 1, count)
    return mean + sd * z / z.std(ddof=1)


def ride(error, seconds=120):
    """The same effort each time, so that sessions weigh alike."""
    watts = 200 + 80 * np.sin(np.arange(seconds) / 9)
    return Pairs(reference=watts, device=(1 + error / 100) * watts)


def test_sessions_named_settle_it_with_the_chance_named(rng):
    """Step from 4 sessions; then as many as it names, error and spread as found."""
    first = check_claim([ride(error) for error in exact(0.9, SD, 4)], "1.5 %")
    assert first.verdict == "not settled"
    found = re.fullmatch(r"About (\d+) sessions in all settle it with 80 % probability if they differ as these 4 do "
                         r"\(SD 0\.6 %\)\.", first.next_step)
    assert found is not None, first.next_step
    count, runs = int(found[1]), 60
    named, fewer = (float(chance("holds", n, 0.9, Terms(1.5, SD, EXACT, 0.95))) for n in (count, count - 1))
    assert fewer < 0.8 <= named
    settled = [check_claim([ride(error) for error in rng.normal(0.9, SD, count)], "1.5 %").verdict == "holds"
               for _ in range(runs)]
    assert abs(np.mean(settled) - named) < 3 * np.sqrt(named * (1 - named) / runs)


def test_near_the_limit_it_says_that_nothing_will(rng):
    check = check_claim([session(rng, scale=1 + e / 100, sd=0.1, seconds=600, label=str(k))
                         for k, e in enumerate(exact(1.49, SD, 4))], "1.5 %")
    assert check.next_step.startswith("The error found lies too near the limit of 1.5 % (inside)")


def test_minutes_named_for_one_recording(rng):
    pairs = session(rng, scale=1.004, sd=8.0, seconds=900)
    check = check_claim(pairs, "1.5 %")
    assert check.verdict == "not settled"
    found = re.match(r"About (\d+) min of such riding in all settle it with 80 % probability if the error stays as it "
                     r"is \(15 min so far\); ", check.next_step)
    assert found is not None, check.next_step
    assert 15 < int(found[1]) <= 150
