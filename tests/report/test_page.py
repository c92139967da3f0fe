"""The page: one A4 sheet, nothing clipped, overlapping or too small, live text, the same bytes for the same check."""

import importlib.util
import itertools
import re
import subprocess
import sys
import zlib
from functools import cache
from pathlib import Path

import matplotlib as mpl
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from agree.core.errors import InputError
from agree.report.drawing.fonts import width_of
from agree.report.page.compose import draw_page
from agree.report.page.panel import PANELS, draw_panel, methods_sentence, write_figure
from agree.report.page.paper import clean, clipped, shortened, wrap
from agree.report.pages import render_page, write_page
from agree.report.story.provenance import Provenance

_spec = importlib.util.spec_from_file_location("report_cases", Path(__file__).with_name("cases.py"))
cases = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(cases)
SMALLEST = 7.5


@cache
def case(name):
    return cases.ALL[name]()


@cache
def rendered(name, form):
    return render_page(case(name), form)


def visible_texts(figure):
    """Every text that is drawn: ticks outside the view are left out."""
    hidden = set()
    for ax in figure.findobj(Axes):
        for axis in (ax.xaxis, ax.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
                shown = low <= tick.get_loc() <= high
                hidden |= {id(label) for label, on in ((tick.label1, tick.label1.get_visible()),
                                                       (tick.label2, tick.label2.get_visible())) if not (shown and on)}
    return [text for text in figure.findobj(Text)
            if text.get_visible() and text.get_text().strip() and id(text) not in hidden]


def laid_out(paper, dpi=150):
    """Every drawn text with its box in pixels, and the box of the paper."""
    paper.figure.set_dpi(dpi)
    canvas = FigureCanvasAgg(paper.figure)
    canvas.draw()
    return paper.figure.bbox, [(text, Text.get_window_extent(text, canvas.get_renderer()))
                               for text in visible_texts(paper.figure)]


def faults(paper, margin=8):
    """Texts that are too small, outside the paper, or on one another."""
    page, boxes = laid_out(paper)
    found = [f"small: {text.get_text()}" for text, _ in boxes if text.get_fontsize() < SMALLEST]
    found += [f"outside: {text.get_text()}" for text, box in boxes
              if box.x0 < page.x0 + margin or box.x1 > page.x1 - margin or box.y0 < page.y0 + margin
              or box.y1 > page.y1 - margin]
    for (a, one), (b, two) in itertools.combinations(boxes, 2):
        if min(one.x1, two.x1) - max(one.x0, two.x0) > 1 and min(one.y1, two.y1) - max(one.y0, two.y0) > 3:
            found.append(f"touching: {a.get_text()} | {b.get_text()}")
    return found


@pytest.mark.parametrize("name", cases.ALL)
def test_nothing_is_outside_overlaps_or_is_too_small(name):
    assert faults(draw_page(case(name), Provenance(command=("agree", "check", "a.csv", "b.csv")))) == []


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
    assert rendered("holds", form) == render_page(cases.holds(), form)


def test_the_callers_settings_are_neither_used_nor_changed():
    before = {form: render_page(case("fails"), form) for form in ("pdf", "svg", "png")}
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


@pytest.mark.parametrize("count", [2, 11, 30])
def test_many_sessions_stay_in_place(count):
    rides = [cases.ride(50 + k, 900, scale=1 - 0.002 * k, session=f"day {k + 1}", device_name="pedals " * 9)
             for k in range(count)]
    paper = draw_page(cases.check(rides, "1.5 %"), Provenance())
    assert faults(paper) == []


def test_many_bands_a_long_day_and_other_scripts_stay_in_place():
    bands = list(range(90, 450, 15))
    check = cases.check(cases.ride(6, 6000, device_name="Тренажёр", reference_name="基準の測定器"), "2 W", bands=bands)
    assert faults(draw_page(check, Provenance())) == []
    svg = render_page(check, "svg").decode()
    assert "Тренажёр" in svg
    day = cases.check(cases.ride(7, 24 * 3600, faults=False), "1.5 %", window_s=120)
    assert faults(draw_page(day, Provenance())) == []


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


