"""The record sheet: one page, everything on it, files whole or not at all."""

import re

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.patches import Rectangle

from agree import InputError, plan
from agree.report.sheet import compose, write_sheet
from agree.report.texts import plan_text as words

PLANS = {
    "plain": {"true_error": [0, 0.75, 1.5], "power": [0.8, 0.9]},
    "none": {"true_error": [0, 0.75, 1.5], "power": [0.8, 0.9], "reference_uncertainty": "±1 %", "meaning": "bands"},
    "many sessions": {"session_sd": 3.0, "true_error": [0, 0.75], "most": 200},
    "ten bands": {"bands": [50, 80, 110, 140, 170, 200, 230, 260, 290, 320, 350], "session_sd": 1.2},
    "more bands": {"bands": list(range(50, 400, 10)), "session_sd": 1.2},
}


@pytest.fixture(scope="module", params=PLANS)
def made(request):
    return plan("1.5 % or 3 W above 100 W" if request.param == "many sessions" else "1.5 %", **PLANS[request.param])


def test_nothing_leaves_the_page_or_lies_on_another_text(made):
    figure = compose(made).figure
    figure.set_dpi(144)
    FigureCanvasAgg(figure).draw()
    boxes = [(text.get_text(), text.get_window_extent()) for text in figure.texts if text.get_text()]
    width, height = figure.bbox.size
    for text, box in boxes:
        assert box.x0 > 40, text
        assert box.x1 < width - 40, text
        assert 20 < box.y0 < box.y1 < height - 20, text
    for k, (text, box) in enumerate(boxes):
        for other, beside in boxes[:k]:
            apart = (box.x1 <= beside.x0 + 0.5 or beside.x1 <= box.x0 + 0.5 or box.y1 <= beside.y0 + 1.5
                     or beside.y1 <= box.y0 + 1.5)
            assert apart, (text, other)


def test_every_step_has_a_box_and_every_session_a_line(made):
    figure = compose(made).figure
    items = [item for _, group in words.steps(made) for item in group]
    assert sum(isinstance(artist, Rectangle) for artist in figure.artists) == len(items)
    shown = [text.get_text() for text in figure.texts]
    count = min(words.sessions_shown(made), words.MOST_ROWS)
    assert {str(k) for k in range(1, count + 1)} <= set(shown)
    for name in words.EQUIPMENT:
        assert name in shown


def test_text_sheet(tmp_path, made):
    write_sheet(made, tmp_path / "sheet.txt")
    text = (tmp_path / "sheet.txt").read_text(encoding="utf-8")
    assert text.count("[ ]") == sum(len(group) for _, group in words.steps(made))
    assert max(map(len, text.splitlines())) <= 80
    assert len(re.findall(r"^ +\d+ \| _+$", text, re.MULTILINE)) == words.sessions_shown(made)
    for word in ("Crank length", "firmware", "Temp. °C", "zero before / after", "Measuring point", "Warm-up 10-15 min",
                 "coast", "° common practice"):
        assert word in text


def test_minutes_of_the_bands_add_up(made):
    assert made.minutes_per_band * (len(made.bands) - 1) == pytest.approx(made.minutes)


def test_html_and_pdf(tmp_path):
    made = plan("1.5 %")
    for name in ("sheet.pdf", "sheet.html"):
        write_sheet(made, tmp_path / name)
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")
    page = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert page.count("<svg") == page.count("</svg>") == 1
    assert "[ ]" in page
    assert not re.search(r"<script|<link|@import", page)
    again = tmp_path / "again.pdf"
    write_sheet(made, again)
    assert again.read_bytes() == (tmp_path / "sheet.pdf").read_bytes()


def test_bad_places(tmp_path):
    with pytest.raises(InputError) as caught:
        write_sheet(plan("1.5 %"), "sheet.doc")
    assert str(caught.value) == "sheet 'sheet.doc' must end in .pdf, .html or .txt; got .doc"
    with pytest.raises(InputError) as caught:
        write_sheet(plan("1.5 %"), "sheet")
    assert str(caught.value) == "sheet 'sheet' must end in .pdf, .html or .txt; got no suffix"
    with pytest.raises(InputError, match=r"does not exist; make it first or choose another place for s\.pdf$"):
        write_sheet(plan("1.5 %"), tmp_path / "no" / "s.pdf")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", PLANS)
def test_summary_fits_a_screen(name):
    options = {"true_error": [0, 0.75, 1.5], "power": [0.8, 0.9]} | PLANS[name]
    lines = plan("1.5 %", **options).summary().splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 80
    assert lines[0].startswith("Plan to settle the claim of ±1.5 %")
