"""Every source gives the same recording: path, bytes, file object, frame, arrays; each is read once and is named."""

from __future__ import annotations

import gzip
import hashlib
import io

import numpy as np
import pandas as pd
import pytest

from agree import InputError, Pairs, look, pair_recordings, read_recording
from agree.files import source as source_module

TEXT = b"time,power,cadence\n" + b"".join(b"%d,%d,%d\n" % (k, 200 + k % 9, 80 + k % 5) for k in range(30))
FRAME = pd.DataFrame({"time": range(30), "power": [200 + k % 9 for k in range(30)],
                      "cadence": [80 + k % 5 for k in range(30)]})


class Unnamed:
    """Anything with a method read."""

    def __init__(self, data):
        self.data, self.calls = data, 0

    def read(self, size=-1):
        self.calls += 1
        return self.data[:size]


@pytest.mark.parametrize("make", [
    lambda file: file, str, lambda file: file.read_bytes(), lambda file: bytearray(file.read_bytes()),
    lambda file: memoryview(file.read_bytes()), lambda file: io.BytesIO(file.read_bytes()),
    lambda file: Unnamed(file.read_bytes()), lambda file: gzip.compress(file.read_bytes()),
    lambda file: FRAME, lambda file: {name: FRAME[name].to_numpy() for name in FRAME}])
def test_the_same_recording_from_all(tmp_path, make):
    file = tmp_path / "ride.csv"
    file.write_bytes(TEXT)
    found, whole = read_recording(make(file), name="ride"), read_recording(file)
    for name in ("time", "power", "cadence"):
        np.testing.assert_array_equal(getattr(found, name), getattr(whole, name))
    assert (found.name, found.columns) == ("ride", whole.columns)
    assert look(make(file)).rows == 30


def test_an_open_file(tmp_path):
    (tmp_path / "ride.csv").write_bytes(TEXT)
    with (tmp_path / "ride.csv").open("rb") as file:
        found = read_recording(file)
        assert not file.closed
    assert (found.name, found.identity.name) == ("ride", "ride.csv")
    with (tmp_path / "ride.csv").open(encoding="utf-8") as file, pytest.raises(InputError, match="in mode 'rb'"):
        read_recording(file)
    with pytest.raises(InputError, match="found a file object that cannot be read"):
        read_recording(file)
    with pytest.raises(InputError, match=r"whose read\(\) gives int; expected bytes"):
        read_recording(type("Odd", (), {"read": lambda self, size: 7})())


def test_identity_is_of_the_bytes_given(tmp_path):
    packed = gzip.compress(TEXT, mtime=0)
    (tmp_path / "ride.csv.gz").write_bytes(packed)
    found = read_recording(tmp_path / "ride.csv.gz").identity
    assert (found.name, found.size_bytes, found.sha256) == (
        "ride.csv.gz", len(packed), hashlib.sha256(packed).hexdigest())
    assert read_recording(TEXT).identity.sha256 == hashlib.sha256(TEXT).hexdigest()
    assert read_recording(FRAME).identity.sha256 == read_recording(FRAME.copy()).identity.sha256
    assert read_recording(FRAME).identity.sha256 != read_recording(FRAME.iloc[::1].assign(power=1)).identity.sha256


def test_two_columns_of_one_file_object_are_read_once(rng):
    power = 200 + np.cumsum(rng.integers(-9, 10, 900))
    data = b"time,a,b\n" + b"".join(b"%d,%d,%d\n" % (k, w, w + 3) for k, w in enumerate(power))
    file = Unnamed(data)
    pairs = pair_recordings(file, None, power_columns=("a", "b"))
    assert file.calls == 1
    assert isinstance(pairs, Pairs)
    assert [item.sha256 for item in pairs.sources] == [hashlib.sha256(data).hexdigest()] * 2


def test_identical_recordings_are_a_note_that_changes_the_answer(rng):
    power = 200 + np.cumsum(rng.integers(-9, 10, 900))
    data = b"time,power\n" + b"".join(b"%d,%d\n" % item for item in enumerate(power))
    pairs = pair_recordings(data, data)
    assert [note.severity for note in pairs.notes if getattr(note, "kind", "") == "pair_identical"] == ["answer"]
    assert pairs.sources[0].sha256 == pairs.sources[1].sha256


def test_one_reading_opens_the_file_once(tmp_path, monkeypatch):
    """A path is opened once in a reading, and once in a look."""
    (tmp_path / "ride.csv").write_bytes(TEXT)
    calls = []
    real = source_module.file_bytes.raw
    monkeypatch.setattr(source_module.file_bytes, "raw", lambda *args: calls.append(args) or real(*args))
    read_recording(tmp_path / "ride.csv")
    look(tmp_path / "ride.csv")
    assert len(calls) == 2


def test_pairs_are_of_power_alone():
    """A column that is not power never becomes W silently."""
    data = b"time,heart rate\n" + b"".join(b"%d,%d\n" % (k, 120 + k % 9) for k in range(900))
    read = {"quantity": "heart rate"}
    for reference, options in ((data, read), (read_recording(data, quantity="heart rate"), None)):
        with pytest.raises(InputError, match="found a recording of heart rate; expected power, which"):
            pair_recordings(reference, reference, reference_read=options, device_read=options)
