"""Fewer than half of the seconds above some power are lost: how wrong the device need be in them is said."""

import numpy as np
import pytest

from agree import Pairs, check_claim
from agree.report.html.document import html_text
from agree.report.page.compose import metadata
from agree.report.page.head import claim_title
from agree.report.plain_text.screen import screen
from agree.report.story.provenance import Provenance

pytestmark = pytest.mark.filterwarnings("ignore::agree.core.errors.AgreeWarning")


def checked(rng, chosen, n=3600, bias=1.0):
    """A device that misses some seconds."""
    true = 200 + 80 * np.sin(np.arange(n) / 80) + rng.normal(0, 5, n)
    device = np.where(chosen(true), np.nan, bias * true + rng.normal(0, 2, n))
    return check_claim(Pairs(reference=true, device=device, time=np.arange(float(n))), "1.5 %")


def thin(check):
    return next((note.values for note in check.notes if getattr(note, "kind", "") == "range_thin"), None)


def test_a_third_of_the_hard_seconds_is_missing(rng):
    check = checked(rng, lambda true: (true > np.percentile(true, 67)) & (rng.random(true.size) < 0.3))
    values = thin(check)
    assert check.verdict == "holds"
    assert values["percent"] == pytest.approx(30, abs=4)
    assert values["needed"] == pytest.approx(1.5 / (values["percent"] / 100), abs=0.3)  # right where it reads
    text = " ".join(screen(check).split())
    assert f"W is missing or faulty: were the device {values['needed']:.2g} % wrong in it, the claim would not" in text


def test_what_chance_scatters_is_like_the_rest(rng):
    assert thin(checked(rng, lambda true: rng.random(true.size) < 0.25)) is None


def test_a_lost_end_is_said_otherwise(rng):
    check = checked(rng, lambda true: true > np.percentile(true, 85))
    assert thin(check) is None
    lost = next(note.values for note in check.notes if getattr(note, "kind", "") == "range_lost")
    said = f"±1.5 % below {lost['watts']:g} W only"
    assert said in screen(check)
    provenance = Provenance(command=("agree", "check", "a.csv", "b.csv"))
    assert said in claim_title(check)
    assert f"<title>Accuracy claim {said}: {check.verdict}" in html_text(check, provenance)
    assert metadata(check)["Title"] == f"Accuracy claim {said}: {check.verdict}"


# THIN_SHARE
@pytest.mark.parametrize(("share", "said"), [(0.112, True), (0.092, False)])
def test_the_share_from_which_on_it_is_said(rng, share, said):
    def some(true):
        hard = np.flatnonzero(true >= np.percentile(true, 68))
        mask = np.zeros(true.size, bool)
        mask[rng.permutation(hard)[:round(share * hard.size)]] = True
        return mask
    assert (thin(checked(rng, some)) is not None) == said


# LOST_S
@pytest.mark.parametrize(("seconds", "said"), [(30, True), (29, False)])
def test_the_seconds_from_which_on_it_is_said(rng, seconds, said):
    def some(true):
        mask = np.zeros(true.size, bool)
        mask[rng.permutation(np.flatnonzero(true >= np.percentile(true, 75)))[:seconds]] = True
        return mask
    assert (thin(checked(rng, some, n=600)) is not None) == said
