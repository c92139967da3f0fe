"""Pages of trials and of other quantities: every format, and the caller's settings unchanged."""

import matplotlib as mpl
import pytest

from agree import InputError, check_quantity, check_trials, overlay_recordings, pair_trials
from agree.demo import heart_rate, trials
from agree.report.other_page import write_other_page


@pytest.fixture(scope="module")
def checks(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    jumps = pair_trials(*trials.write_tables(folder), by="athlete,jump")
    hearts = overlay_recordings(*heart_rate.write_recordings(folder), "heart rate")
    return check_trials(jumps, "2 cm"), check_quantity(hearts, "5 bpm", meaning="readings")


@pytest.mark.parametrize(("suffix", "start"), [(".pdf", b"%PDF-"), (".png", b"\x89PNG"), (".svg", b"<?xml"),
                                               (".html", b"<!DOCTYPE html>")])
def test_every_format(checks, tmp_path, suffix, start):
    before = dict(mpl.rcParams)
    for check in checks:
        path = tmp_path / f"page{suffix}"
        write_other_page(check, path)
        assert path.read_bytes().startswith(start)
    assert dict(mpl.rcParams) == before


def test_the_page_says_the_answer_and_no_watts(checks, tmp_path):
    for check in checks:
        write_other_page(check, tmp_path / "page.html")
        text = (tmp_path / "page.html").read_text(encoding="utf-8")
        assert check.verdict.upper() in text
        assert "watts" not in text
        assert " W " not in text


def test_another_suffix_is_refused(checks, tmp_path):
    with pytest.raises(InputError, match=r"must end in .pdf, .png, .svg or .html; got .docx$"):
        write_other_page(checks[0], tmp_path / "page.docx")
