"""The page: one A4 sheet, nothing clipped, overlapping or too small, live text, the same bytes for the same check."""

import re
import subprocess
import sys
import unicodedata
import zlib
from functools import cache

import matplotlib as mpl
import pytest

import agree
from agree.assessment.single_readings import readings_of
from agree.core.errors import InputError
from agree.report.drawing.fonts import width_of
from agree.report.drawing.writing_direction import as_seen, joined, left_to_right
from agree.report.figures.bands import draw_bands
from agree.report.figures.over_time import draw_time
from agree.report.figures.questions import draw_questions
from agree.report.page.compose import draw_page
from agree.report.page.panel import PANELS, draw_panel, methods_sentence, write_figure
from agree.report.page.paper import Paper, clean, clipped, shortened, wrap
from agree.report.pages import render_page, write_page
from agree.report.story.provenance import Provenance
from tests.report import cases
from tests.report.layouts import CASES, faults


def case(name):
    return cases.ALL[name]()


@cache
def again(name):
    """The same check computed anew."""
    return cases.ALL[name].__wrapped__()


@cache
def rendered(name, form):
    return render_page(case(name), form)


@pytest.mark.parametrize("name", CASES)
def test_nothing_is_outside_overlaps_or_is_too_small(name):
    paper = draw_page(CASES[name](), Provenance(command=("agree", "check", "a.csv", "b.csv")))
    assert (paper.width, paper.height) == (595.28, 841.89)
    assert faults(paper) == []


def test_there_are_enough_cases():
    assert len(CASES) >= 40


@pytest.mark.parametrize("name", [*PANELS, "screen"])
def test_panels_for_papers_and_screens(name, tmp_path):
    check = case("holds")
    assert faults(draw_panel(check, name)[0], margin=0) == []
    caption = write_figure(check, name, tmp_path / "panel.pdf")
    assert (tmp_path / "panel.pdf").read_bytes().startswith(b"%PDF-1.7")
    assert "\n" not in caption or caption.endswith(methods_sentence(check))


def test_panels_refuse_what_they_do_not_know(tmp_path):
    with pytest.raises(InputError, match=r"^`figure` must be one of questions, .* or screen; got"):
        draw_panel(case("holds"), "nothing")
    with pytest.raises(InputError, match=r"must end in \.pdf, \.svg, \.png; got no suffix$"):
        write_figure(case("holds"), "bands", tmp_path / "panel")


def test_a_fault_of_the_layout_would_be_seen():
    paper = draw_page(case("fails"), Provenance())
    paper.line(90, 38, "on the badge", 6)
    paper.line(580, 400, "beyond the edge", 9)
    found = " ".join(faults(paper))
    assert "small: on the badge" in found
    assert "outside: beyond the edge" in found
    assert "touching" in found


@pytest.mark.parametrize("name", cases.ALL)
def test_pdf_is_one_a4_page_with_embedded_fonts_and_no_date(name):
    data = rendered(name, "pdf")
    boxes = re.findall(rb"/MediaBox \[0 0 (\S+) (\S+)\]", data)
    assert [tuple(map(float, box)) for box in boxes] == [(595.28, 841.89)]
    assert data.count(b"/FontFile2") == data.count(b"/Type /FontDescriptor") == 2
    assert b"/ToUnicode" in data
    assert b"CreationDate" not in data
    title = re.search(rb"/Title <([0-9a-f]+)>", data)[1].decode()
    assert bytes.fromhex(title).decode("utf-16") == f"Accuracy claim {case(name).claim.text}: {case(name).verdict}"
    assert len(data) < 120_000


