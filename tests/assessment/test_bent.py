"""A device that is wrong in a part of its range only gets nothing to enter: a factor would make the rest wrong."""

import numpy as np
import pytest

from agree import Pairs, check_claim
from agree.report.notes.sentence import note_text
from agree.report.plain_text.screen import screen

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


@pytest.fixture
def ride(rng):
    """An hour of blocks of 100 to 300 W with a sprint of 12 s at 800 W every 3 min."""
    watts = np.repeat(rng.uniform(100, 300, 60), 60)
    for start in range(100, 3600, 180):
        watts[start:start + 12] = 800
    return watts


def checked(rng, ride, device):
    return check_claim(Pairs(reference=ride + rng.normal(0, 3, ride.size), device=device + rng.normal(0, 3, ride.size)),
                       "1.5 %")


def test_wrong_in_sprints_alone(rng, ride):
    check = checked(rng, ride, np.where(ride > 700, 0.93 * ride, ride))
    assert {item.cause for item in check.findings} >= {"bend"}
    assert (check.correction.action, check.correction.reason.kind) == ("refused", "correction_bend")
    assert "no single factor or zero brings the whole range inside the claim" in " ".join(screen(check).split())


def test_wrong_above_a_kink(rng, ride):
    blocks = np.minimum(ride, 300)
    check = checked(rng, blocks, np.where(blocks > 220, 0.9 * blocks, blocks))
    assert (check.verdict, check.correction.action) == ("does not hold", "refused")


@pytest.mark.parametrize(("scale", "offset", "action"), [
    (0.96, 0, "scale"), (1, 9, "offset"), (0.95, 12, "scale and offset")])
def test_a_straight_line_is_entered(rng, ride, scale, offset, action):
    check = checked(rng, ride, scale * ride + offset)
    assert check.correction.action == action


def test_a_slight_bend_that_a_line_brings_inside_the_claim_is_corrected(rng):
    """An error of 6 % at 300 W and 0.5 % at 100 W, bent a little: after the line every band holds."""
    watts = np.repeat(rng.uniform(100, 300, 60), 60)
    check = checked(rng, watts, watts * (1 + 0.06 * ((watts - 60) / 240) ** 1.2))
    assert any(item.cause == "bend" for item in check.findings)
    assert check.correction.after.verdicts["bands"] == "holds"
    assert check.correction.action == "scale and offset"
    assert "clearly the lowest error" in note_text(check.correction.reason)
