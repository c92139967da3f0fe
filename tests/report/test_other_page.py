"""Pages of trials and of other quantities: every format, and the caller's settings unchanged."""

import re

import matplotlib as mpl
import pytest

from agree import InputError, check_quantity, check_trials, overlay_recordings, pair_trials
from agree.demo import heart_rate, trials
from agree.report.figures.look import axis_name, frame, round_ticks
from agree.report.other_page import sheet_of, write_other_page
from agree.report.page.answer_sheet import Panel, QuestionAsked, Sheet, draw_sheet
from tests.report.layouts import faults


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


def test_pages_are_whole_live_and_the_same_twice(checks, tmp_path):
    """One A4 page of text that can be read back, in embedded fonts, nothing small, outside or on another text."""
    for check in checks:
        sheet = sheet_of(check)
        assert faults(draw_sheet(sheet)) == []
        for name in ("one.pdf", "two.pdf", "one.svg", "two.svg", "one.html", "two.html"):
            write_other_page(check, tmp_path / name)
        for suffix in ("pdf", "svg", "html"):
            assert (tmp_path / f"one.{suffix}").read_bytes() == (tmp_path / f"two.{suffix}").read_bytes()
        data = (tmp_path / "one.pdf").read_bytes()
        assert re.findall(rb"/MediaBox \[0 0 (\S+) (\S+)\]", data) == [(b"595.28", b"841.89")]
        assert data.count(b"/FontFile2") == 2
        assert b"CreationDate" not in data
        title = bytes.fromhex(re.search(rb"/Title <([0-9a-f]+)>", data)[1].decode()).decode("utf-16")
        assert title == f"{sheet.title}: {check.verdict}"
        assert f">{check.verdict.upper()}</text>" in (tmp_path / "one.svg").read_text(encoding="utf-8")


def test_html_has_tables_and_allows_no_script(checks, tmp_path):
    for check in checks:
        write_other_page(check, tmp_path / "page.html")
        text = (tmp_path / "page.html").read_text(encoding="utf-8")
        assert text.count("<h1>") == 1
        assert "<table>" in text
        assert text.count('<th scope="row">') >= 4
        assert "script-src" not in text
        assert "<script" not in text
        assert not re.search(r"(?:src|href)=\"https?:", text)


def drawn(ax):
    """Axes of one point with round ticks."""
    ax.plot([0, 1], [-2, 3])
    frame(ax)
    for axis in "xy":
        round_ticks(ax, axis, 6)
        axis_name(ax, axis, "error, bpm")


def test_sheets_of_many_kinds_stay_in_place():
    panel = Panel("Heading " * 3, "A caption that goes on and on. " * 12, drawn)
    texts = [("A label that is long", "words " * 120)] * 4
    rows = [QuestionAsked("a question of many words " * 3, verdict, "+1.23 (−4.5 to +6.7) furlongs " * 4, k == 1)
            for k, verdict in enumerate(("holds", "does not hold", "not settled", "too few subjects"))]
    for count, wide in ((0, False), (1, False), (2, False), (3, False), (4, False), (6, False), (1, True), (3, True)):
        panels = [panel._replace(wide=wide)] * count
        sheet = Sheet("not settled", "title " * 30, "names " * 40, "sentence " * 40, rows, texts, panels, "caution")
        assert faults(draw_sheet(sheet)) == []
    empty = Sheet("", "title", "", "sentence", [], [], [], "caution")
    assert faults(draw_sheet(empty)) == []


def test_another_suffix_is_refused(checks, tmp_path):
    with pytest.raises(InputError, match=r"must end in .pdf, .png, .svg or .html; got .docx$"):
        write_other_page(checks[0], tmp_path / "page.docx")
