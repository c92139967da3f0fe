"""`agree demo trials` and `agree demo heart-rate`: invented data that says so, alike at each call."""

import pytest

from agree import InputError
from agree.cli.main import command
from agree.demo.folder import KNOWN


@pytest.mark.parametrize(("kind", "files", "first"), [
    ("trials", ("invented-plate.csv", "invented-mat.csv"), "HOLDS: invented-mat: the mean error lies within"),
    ("heart-rate", ("invented-strap.csv", "invented-wrist.csv"), "DOES NOT HOLD (as worn): invented-wrist: 30-s")])
def test_demo(tmp_path, capsys, kind, files, first):
    command.main(["demo", kind, str(tmp_path)], standalone_mode=False)
    said = capsys.readouterr().out
    assert said.startswith("Invented data: ")
    assert first in said.replace("\n", " ")
    texts = [(tmp_path / name).read_text(encoding="utf-8") for name in files]
    assert all(text.startswith(KNOWN) for text in texts)
    command.main(["demo", kind, str(tmp_path)], standalone_mode=False)
    assert capsys.readouterr().out == said
    assert [(tmp_path / name).read_text(encoding="utf-8") for name in files] == texts


def test_the_lock_and_the_delay_of_the_demo_are_found(tmp_path, capsys):
    command.main(["demo", "heart-rate", str(tmp_path)], standalone_mode=False)
    said = capsys.readouterr().out
    assert "locked to the cadence 180 s" in said
    assert "Delay: 9.0 ± 0.3 s, the device's" in said


def test_foreign_files_are_not_written_over(tmp_path):
    (tmp_path / "invented-mat.csv").write_text("mine\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"invented-mat.csv exists and was not written by this demo"):
        command.main(["demo", "trials", str(tmp_path)], standalone_mode=False)
    assert (tmp_path / "invented-mat.csv").read_text(encoding="utf-8") == "mine\n"
    assert not (tmp_path / "invented-plate.csv").exists()
