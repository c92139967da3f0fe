"""Tables of a terminal where room is short, and messages that are longer than their room."""

import pytest

from agree.report.page.paper import clipped
from agree.report.plain_text.details import LEAST_LAST, Rows, table
from agree.report.plain_text.lines import terminal
from agree.report.story.language.names import columns, whole_parts

ROWS = Rows([["", "question", "answer", "error"], [">", "mean error", "holds", "-0.4 % (-0.5 to -0.2)"],
             ["", "single 30-s readings", "does not hold", "89 % inside (80.22 to 94.97); 95 % needed"]])
BESIDE = 2 + 1 + 2 + 20 + 2 + 13 + 2  # columns before the last one


@pytest.mark.parametrize("width", [80, BESIDE + LEAST_LAST + 1])
def test_a_long_last_cell_goes_on_below_itself(width):
    lines = table(ROWS, width)
    assert len(lines) >= 4
    assert all(columns(line) <= width for line in lines)
    assert lines[1].split() == [">", "mean", "error", "holds", "-0.4", "%", "(-0.5", "to", "-0.2)"]
    first, second = next((line, lines[k + 1]) for k, line in enumerate(lines) if "does not hold" in line)
    assert first[BESIDE:].startswith("89 %")
    assert second[:BESIDE].strip() == ""
    assert " ".join(line[BESIDE:].strip() for line in lines[2:]).endswith("95 % needed")


def test_where_that_will_not_do_a_mark_stands_before_its_row_without_a_comma():
    lines = terminal(table(ROWS, BESIDE + LEAST_LAST - 1)).split("\n")
    assert lines[0] == "  > mean error, holds, -0.4 % (-0.5 to -0.2)"
    assert lines[1].startswith("  single 30-s readings, does not hold, 89 % inside")


@pytest.mark.parametrize(("most", "told"), [
    (60, "The lag is not told; at several it fits. Record cadence."), (40, "The lag is not told; at several it fits."),
    (30, "The lag is not told"), (10, "The la…ld;")])
def test_a_message_is_cut_at_the_end_of_a_part(most, told):
    text = "The lag is not told; at several it fits. Record cadence."
    assert whole_parts(text, most).startswith(told[:6])
    assert columns(whole_parts(text, most)) <= most
    assert "…" not in whole_parts(text, most) or most == 10
    if most > 10:
        assert whole_parts(text, most) == told


def test_a_page_cuts_at_a_word():
    assert clipped(["it lost part", "of its reading", "or not"], 2) == ["it lost part", "of its …"]
    assert clipped(["one", "two"], 2) == ["one", "two"]