def test_text_of_the_pdf_leads_back_to_characters():
    data = rendered("fails", "pdf")
    streams = [zlib.decompress(part) for part in re.findall(rb"stream\n(.*?)\nendstream", data, re.DOTALL)]
    maps = [dict(re.findall(r"<([0-9a-f]{4})> <([0-9a-f]{4})>", part.decode())) for part in streams
            if b"beginbfchar" in part]
    page = next(part.decode() for part in streams if b" Tj ET" in part)
    shown = set()
    for font, code in re.findall(r"/F(\d) \S+ Tf \S+ \S+ \S+ \S+ \S+ \S+ Tm <([0-9a-f]*)> Tj", page):
        back = maps[int(font) - 1]
        shown.add("".join(chr(int(back[code[k:k + 4]], 16)) for k in range(0, len(code), 4)))
    assert {"DOES NOT HOLD", "How far off?", "Over time?"} <= shown
    assert any("±1.5 %" in text for text in shown)
    assert any("−" in text for text in shown)


def test_svg_has_live_text_and_the_size_of_a4():
    text = rendered("fails", "svg").decode()
    assert 'width="595.28pt" height="841.89pt"' in text
    assert ">DOES NOT HOLD</text>" in text
    assert "<image" not in text
    assert rendered("fails", "png")[16:24] == (1240).to_bytes(4, "big") + (1753).to_bytes(4, "big")


@pytest.mark.parametrize("form", ["pdf", "svg", "png", "html"])
def test_pages_are_equal_byte_for_byte(form):
    assert rendered("holds", form) == render_page(again("holds"), form)


def test_the_callers_settings_are_neither_used_nor_changed():
    before = {form: rendered("fails", form) for form in ("pdf", "svg", "png")}
    with mpl.rc_context({"font.size": 30, "axes.facecolor": "red", "pdf.fonttype": 3, "svg.fonttype": "path",
                         "lines.linewidth": 9, "axes.grid": True, "text.color": "red", "figure.facecolor": "black",
                         "xtick.direction": "in", "axes.spines.top": False, "lines.marker": "x"}):
        settings = dict(mpl.rcParams)
        assert {form: render_page(case("fails"), form) for form in before} == before
        assert dict(mpl.rcParams) == settings


def test_pyplot_is_not_loaded():
    code = "import agree.report.html.document, agree.report.page.panel, sys; print('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"


@pytest.mark.parametrize(("name", "got"), [("page.docx", ".docx"), ("page", "no suffix")])
def test_other_suffix(tmp_path, name, got):
    with pytest.raises(InputError, match=rf"must end in \.pdf, \.png, \.svg or \.html; got {got}$"):
        write_page(case("fails"), tmp_path / name)
    with pytest.raises(InputError, match=r"^`form` must be one of pdf, png, svg, html; got 'docx'$"):
        render_page(case("fails"), "docx")


@pytest.mark.parametrize("suffix", ["pdf", "html"])
def test_places_that_cannot_be_written_leave_nothing(tmp_path, suffix):
    with pytest.raises(InputError, match="does not exist"):
        write_page(case("fails"), tmp_path / "none" / f"page.{suffix}")
    (tmp_path / f"page.{suffix}").mkdir()
    with pytest.raises(InputError, match="is a folder"):
        write_page(case("fails"), tmp_path / f"page.{suffix}")
    assert [path.name for path in tmp_path.iterdir()] == [f"page.{suffix}"]


def shapes(ax):
    """Marks of an axes: shape, and its place from left to right."""
    return [(line.get_marker(), line.get_xdata()[0]) for line in ax.get_lines() if len(line.get_xdata()) == 1]


def test_what_lies_beyond_a_frame_is_an_arrow_head_and_no_mark():
    paper = Paper(400, 200)
    ax = paper.axes(20, 20, 300, 100)
    draw_questions(ax, CASES["far"]())
    assert [shape for shape, _ in shapes(ax)][:2] == ["<", "<"]
    ax = paper.axes(20, 20, 300, 100)
    draw_questions(ax, CASES["1 sessions"]())
    assert "<" not in [shape for shape, _ in shapes(ax)]
    check = CASES["boundless"]()
    ax = paper.axes(20, 20, 300, 100)
    draw_bands(ax, check, readings_of(check))
    assert {"^", "v"} <= {shape for shape, _ in shapes(ax)}


