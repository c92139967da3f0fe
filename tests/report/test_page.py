"""The page: one A4 sheet, nothing clipped, nothing overlapping, written whole or not at all."""

from __future__ import annotations

import importlib.util
import itertools
import json
import re
import subprocess
import sys
import warnings
from functools import cache
from html import unescape
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

import agree
from agree.core.errors import InputError
from agree.report.figures.style import apart, clean, look, shortened, width_of, wrap
from agree.report.html import html_text
from agree.report.page import CAUTION, compose, render, write_page

_spec = importlib.util.spec_from_file_location("report_cases", Path(__file__).with_name("cases.py"))
cases = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(cases)


@cache
def case(name):
    return cases.ALL[name]()


@cache
def rendered(name, suffix):
    return render(case(name), suffix)


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


def laid_out(check, dpi=150):
    """Figure, and every drawn text with its box in pixels."""
    with look():
        figure = compose(check).figure
        figure.set_dpi(dpi)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        return figure, [(text.get_text(), Text.get_window_extent(text, canvas.get_renderer()))
                        for text in visible_texts(figure)]


def touching(boxes):
    """Pairs of texts that overlap by more than half a pixel in both directions."""
    return [(a, b) for (a, one), (b, two) in itertools.combinations(boxes, 2)
            if min(one.x1, two.x1) - max(one.x0, two.x0) > 0.5 and min(one.y1, two.y1) - max(one.y0, two.y0) > 0.5]


@pytest.mark.parametrize("name", cases.ALL)
def test_nothing_is_clipped_or_overlaps_or_is_too_small(name):
    figure, boxes = laid_out(case(name))
    assert len(boxes) > 60
    assert [text for text, box in boxes if box.x0 < 0 or box.y0 < 0 or box.x1 > figure.bbox.x1
            or box.y1 > figure.bbox.y1] == []
    assert touching(boxes) == []
    assert min(text.get_fontsize() for text in visible_texts(figure)) >= 6.5


@pytest.mark.parametrize("name", cases.ALL)
def test_pdf_is_one_a4_page(name):
    page = rendered(name, ".pdf")
    boxes = re.findall(rb"/MediaBox \[ ?([\d. ]+?) ?\]", page)
    assert [[round(float(x)) for x in box.split()] for box in boxes] == [[0, 0, 595, 842]]
    assert len(re.findall(rb"/Type /Page\b", page)) == 1
    assert b"CreationDate" not in page


def test_png_and_svg_have_the_size_of_a4():
    png, svg = rendered("steady", ".png"), rendered("steady", ".svg").decode()
    assert [int.from_bytes(png[k:k + 4], "big") for k in (16, 20)] == [1240, 1753]
    assert re.search(r'width="595.27\d*pt" height="841.88\d*pt"', svg)
    assert "<dc:date>" not in svg


@pytest.mark.parametrize("suffix", [".pdf", ".svg", ".png"])
def test_pages_are_equal_byte_for_byte(suffix):
    assert render(case("steady"), suffix) == rendered("steady", suffix)


def test_the_callers_settings_are_neither_used_nor_changed():
    plain = rendered("steady", ".svg")
    with mpl.rc_context({"font.size": 30, "lines.linewidth": 9, "svg.hashsalt": "other", "text.parse_math": True}):
        before = dict(mpl.rcParams)
        assert render(case("steady"), ".svg") == plain
        assert dict(mpl.rcParams) == before


def test_pyplot_is_not_loaded():
    code = "import agree.report.html, agree.report.page, sys; print('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"


def test_page_states_answer_grounds_and_cautions():
    _, boxes = laid_out(case("unsettled"))
    page = " ".join(text for text, _ in boxes)
    for words in ("NOT SETTLED", "on average", "in every power band", "95 % of 30-s readings", "in the next session",
                  "What is likely wrong", "Correction", "Next step", "more in the JSON", CAUTION,
                  f"agree {agree.__version__}, schema 1", "±1.5 %, rectangular"):
        assert words in page


def test_page_tells_an_exact_reference_and_several_sessions():
    _, boxes = laid_out(case("holds"))
    page = " ".join(text for text, _ in boxes)
    for words in ("taken as exact", "4 sessions", "(e) Bias by session", "day 4", "next"):
        assert words in page


