"""Claims and stated uncertainties, from the words people use."""

import math

import numpy as np
import pytest

from agree import Claim, InputError
from agree.verdict.reference import ReferenceUncertainty


@pytest.mark.parametrize(("text", "percent", "watts", "above", "shown"), [
    ("1.5%", 1.5, None, None, "±1.5 %"),
    ("±1.5 %", 1.5, None, None, "±1.5 %"),
    ("+/- 1,5 percent", 1.5, None, None, "±1.5 %"),
    ("2 W", None, 2, None, "±2 W"),
    ("± 2 watts", None, 2, None, "±2 W"),
    ("1.5 % or 2 W above 100 W", 1.5, 2, 100, "±1.5 % or ±2 W above 100 W"),
    ("2 W or ±1%", 1, 2, None, "±1 % or ±2 W"),
    ("  1 %   above 150W", 1, None, 150, "±1 % above 150 W"),
    ("1.5 % of 2000 W", None, 30, None, "±1.5 % of 2000 W"),
    (".5 %", 0.5, None, None, "±0.5 %"),
])
def test_grammar(text, percent, watts, above, shown):
    claim = Claim.parse(text)
    assert (claim.percent, claim.watts, claim.above_watts, claim.text) == (percent, watts, above, shown)
    assert Claim.parse(claim.text).to_dict() == claim.to_dict()


@pytest.mark.parametrize(("text", "message"), [
    ("good", "claim 'good' is not understood; write it like '1.5%', '2 W' or '1.5 % or 2 W above 100 W'"),
    ("1.5", "claim '1.5' is not understood; write it like '1.5%', '2 W' or '1.5 % or 2 W above 100 W'"),
    ("-1 %", "claim '-1 %' is not understood; write it like '1.5%', '2 W' or '1.5 % or 2 W above 100 W'"),
    ("1 % or 2 %", "claim '1 % or 2 %' gives two limits in one unit; write one in % and one in W"),
    ("0 %", "claim '0 %' must allow an error above 0 and below 100 %"),
    ("100 %", "claim '100 %' must allow an error above 0 and below 100 %"),
    ("0 % of 2000 W", "claim '0 % of 2000 W' must allow an error above 0 and below 100 %"),
    ("0 W", "claim '0 W' must allow an error above 0 and below 100 %"),
])
def test_grammar_refuses(text, message):
    with pytest.raises(InputError) as caught:
        Claim.parse(text)
    assert str(caught.value) == message


def test_larger_limit_counts():
    limit = Claim.parse("1 % or 2 W").limit_w(np.array([0, 100, 200, 300.0]))
    assert limit.tolist() == [2, 2, 2, 3]


@pytest.mark.parametrize(("stated", "percent", "watts"), [
    (None, 0, 0), (0, 0, 0), (1, 1 / math.sqrt(3), 0), ("±1.5 %", 1.5 / math.sqrt(3), 0), ("1 % k=2", 0.5, 0),
    ("1 %, k = 2", 0.5, 0), ("1 % (k=2)", 0.5, 0), ("3 W k=3", 0, 1), ("±2 W", 0, 2 / math.sqrt(3)),
])
def test_reference_uncertainty(stated, percent, watts):
    # ± a alone: u = a/sqrt(3), JCGM 100:2008, 4.3.7.
    read = ReferenceUncertainty.parse(stated)
    assert read.percent == pytest.approx(percent, rel=1e-12)
    assert read.watts == pytest.approx(watts, rel=1e-12)
    assert read.in_percent(200) == pytest.approx(percent + watts / 2)  # one of them is 0


@pytest.mark.parametrize(("stated", "message"), [
    ("small", "reference uncertainty 'small' is not understood; write it like '±1 %', '1 % k=2', '2 W' or "
     "'reads 0.3 % high ± 0.4 % k=2'"),
    (-1, "reference uncertainty must be 0 or more per cent; got -1"),
    (math.inf, "reference uncertainty must be 0 or more per cent; got inf"),
    ("1 % k=0", "reference uncertainty '1 % k=0' has the coverage factor 0; it must be positive"),
])
def test_reference_uncertainty_refuses(stated, message):
    with pytest.raises(InputError) as caught:
        ReferenceUncertainty.parse(stated)
    assert str(caught.value) == message


def test_calibration_and_loss_move_the_reference():
    read = ReferenceUncertainty.parse("reads 0.5 % low ± 0.4 % k=2; ±1 W", loss="2.5 ± 1 %")
    assert read.factor == pytest.approx(0.975 / 0.995)
    assert read.percent == pytest.approx(math.hypot(0.2, 1 / math.sqrt(3)))
    assert read.watts == pytest.approx(1 / math.sqrt(3))
    assert [term.name for term in read.terms] == ["calibration of the reference", "reference", "drivetrain loss"]
    assert ReferenceUncertainty.parse(None, loss="-2.5 ± 1 %").factor == pytest.approx(1.025)


@pytest.mark.parametrize("loss", ["2.5", "much", "2.5 ± 1 W"])
def test_loss_refuses(loss):
    with pytest.raises(InputError) as caught:
        ReferenceUncertainty.parse(None, loss=loss)
    assert str(caught.value) == f"drivetrain loss {loss!r} is not understood; write it like '2.5 ± 1 %'"
