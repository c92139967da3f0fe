"""The page of a trail: every state, change and answer in words, in all forms; the demo tells its story."""

import json
import math
from html import unescape

import pytest
from click.testing import CliRunner

from agree import Estimate, InputError
from agree.cli import main
from agree.report.trail_page import headline, table_rows, write_trail_page
from agree.trail.states import Change, State
from agree.trail.trail import Trail, check_split
from tests.trail.test_split import recording


@pytest.fixture(scope="module")
def trail():
    """States and changes made by hand about the check of one real recording of the test of splits."""
    check = check_split(recording(), ["0:20:00"], "1.5 %").check

    def state(label, values, half):
        each = tuple(Estimate(value=x, low=x - 0.1, high=x + 0.1, level=0.95, method="t") for x in values)
        mean = sum(values) / len(values)
        item = Estimate(value=mean, low=mean - half, high=mean + half, level=0.95, method="t")
        return State(state=label, sessions=len(values), bias_percent=item, session_sd=0.1, session_bias=each,
                     recordings=tuple((f"{label[:1]}{k}", "ref", "dev") for k in range(len(values))))

    states = (state("new & odd", (-2.6, -2.4), 0.8), state("factor 1.02 entered", (-0.1, 0.1, 0.0), 0.2),
              state("after winter", (3.0,), math.inf))
    changes = (Change(before="new & odd", after="factor 1.02 entered", answer="changed", margin_percent=0.75,
                      change_percent=Estimate(value=2.5, low=1.2, high=3.8, level=0.95, method="t"),
                      expected_percent=1.95, as_expected=None),
               Change(before="factor 1.02 entered", after="after winter", answer="not settled", margin_percent=0.75,
                      change_percent=Estimate(value=3.0, low=-math.inf, high=math.inf, level=0.95, method="t"),
                      expected_percent=math.nan, as_expected=None))
    return Trail(check=check, judged="factor 1.02 entered", states=states, changes=changes)


def test_table_and_headline(trail):
    rows = table_rows(trail)
    assert rows[1] == ("new & odd", "2", "-2.50 (-3.30 to -1.70) %", "", "", "")
    assert rows[2][3:] == ("+2.5 (+1.2 to +3.8)", "changed", "+1.95: not settled")
    assert rows[3] == ("after winter", "1", "+3.00 %", "+3.00", "not settled", "")
    assert headline(trail) == ("Claim ±1.5 %, judged on 3 sessions in the state 'factor 1.02 entered': 0.00 (-0.20 to "
                               "+0.20) % on average.")


@pytest.mark.parametrize("suffix", [".pdf", ".svg", ".png", ".html"])
def test_every_form(trail, tmp_path, suffix):
    path = tmp_path / f"trail{suffix}"
    write_trail_page(trail, path, remarks=["A remark of the tester."])
    made = path.read_bytes()
    if suffix in (".pdf", ".png"):
        assert made.startswith(b"%PDF" if suffix == ".pdf" else b"\x89PNG")
        return
    text = made.decode("utf-8")
    for words in ("new &amp; odd", "factor 1.02 entered", "not settled", "A remark of the tester."):
        assert words in text
    if suffix == ".html":
        assert text.count("<tr>") == 4
        stored = json.loads(unescape(text.split('aria-label="JSON">')[1].split("</pre>")[0]))
        assert [item["state"] for item in stored["states"]] == ["new & odd", "factor 1.02 entered", "after winter"]


def test_the_page_of_a_split_shows_both_answers(tmp_path):
    made = check_split(recording(), ["0:20:00"], "1.5 %")
    path = tmp_path / "split.svg"
    write_trail_page(made, path)
    text = " ".join(path.read_text(encoding="utf-8").split())
    for words in ("Error of each part of the recording", "had the place been declared beforehand: changed", "Part"):
        assert words in text
    assert "Error of each session" not in text
    assert table_rows(made)[0][:2] == ("Part", "")


def test_another_suffix_is_refused(trail, tmp_path):
    with pytest.raises(InputError, match=r"must end in .pdf, .png, .svg or .html; got .docx"):
        write_trail_page(trail, tmp_path / "trail.docx")


def test_the_demo_tells_its_story_in_16_lines_and_on_a_page(tmp_path):
    done = CliRunner().invoke(main.command, ["demo", "trail", str(tmp_path)], standalone_mode=False)
    assert done.exception is None
    story = done.stdout.split("\n\n")[1].splitlines()
    assert len(story) <= 16
    assert max(map(len, story)) <= 80
    flat = " ".join(" ".join(story).split())
    assert flat.startswith("HOLDS claim ±1.5 %, judged on 3 sessions in the state 'factor 1.026 entered'")
    for words in ("zeroed anew", "not settled", "changed, +1.08", "as it did", "together-third stands apart"):
        assert words in flat
    assert (tmp_path / "trail.pdf").read_bytes().startswith(b"%PDF")