@pytest.mark.parametrize("suffix", [".pdf", ".png", ".svg", ".html", ".PDF"])
def test_written_file_is_the_rendered_page(tmp_path, suffix):
    path = tmp_path / f"page{suffix}"
    path.write_text("old")
    write_page(case("steady"), path)
    expected = (html_text(case("steady")).encode() if suffix == ".html" else rendered("steady", suffix.lower()))
    assert path.read_bytes() == expected
    assert [item.name for item in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize(("name", "got"), [("page.txt", ".txt"), ("page", "no suffix")])
def test_other_suffix(tmp_path, name, got):
    path = tmp_path / name
    with pytest.raises(InputError) as caught:
        write_page(case("steady"), path)
    assert str(caught.value) == f"page {str(path)!r} must end in .pdf, .png, .svg or .html; got {got}"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("suffix", [".pdf", ".html"])
def test_missing_folder(tmp_path, suffix):
    path = tmp_path / "none" / f"page{suffix}"
    with pytest.raises(InputError) as caught:
        write_page(case("steady"), path)
    assert str(caught.value) == (f"folder {path.parent} does not exist; make it first or choose another place for "
                                 f"{path.name}")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("suffix", [".svg", ".html"])
def test_path_that_cannot_be_written(tmp_path, suffix):
    path = tmp_path / f"folder{suffix}"
    path.mkdir()
    with pytest.raises(InputError) as caught:
        write_page(case("steady"), path)
    assert str(caught.value) == f"{path} is a folder; give a file name"
    assert list(path.iterdir()) == []


def test_failure_on_the_way_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch):
    path = tmp_path / "page.svg"
    path.write_text("old")
    monkeypatch.setattr(Path, "replace", lambda *_: (_ for _ in ()).throw(PermissionError(13, "Permission denied")))
    with pytest.raises(InputError) as caught:
        write_page(case("steady"), path)
    assert str(caught.value) == f"{path} cannot be written: Permission denied; choose another place"
    assert path.read_text() == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["page.svg"]


HOSTILE = '<script>alert("x")</script> $\\frac{1}{$ --> \x00\n\udcff & co'


@cache
def hostile():
    names = {"device_name": HOSTILE, "reference_name": HOSTILE, "session": HOSTILE}
    return cases.check(cases.ride(6, 400, notes=(HOSTILE,), **names), "1.5 %")


def test_html_escapes_a_hostile_name_and_needs_nothing_else():
    page = html_text(hostile())
    assert "<script" not in page
    assert "&lt;script" in page
    assert re.findall(r"""(?:src|href)\s*=\s*["'](?!#)[^"']*|url\((?!#)[^)]*""", page) == []
    shown = unescape(re.search(r"<details>.*?<pre>(.*?)</pre>", page, re.S)[1])
    assert json.loads(shown)["verdict"] == hostile().verdict


def test_a_hostile_name_fits_on_the_page_and_in_the_file(tmp_path):
    figure, boxes = laid_out(hostile())
    assert all(box.x0 >= 0 and box.x1 <= figure.bbox.x1 for _, box in boxes)
    for suffix in (".html", ".pdf", ".svg"):
        write_page(hostile(), tmp_path / f"page{suffix}")


def test_many_sessions_and_bands_stay_in_place():
    pairs = [cases.ride(20 + k, 300, session=f"session number {k} of many", faults=False) for k in range(40)]
    figure, boxes = laid_out(cases.check(pairs, "1.5 %", bands=list(range(0, 600, 10))))
    assert all(box.x0 >= 0 and box.x1 <= figure.bbox.x1 for _, box in boxes)
    assert touching(boxes) == []


def test_a_script_the_font_does_not_have_is_no_error():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        check = cases.check(cases.ride(7, 400, device_name="功率计"), "1.5 %")
        assert render(check, ".svg").startswith(b"<?xml")


def test_wrapping_keeps_every_word_and_the_width():
    text = "mean −3.18 [−3.46, −2.89] % of " + "x" * 80
    lines = wrap(text, 7, 100)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert all(width_of(line, 7) <= 100 for line in lines)
    assert not any(line.startswith(("%", "−2.89")) for line in lines)


def test_names_are_made_printable_and_short():
    assert clean("a\x00b\n -1.5 10-20") == "a b −1.5 10-20"
    assert shortened("abcdefghijklmnop", 10) == "abcdef…nop"
    assert shortened("short", 10) == "short"


def test_labels_move_apart_in_order():
    wanted = [50.0, 51.0, 0.0, 99.0, 100.0]
    placed = apart(wanted, 8.0, 4.0, 96.0)
    order = np.argsort(wanted, kind="stable")
    assert (np.diff(np.array(placed)[order]) >= 8 - 1e-9).all()
    assert min(placed) >= 4
    assert max(placed) <= 96
    assert placed[2] == 4
