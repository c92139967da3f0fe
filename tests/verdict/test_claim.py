"""Claims and stated uncertainties, from the words people use."""

import math

import numpy as np
import pytest

from agree import Claim, InputError, check_claim, find_correction, plan
from agree.core.quantities.known import quantity
from agree.verdict.reference import ReferenceUncertainty
from tests.rides import session


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
    ("1.5", "claim '1.5' has no unit; write '1.5 %' for per cent of the reading, or '1.5 W' for watts"),
    ("±2", "claim '±2' has no unit; write '2 %' for per cent of the reading, or '2 W' for watts"),
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


@pytest.mark.parametrize("stated", ["1 %, 2 W", "1 % and 2 W", "1 % + 2 W"])
def test_terms_joined_otherwise_are_refused_with_the_sign_that_joins_them(stated):
    with pytest.raises(InputError, match="join several by a semicolon, as in '±1 %; 2 W'"):
        ReferenceUncertainty.parse(stated)
    assert len(ReferenceUncertainty.parse("±1 %; 2 W").terms) == 2


@pytest.mark.parametrize(("stated", "message"), [
    ("small", "reference uncertainty 'small' is not understood; write it like '±1 %', '1 % k=2', '2 W' or "
     "'reads 0.3 % high ± 0.4 % k=2', and join several by a semicolon, as in '±1 %; 2 W'"),
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


@pytest.mark.parametrize(("text", "percent", "absolute", "unit", "above", "shown"), [
    ("2 cm", None, 2, "cm", None, "±2 cm"), ("5 bpm", None, 5, "bpm", None, "±5 bpm"),
    ("0.1 s", None, 0.1, "s", None, "±0.1 s"), ("± 2 points", None, 2, "points", None, "±2 points"),
    ("2 % points", None, 2, "points", None, "±2 points"), ("10 % or 5 bpm", 10, 5, "bpm", None, "±10 % or ±5 bpm"),
    ("0,3 °C", None, 0.3, "°C", None, "±0.3 °C"), ("1.1 cm above 20 cm", None, 1.1, "cm", 20, "±1.1 cm above 20 cm"),
    ("2 cm above 0.3 m", None, 2, "cm", 30, "±2 cm above 0.3 m"),
    ("1 % of 20 Nm", None, 0.2, "Nm", None, "±1 % of 20 Nm"),
    ("3 au", None, 3, "au", None, "±3 au"),
])
def test_any_unit(text, percent, absolute, unit, above, shown):
    claim = Claim.parse(text)
    assert (claim.percent, claim.absolute, claim.absolute_unit, claim.above, claim.text) == (
        percent, pytest.approx(absolute), unit, above, shown)
    assert claim.plain_dict() == Claim.parse(claim.text).plain_dict()


@pytest.mark.parametrize(("text", "of", "column", "message"), [
    ("1 %", "core temperature", "", "claim '1 %': core temperature has no natural zero, so per cent of it means "
     "nothing; write it in °C, like '0.3 °C'"),
    ("1 %", "°F", "", "claim '1 %': a reading in °F has no natural zero, so per cent of it means nothing; write it in "
     "°F, like '0.3 °F'"),
    ("5 bpm", "cm", "mat_cm", "claim '5 bpm': column 'mat_cm' is in cm; write the claim in cm or %"),
    ("2 cm", "power", "", "claim '2 cm': power is in W; write the claim in W or %"),
    ("1 % or 2 cm", "power", "", "claim '1 % or 2 cm': power is in W; write the claim in W or %"),
    ("2 %", "balance", "", "claim '2 %': balance is a per cent itself, so per cent of it misleads; write it in points, "
     "like '2 points'"),
    ("2 W", "balance", "bal", "claim '2 W': column 'bal' is in %; write the claim in points"),
    ("5 s/km", "pace", "", "claim '5 s/km': pace is judged as speed, since s/km is not the same difference at every "
     "level; write the claim in % or km/h"),
    ("3 procent", "power", "", "claim '3 procent': power is in W; write the claim in W or %"),
])
def test_a_claim_must_fit_what_is_measured(text, of, column, message):
    with pytest.raises(InputError) as caught:
        Claim.parse(text).for_quantity(quantity(of), column)
    assert str(caught.value) == message


def test_units_of_claims_convert():
    assert Claim.parse("2 cm above 0.3 m").for_quantity(quantity("m")).plain_dict() == {
        "text": "±2 cm above 0.3 m", "percent": None, "absolute": 0.02, "unit": "m", "above": pytest.approx(0.3)}
    assert Claim.parse("0.54 °F").for_quantity(quantity("core temperature")).absolute == pytest.approx(0.3)
    assert Claim.parse("1 km/h").for_quantity(quantity("pace")).absolute_unit == "m/s"
    assert Claim.parse("1.5 %").for_quantity(quantity("cm")).absolute is None


def test_a_level_in_another_unit():
    with pytest.raises(InputError) as caught:
        Claim.parse("2 cm above 100 W")
    assert str(caught.value) == "claim '2 cm above 100 W' names a level in W, its limit in cm; write both in one unit"


@pytest.mark.parametrize(("loss", "refused"), [("30 ± 1 %", False), ("30.1 ± 1 %", True), ("-30.1 ± 1 %", True),
                                               ("-300 ± 1 %", True), ("2.5 ± 31 %", True)])
def test_a_loss_that_no_drivetrain_has(loss, refused):
    if not refused:
        assert ReferenceUncertainty.parse(None, loss=loss).factor == pytest.approx(0.7)
        return
    with pytest.raises(InputError) as caught:
        ReferenceUncertainty.parse(None, loss=loss)
    assert str(caught.value) == (
        f"drivetrain loss {loss!r} is more than any drivetrain loses; expected a share of the power from -30 to 30 %, "
        "such as '2.5 ± 1 %' (a chain loses 1 to 5 %)")


@pytest.mark.parametrize(("stated", "refused"), [("±50 %", False), ("±51 %", True), ("reads 50 % low ± 1 %", False),
                                                 ("reads 51 % low ± 1 %", True), ("reads 1 % low ± 51 %", True)])
def test_a_reference_that_is_none(stated, refused):
    if not refused:
        assert ReferenceUncertainty.parse(stated).terms
        return
    with pytest.raises(InputError, match="is no reference's: expected"):
        ReferenceUncertainty.parse(stated)


@pytest.mark.parametrize(("level", "refused"), [(0.5, False), (0.499, True), (0.01, True)])
def test_a_level_that_settles_nothing(rng, level, refused):
    if not refused:
        assert check_claim(session(rng, seconds=600), "1.5 %", level=level).level == level
        return
    for call in (lambda: check_claim(session(rng, seconds=600), "1.5 %", level=level),
                 lambda: find_correction(session(rng, seconds=600), level=level), lambda: plan("1.5 %", level=level)):
        with pytest.raises(InputError) as caught:
            call()
        assert str(caught.value) == (
            "`level` must be 0.5 or more, such as 0.95, since an interval that misses more often than it holds settles "
            f"nothing; got {level:g} (= {100 * level:g} %)")