def test_a_long_day_is_in_hours_and_its_readings_are_not_joined():
    for name, label in (("1440 min", "time, h"), ("180 min", "time, min")):
        check, paper = CASES[name](), Paper(400, 200)
        ax = paper.axes(30, 20, 300, 100)
        draw_time(ax, None, check, readings_of(check))
        assert ax.get_xlabel() == label
        joined = [line for line in ax.get_lines() if line.get_linestyle() == "-" and len(line.get_xdata()) > 100]
        assert bool(joined) == (name == "180 min")


def test_names_that_run_from_right_to_left_leave_the_numbers_in_place():
    name = "\u05d0\u05d1 \u05d2"
    assert as_seen(f"{name} (5.6 W)") == f"{name[::-1]} (5.6 W)"
    marked = left_to_right(f"{name} (5.6 W) {name}")
    assert marked.replace("\N{LEFT-TO-RIGHT MARK}", "|") == f"|{name}| (5.6 W) {name}|"
    assert left_to_right("Тренажёр 5") == "Тренажёр 5"
    assert as_seen(left_to_right("plain 5")) == "plain 5"


@pytest.mark.parametrize(("name", "shown"), [
    ("\u0628\u0628\u0628", "\ufe91\ufe92\ufe90"),  # beh: initial, medial, final
    ("\u062f\u0628", "\ufea9\ufe8f"),  # dal joins nothing behind it
    ("\u0644\u0627", "\ufefb"),  # lam and alef are one
    ("\u0628\u0644\u0627 \u067e", "\ufe91\ufefc \ufb56"),  # and join what stands before; a blank joins nothing
    ("plain \u05d0\u05d1", "plain \u05d0\u05d1")])  # Hebrew is not joined
def test_letters_of_arabic_script_are_joined(name, shown):
    assert joined(name) == shown
    assert as_seen(name) == (shown[::-1] if name[0] != "p" else "plain \u05d1\u05d0")


def test_hostile_names_do_no_harm_in_svg():
    ride = cases.ride(1, 900, device_name='<script>"x"</script>\x1b[2J\x07', reference_name="\u202e\u200b&<b>")
    text = render_page(cases.check(ride, "1.5 %"), "svg").decode()
    assert not {c for c in text if unicodedata.category(c) in ("Cc", "Cf", "Cs") and c != "\n"}
    assert "<script" not in text
    assert "<b>" not in text


def test_other_scripts_are_text_in_svg():
    assert "Тренажёр в зале" in render_page(CASES["Cyrillic names"](), "svg").decode()


def test_wrapping_keeps_every_word_and_the_width():
    text = "The device reads 2.8 % low at 150 W, and supercalifragilistic-words-without-end are cut where they must be"
    for width in (40.0, 90.0, 300.0):
        lines = wrap(text, 9, width)
        assert "".join(lines).replace(" ", "") == text.replace(" ", "")
        assert all(width_of(line, 9) <= width for line in lines)
    assert not any(line.endswith("2.8") for line in wrap(text, 9, 60))


def test_names_are_made_printable_and_short():
    assert clean("a\nb -3 x-3") == "a b −3 x-3"
    assert len(shortened("x" * 300, 20)) == 20
    assert clipped(["a", "b", "cde"], 2) == ["a", "b"[:-2] + " …"]




@pytest.mark.parametrize("name", PANELS)
def test_every_picture_is_drawn_on_axes_of_the_caller(name):
    check = CASES["4 sessions"]()
    paper = Paper(400, 300)
    ax = paper.axes(110, 20, 270, 230)
    assert agree.draw_figure(check, name, ax=ax) is ax
    assert ax.get_xlabel()
    assert faults(paper, margin=0) == []
    assert agree.draw_figure(check, name).figure is not paper.figure


def test_no_other_picture():
    with pytest.raises(InputError, match=r"^`name` must be one of questions, bands, .*; got 'screen'$"):
        agree.draw_figure(CASES["4 sessions"](), "screen")
