"""An error is one clear line with the argument it speaks of, as it is and after it was sent to another process."""

from __future__ import annotations

import copy
import math
import pickle

import pytest

import agree
from agree import AgreeError, InputError, MatchError, Recording, SampleSizeError
from agree.core.quantities.known import HEART_RATE
from agree.core.results.plain import cell_text, plain_name
from agree.study.tables import csv_text


@pytest.mark.parametrize("kind", [AgreeError, InputError, MatchError, SampleSizeError])
def test_option_and_code_survive(kind):
    error = kind("ride.csv: found x", option="power_column", code="no_column")
    for again in (error, pickle.loads(pickle.dumps(error)), copy.deepcopy(error)):
        assert (type(again), str(again), again.option, again.code) == (
            kind, "ride.csv: found x", "power_column", "no_column")
    assert (kind("x").option, kind("x").code) == ("", "")


@pytest.mark.parametrize(("name", "plain"), [
    ("ride", "ride"), ("Ünïcödé 🚲", "Ünïcödé 🚲"), ("a\x1b[31mb", "a?[31mb"), ("a\u202eb\u2066c", "a?b?c"),
    ("a\nb\tc", "a b c"),
    ("a\u00a0b", "a b"), ("a\x9b31mb\x00", "a?31mb?"), ("\udce4", "?"), ("\ue000", "?"), (7, "7")])
def test_plain_names(name, plain):
    assert plain_name(name) == plain
    assert plain_name(name).isprintable()


@pytest.mark.parametrize(("cell", "text"), [
    ("=cmd|' /C calc'!A0", "'=cmd|' /C calc'!A0"), ("+1+cmd", "'+1+cmd"), ("@SUM(1)", "'@SUM(1)"), ("-x", "'-x"),
    ("\t=1", "' =1"), ("-2.5", "-2.5"), ("+3", "+3"), ("unit-7", "unit-7"), ("a\x1b[2J\u202e", "a?[2J?"), (7, "7")])
def test_cells_of_a_csv_file_are_no_formulas(cell, text):
    assert cell_text(cell) == text
    assert csv_text([cell], [[cell]]).splitlines() == [text, text]


def test_a_recording_of_another_quantity():
    found = Recording(time=[0, 1, 2], heart_rate=[120, 121, float("nan")], quantity=HEART_RATE, name="a\x1bb")
    assert (found.unit, found.values[1], found.power, found.name) == ("bpm", 121, None, "a?b")
    with pytest.raises(InputError, match="`heart_rate` is needed: the readings of heart rate") as caught:
        Recording(time=[0, 1, 2], power=[1, 2, 3], quantity=HEART_RATE)
    assert caught.value.option == "heart_rate"
    with pytest.raises(ValueError, match="read-only"):
        found.values[0] = 7


@pytest.mark.parametrize(("call", "argument"), [
    (lambda: agree.limits_of_agreement([1, 2, 3], [1, 2, 4], level=95), "level"),
    (lambda: agree.limits_of_agreement([1, 2, 3], [1, 2, 4], sampling="serially"), "sampling"),
    (lambda: agree.limits_of_agreement([1, 2, 3], ["a", 2, 4]), "device"),
    (lambda: agree.limits_of_agreement([1, 2, math.nan], [1, 2, 4]), "reference"),
    (lambda: agree.limits_of_agreement([1, 2, 3], [1, 2, 4], sampling="sessions"), "session"),
    (lambda: agree.bias_by_band([1, 2, 3], [1, 2, 4], edges=[3, 1]), "edges"),
    (lambda: agree.Pairs(reference=[200.0] * 3, device=[1.0, 2.0]), "device"),
])
def test_an_error_carries_the_argument_it_speaks_of(call, argument):
    with pytest.raises(InputError) as caught:
        call()
    assert caught.value.option == argument
    assert f"`{argument}`" in str(caught.value)


@pytest.mark.parametrize("name", [name for name in agree.__all__ if isinstance(getattr(agree, name), type)
                                  and issubclass(getattr(agree, name), Exception)])
def test_every_error_and_warning_says_what_is_near_and_shows_itself(name):
    text = getattr(agree, name).__doc__
    assert "See Also\n" in text
    assert ">>> " in text
