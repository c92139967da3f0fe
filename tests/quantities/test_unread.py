"""A device that reads nothing in part of a session, or of the range, gets no "holds" for the rest."""

import json

import jsonschema
import numpy as np
import pytest

from agree import check_quantity
from agree.core.quantities.known import quantity
from agree.quantities.overlay import lay_over
from agree.report.other_page import sheet_of
from agree.report.texts.quantity_text import quantity_text, told
from agree.schema.shipped import schema_text

N = 1800


def beats(n=N):
    rng = np.random.default_rng(1)
    t = np.arange(float(n))
    strap = 110 + 30 * np.sin(t / 120) + 10 * np.sin(t / 37) + rng.normal(0, 0.3, n)
    return t, strap, strap + 1 + rng.normal(0, 1.5, n)


def checked(t, x, y, claim="5 bpm", of="heart rate", **asked):
    return check_quantity(lay_over((t, x), (t, y), quantity(of), absolute=True), claim, **asked)


def kinds(check):
    return [note.kind for note in check.notes if note.severity == "answer"]


@pytest.mark.parametrize("nothing", [0, -1, 1, 255, np.nan])
@pytest.mark.parametrize("meaning", ["average", "readings", "mean_absolute"])
def test_a_sensor_blind_at_high_rates_does_not_hold(nothing, meaning):
    t, x, y = beats()
    y[y > 120] = nothing
    check = checked(t, x, y, meaning=meaning)
    assert (check.verdict, kinds(check)) == ("not settled", ["quantity_range_lost", "quantity_unread"])
    for part in filter(None, (check.as_recorded, check.taken_out)):
        assert all(item.verdict != "holds" for item in part.readings)
    first = " ".join(quantity_text(check).splitlines()[:5])
    assert "up to 119 bpm only" in first
    assert "gave no reading in 48 %" in first
    assert "up to 119 bpm only" in sheet_of(check).sentence
    found = json.loads(json.dumps(check.to_dict()))
    jsonschema.validate(found, json.loads(schema_text(2)))
    assert found["notes"][0]["kind"] == "quantity_range_lost"
    assert len(quantity_text(check).splitlines()) <= 16
    assert "in no figure" in dict(told(check))["Faults"]
    assert "in all figures" not in quantity_text(check)


def test_missing_rows_and_degrees():
    t, x, y = beats()
    seen = y <= 120
    over = lay_over((t, x), (t[seen], y[seen]), quantity("heart rate"), absolute=True)
    assert check_quantity(over, "5 bpm").verdict == "not settled"
    x, y = 37 + x / 100, 37 + y / 100
    check = checked(t, x, np.where(y > 38.2, 0, y), "0.3 °C", "core temperature")
    assert check.verdict == "not settled"
    assert "up to 38.1" in quantity_text(check)


# MOST_LEFT_OUT
@pytest.mark.parametrize(("more", "answer"), [(0, "holds"), (1, "not settled")])
def test_share_without_a_reading(more, answer):
    t, x, y = beats()
    lost = np.random.default_rng(2).permutation(np.arange(1, N - 1))[:360 + more]
    y[lost] = 0
    check = checked(t, x, y)
    assert (check.verdict, kinds(check)) == (answer, ["quantity_unread"] * more)


# LOST_S
@pytest.mark.parametrize(("seconds", "answer"), [(29, "holds"), (30, "not settled")])
@pytest.mark.parametrize("side", [-1, 1])
def test_an_end_of_the_range(seconds, answer, side):
    t, x, y = beats()
    inside = np.arange(5, N - 5)
    y[inside[np.argsort(side * x[inside])[-seconds:]]] = 0
    assert checked(t, x, y).verdict == answer


def test_what_lies_below_the_claims_range_is_not_asked():
    t, x, y = beats()
    y[x < 75] = 0
    assert checked(t, x, y).verdict == "not settled"
    assert checked(t, x, y, "5 bpm above 90 bpm").verdict == "holds"


# LEAST_TO_HOLD_S
@pytest.mark.filterwarnings("ignore::agree.core.errors.DriftWarning")  # an error of 10 min may seem to drift
@pytest.mark.parametrize(("seconds", "answer"), [(599, "not settled"), (600, "holds")])
def test_too_short(seconds, answer):
    check = checked(*beats(seconds), delay="device")
    assert (check.verdict, kinds(check)) == (answer, ["used_too_short"] * (answer != "holds"))


# LEAST_RIDE_SHARE
@pytest.mark.parametrize(("more", "answer"), [(-1, "not settled"), (0, "holds")])
def test_hardly_any_of_the_reference(more, answer):
    t, x, y = beats(9000)
    used = 900 + more
    check = check_quantity(lay_over((t, x), (t[:used], y[:used]), quantity("heart rate"), absolute=True), "5 bpm",
                           delay="device")
    assert (check.verdict, kinds(check)) == (answer, ["quantity_hardly_any"] * -more)


def test_faults_with_a_reading_are_told_from_those_without():
    t, x, y = beats()
    y[300:340] = 0
    y[900:1000] = y[900]
    text = " ".join(quantity_text(checked(t, x, y, "8 bpm")).split())
    assert "100 s of these are in all figures; 40 s have no reading and are in none." in text
