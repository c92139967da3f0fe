"""Files that fuzzing starts from, or found: each is read, or refused with a named error, alone and cut anywhere."""

from pathlib import Path

from agree import InputError, read_recording
from tests.each import each

SEEDS = sorted(path for path in (Path(__file__).parent.parent / "data/fuzz").glob("*/*"))


def outcome(path):
    try:
        said = str(read_recording(path).power.size)
    except InputError as error:
        said = str(error)
    assert "\n" not in said
    return said


def test_there_are_seeds_for_every_reader():
    assert {path.parent.name for path in SEEDS} == {"text", "gzip", "fit", "xml", "parquet", "json"}


@each("path", SEEDS, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_a_seed_is_read_or_refused(path):
    assert outcome(path)


@each("path", SEEDS, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_a_seed_cut_anywhere_is_read_or_refused(path, tmp_path):
    whole, cut = path.read_bytes(), tmp_path / path.name
    for size in range(0, min(len(whole), 4096), 7):
        cut.write_bytes(whole[:size])
        assert outcome(cut)
