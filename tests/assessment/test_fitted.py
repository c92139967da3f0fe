"""A copy corrected by what a ride showed, held against that same ride, proves nothing: no "holds", and it is said."""

import json
import warnings
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from agree import check_claim, pair_recordings
from agree.core.errors import AgreeWarning
from agree.core.results.note import Note
from agree.correction.copy import Change, corrected_copy
from agree.correction.history import correction_of, new_history
from agree.files.copy_history import history_of, history_path
from agree.report.notes.sentence import note_text
from agree.report.plain_text.screen import screen
from tests.rides import session

CHANGE = Change(0.98)


@pytest.fixture(scope="module")
def ride(tmp_path_factory):
    """Return a maker of rides: the two files of one, the device 2 % high."""
    folder = tmp_path_factory.mktemp("rides")

    def make(number):
        rng = np.random.default_rng(number)
        watts = 200 + np.convolve(rng.normal(0, 90, 704), np.ones(5) / 5, "valid")
        files = SimpleNamespace(reference=folder / f"r{number}.csv", device=folder / f"d{number}.csv")
        for path, factor in ((files.reference, 1), (files.device, 1.02)):
            rows = "".join(f"{k},{one:.1f}\n" for k, one in enumerate(factor * watts + rng.normal(0, 2, 700)))
            path.write_text(f"time_s,power_W\n{rows}", encoding="utf-8")
        return files
    return make


def result_of(rides, place):
    """Write what `agree check --json` writes, with a correction."""
    stored = {"claim": {"text": "±1.5 %"}, "verdict": "does not hold",
              "correction": {"action": "scale", "stable": True, "entered": {"scale": 0.98, "offset_w": 0.0}},
              "sessions": [pair_recordings(item.reference, item.device).to_dict() for item in rides]}
    place.write_text(json.dumps(stored), encoding="utf-8")
    return place


def copy_of(item, folder, ground):
    """Write a corrected copy and its history."""
    made, copy = corrected_copy(item.device, CHANGE), folder / f"{item.device.stem}-corrected.csv"
    copy.write_bytes(made.content)
    history_path(copy).write_text(new_history(item.device, copy, made, CHANGE, ground, version="0", command=[]),
                                  encoding="utf-8")
    return SimpleNamespace(reference=item.reference, device=copy)


def checked(item):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # twelve minutes of chance may look like a drift
        return check_claim(pair_recordings(item.reference, item.device), "1.5 %")


def said(check, kind):
    return [note_text(note) for note in check.notes if isinstance(note, Note) and note.kind == kind]


def test_a_copy_on_the_ride_it_was_fitted_to_is_not_answered_holds(ride, tmp_path):
    own, other = ride(1), ride(2)
    _, ground = correction_of(result_of([own], tmp_path / "result.json"))
    check = checked(copy_of(own, tmp_path, ground))
    assert check.verdict == "not settled"
    assert {item.verdict for item in check.readings} <= {"not settled", "does not hold"}
    assert said(check, "copy_of_its_own_ride") == [
        "the correction in the copy was found on this ride itself: that the two agree now proves nothing."]
    assert note_text(check.next_step) == "a ride that the correction was not found on."
    assert "The correction in the copy was found on this ride itself" in " ".join(screen(check).split())
    elsewhere = checked(copy_of(other, tmp_path, ground))
    assert elsewhere.verdict == "holds"
    assert not said(elsewhere, "copy_of_its_own_ride")
    assert "corrected by what other rides showed" in " ".join(
        note_text(note) for note in elsewhere.pairs[0].notes)


def test_a_copy_renamed_is_found_by_its_content_and_by_the_reference_of_the_ride(ride, tmp_path):
    own = ride(1)
    _, ground = correction_of(result_of([own], tmp_path / "result.json"))
    copy = copy_of(own, tmp_path, ground)
    renamed = copy.device.rename(tmp_path / "day.csv")
    assert history_of(renamed)["correction"]["scale"] == 0.98
    assert checked(SimpleNamespace(reference=own.reference, device=renamed)).verdict == "not settled"
    del ground["inputs"]  # as a result of an earlier version: by the names then
    assert checked(copy_of(own, tmp_path, ground)).verdict == "not settled"


def test_a_factor_given_by_hand_may_come_from_this_ride(ride, tmp_path):
    check = checked(copy_of(ride(1), tmp_path, {}))
    assert check.verdict == "not settled"
    assert said(check, "copy_by_hand") == [
        "the recording is a copy corrected by hand: if its factor was found on this very ride, that the two agree "
        "proves nothing."]
    assert "agree correct --from RESULT.json" in note_text(check.next_step)


def test_of_several_sessions_those_are_named_and_what_is_left_counts(rng):
    def note(origin):
        return Note(kind="pair_corrected_copy", role="device", values={
            "scale": 0.98, "offset_w": 0.0, "origin": origin, "source": "d.csv"})

    origins = ["other rides", "this ride", "", "this ride"]
    pairs = [replace(session(rng, seconds=300, label=str(k)), notes=(note(origin),) if origin else ())
             for k, origin in enumerate(origins, 1)]
    check = check_claim(pairs, "5 %")
    assert check.verdict == "not settled"
    assert said(check, "copy_of_its_own_ride")[0].startswith("the correction in the copy was found on sessions 2 and 4")
    assert note_text(check.next_step) == "leave out sessions 2 and 4; the other 2 count as evidence."
    assert check_claim([pairs[0], pairs[2]], "5 %").verdict == "holds"


def test_a_device_that_fails_all_the_same_is_told_so(ride, tmp_path):
    own = ride(1)
    copy = copy_of(own, tmp_path, {})
    copy.device.write_bytes(corrected_copy(own.device, Change(1.03)).content)
    check = checked(copy)
    assert check.verdict == "does not hold"
    assert said(check, "copy_by_hand")
