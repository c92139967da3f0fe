"""A device that does not follow the reference gets no "holds", and what wanders with the level is in the interval."""

import numpy as np
import pytest

from agree import check_quantity
from agree.core.quantities.known import quantity
from agree.quantities.doubts.unlike import unlike
from agree.quantities.overlay import lay_over
from agree.report.texts.quantity_text import quantity_text
from agree.verdict.claim import Claim

N = 2400
T = np.arange(float(N))
HEART = np.round(140 + 22 * np.sin(T / 250) + 5 * np.sin(T / 41))
LEVEL = float(HEART.mean())


def checked(x, y, claim="5 bpm", of="heart rate", **asked):
    return check_quantity(lay_over((T, x), (T, y), quantity(of), absolute=True), claim, **asked)


def kinds(check):
    return [note.kind for note in check.notes if note.severity == "answer"]


def noise(sd, seed=1):
    return np.random.default_rng(seed).normal(0, sd, N)


@pytest.mark.filterwarnings("ignore::agree.core.errors.DriftWarning")
def test_random_numbers_about_one_level_do_not_hold():
    check = checked(HEART, np.round(LEVEL + noise(3)))
    assert (check.verdict, kinds(check)) == ("not settled", ["quantity_unlike"])
    error = check.as_recorded.of("average").estimate
    assert error.high - error.low > 8  # quarters are off by up to 16 bpm
    text = quantity_text(check)
    assert "does not follow the reference" in " ".join(text.splitlines()[:3])
    assert "none is needed" not in text
    assert "Next: " in text


@pytest.mark.filterwarnings("ignore::agree.core.errors.DriftWarning")
@pytest.mark.parametrize(("of", "x", "claim"), [
    ("heart rate", HEART, "5 bpm"), ("core temperature", 38 + (HEART - LEVEL) / 50, "0.3 °C"),
    ("oxygen uptake", 2.5 + (HEART - LEVEL) / 50, "5 %"), ("balance", 51 + (HEART - LEVEL) / 20, "2 points")])
@pytest.mark.parametrize("meaning", ["average", "mean_absolute"])
def test_one_value_does_not_hold(of, x, claim, meaning):
    check = checked(x, np.full(N, round(float(x.mean()), 1)), claim, of, meaning=meaning)
    assert "holds" not in [check.verdict, *(item.verdict for item in check.as_recorded.readings)]
    assert kinds(check) == ["quantity_still"]
    assert "stands still" in " ".join(quantity_text(check).splitlines()[:3])


@pytest.mark.filterwarnings("ignore::agree.core.errors.DriftWarning")
def test_an_error_that_goes_with_the_level_wanders():
    check = checked(HEART, LEVEL + 0.6 * (HEART - LEVEL))
    error = check.as_recorded.bias
    assert error.high - error.low > 4
    assert error.low < 0 < error.high


# LEAST_FOLLOWS
@pytest.mark.filterwarnings("ignore::agree.core.errors.DriftWarning")
@pytest.mark.parametrize(("part", "found"), [(0.38, ["quantity_unlike"]), (0.42, [])])
def test_least_following(part, found):
    own = (HEART - LEVEL) / np.std(HEART)
    other = np.cos(T / 97 + 1)
    other = (other - other.mean()) / other.std()
    other -= own * float((own * other).mean())
    y = LEVEL + 15 * (part * own + np.sqrt(1 - part**2) * other)
    lined_up = lay_over((T, HEART), (T, y), quantity("heart rate"), absolute=True)
    assert [note.kind for note in unlike([lined_up], [0.0], Claim.parse("5 bpm"))] == found


# STILL_SHARE, STILL_MOVES
@pytest.mark.parametrize(("share", "moves", "found"), [
    (0.91, 1.3, ["quantity_still"]), (0.89, 1.3, []), (0.91, 1.2, [])])
def test_standing_still(share, moves, found):
    wave = np.sin(T / 250)
    x = 140 + wave * moves / float(np.std(wave))
    y = np.where(np.random.default_rng(3).permutation(N) < share * N, 140.0, x + 0.123)
    assert kinds(checked(x, y)) == found


def test_a_steady_effort_needs_no_following():
    check = checked(140 + np.convolve(noise(8), np.ones(60) / 60, "same"), 140 + noise(2, 2))
    assert (check.verdict, kinds(check)) == ("holds", [])
