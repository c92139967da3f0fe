"""Printed figures never contradict the stored answer, whatever they are."""

import math
import re
from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from agree import Estimate
from agree.report.plain_text.ruler import ruler
from agree.report.plain_text.screen import screen
from agree.report.story.answer import share_text
from agree.report.story.language.digits import interval_text, plain, range_words, shown, side_words
from agree.report.story.rows import band_rows
from agree.verdict.rule import three_way
from tests.report.made import made

NUMBERS = st.floats(-50, 50, allow_nan=False)
LIMITS = st.one_of(st.sampled_from([0.5, 1.0, 1.5, 2.0, 5.0]), st.floats(0.01, 30))


def estimate(low, high):
    return Estimate(value=(low + high) / 2, low=low, high=high, level=0.95, method="t")


@given(NUMBERS, NUMBERS, LIMITS)
@example(-4.36, -1.4973, 1.5)
@example(-1.5, 1.5, 1.5)
@example(-1.5000000001, 0.0, 1.5)
def test_printed_ends_and_printed_limit_give_the_stored_answer(a, b, limit):
    item = estimate(min(a, b), max(a, b))
    seen = shown(item, limit)
    assert three_way(seen.low, seen.high, seen.limit) == three_way(item.low, item.high, limit)
    assert seen.low <= seen.value <= seen.high
    for value, places in zip(seen[:3], seen.each, strict=True):
        assert float(plain(value, places, sign=True).replace("\N{MINUS SIGN}", "-")) == value


@given(st.floats(0, 1), st.floats(0, 1))
@example(0.9496, 1.0)
@example(0.1, 0.9499999)
def test_printed_shares_reach_what_is_needed_only_if_they_do(a, b):
    item = estimate(min(a, b), max(a, b))
    low, high = (float(end) for end in share_text(item, 0.95)[1].removesuffix(" %").split(" to "))
    assert (low >= 95) == (item.low >= 0.95)
    assert (high < 95) == (item.high < 0.95)


@given(NUMBERS, NUMBERS, st.floats(0.05, 30), st.integers(10, 40))
def test_a_ruler_keeps_the_order_of_what_it_shows(a, b, limit, half_width):
    item = estimate(min(a, b), max(a, b))
    drawn = ruler(item, limit, 1.06 * max(limit, abs(a), abs(b)), 2 * half_width + 1)
    assert len(drawn) == 2 * half_width + 1
    assert drawn.count("o") == 1
    if item.low < -limit - 0.2 * limit and "(" in drawn and "[" in drawn:
        assert drawn.index("(") <= drawn.index("[")


@pytest.mark.parametrize(("low", "high", "words"), [
    (-3.34, -2.16, "2.2 to 3.3 % low"), (-0.58, 0.55, "0.6 % low to 0.6 % high"), (0.0, 1.2, "0.0 to 1.2 % high"),
    (-1.24, 0.0, "0.0 to 1.2 % low"), (0.0, 0.0, "0.0 % to 0.0 %"), (-math.inf, 2.0, "2.0 % high with no limit below"),
    (-21.0, 12.0, "21 % low to 12 % high"), (-0.06, 0.05, "0.06 % low to 0.05 % high")])
def test_intervals_in_words(low, high, words):
    assert range_words(shown(estimate(low, high), 1.5), "%") == words


@pytest.mark.parametrize(("value", "low", "high", "words", "text"), [
    (0.9595, 0.4191, 1.4999, "0.42 to 1.4999 % high", "+0.96 % (+0.42 to +1.4999)"),
    (-0.9595, -1.4999, -0.4191, "0.42 to 1.4999 % low", "−0.96 % (−1.4999 to −0.42)"),
    (0.95, 0.44, 1.46, "0.44 to 1.46 % high", "+0.95 % (+0.44 to +1.46)"),
    (0.9, 0.42, 1.38, "0.4 to 1.4 % high", "+0.9 % (+0.4 to +1.4)"),
    (1.4999, 1.49985, 1.49995, "1.49985 to 1.49995 % high", "+1.49990 % (+1.49985 to +1.49995)")])
def test_only_an_end_near_the_limit_has_more_than_two_decimals(value, low, high, words, text):
    item = Estimate(value=value, low=low, high=high, level=0.95, method="t")
    assert range_words(shown(item, 1.5), "%") == words
    assert interval_text(item, "%", 1.5) == text


def test_a_printed_zero_has_no_side_and_no_sign():
    assert side_words(-0.0, 1, "%") == "0.0 %"
    assert plain(-0.04, 1, sign=True) == "0.0"
    assert interval_text(estimate(-0.2, 0.16), "%", 1.5) == "0.0 % (−0.2 to +0.2)"


NUMBER = r"(\d+(?:\.\d+)?)"
AN_INTERVAL = re.compile(rf"interval (?:that decides |for such rides )?is {NUMBER}(?: %)?( low| high|) to "
                         rf"{NUMBER} %( low| high|): "
                         rf"(all of it inside|all of it outside|partly inside) ±{NUMBER} %")
VERDICTS = {"all of it inside": "holds", "all of it outside": "does not hold", "partly inside": "not settled"}


def read_back(text):
    """Read an interval in words as a reader does: ends, limit, and the answer that the words give."""
    first, one, second, two, place, limit = AN_INTERVAL.search(text.replace(" at these levels", "")).groups()
    side = {" low": -1, " high": 1, "": 0}
    sides = (side[one] or side[two], side[two])
    low, high = sorted((sides[0] * float(first), sides[1] * float(second)))
    return low, high, float(limit), VERDICTS[place]


@settings(deadline=None)
@given(st.floats(-9, 9), st.floats(1e-4, 9), LIMITS)
@example(-1.9, 0.4001, 1.5)
@example(0.75, 0.75, 1.5)
@example(-1.1, 0.397, 1.497)
def test_a_reader_of_the_first_screen_comes_to_the_stored_answer(value, half, limit):
    found = Estimate(value=value, low=value - half, high=value + half, level=0.95, method="t")
    verdict = three_way(found.low, found.high, limit)
    source = made(0.0, 0.5)
    average = replace(source.readings[0], estimate=found, decides=None, limit=limit, verdict=verdict)
    text = " ".join(screen(replace(source, readings=(average, *source.readings[1:]), verdict=verdict)).split())
    assert text.startswith(verdict.upper())
    low, high, shown_limit, said = read_back(text)
    assert three_way(low, high, shown_limit) == said == verdict


@given(st.floats(-9, 9), st.floats(1e-4, 9), LIMITS)
@example(-1.0973, 0.4, 1.4973)
def test_a_reader_of_a_band_comes_to_the_stored_answer(value, half, limit):
    found = Estimate(value=value, low=value - half, high=value + half, level=0.95, method="t")
    verdict = three_way(found.low, found.high, limit)
    one = replace(made(0.0, 0.5).bands[0], deciding=found, limit_percent=limit, verdict=verdict)
    row, = band_rows(replace(made(0.0, 0.5), bands=(one,)))
    low, high = re.search(r"\((\S+) to (\S+)\)", row.figures.replace("\N{MINUS SIGN}", "-")).groups()
    said = {"inside": "holds", "outside": "does not hold", "partly": "not settled"}[row.place]
    assert three_way(float(low), float(high), float(row.limit.removeprefix("±"))) == said == verdict
