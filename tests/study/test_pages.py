"""Pages of studies and fleets: whole in every form, with what they must say, and nothing beyond the paper."""

import re

import numpy as np
import pytest
from scipy import stats

from agree import InputError
from agree.report.drawing.fonts import width_of
from agree.report.figures.look import SMALL
from agree.report.studies.pages import NAMES, fitting, fleet_page, is_fleet, study_page, write_study_page
from agree.study import Line, Study, study_table
from agree.study.statistics.fleet import fleet_of
from agree.study.statistics.many_units import edges_of, many_units, profiled, q_profile

KNOWN = {"normal": 0.0, "rectangles": []}


def made(errors, names, conditions=("flat",)):
    """A study of units with errors (units, conditions, sessions) in per cent, made without recordings."""
    lines, records = [], []
    for (unit, condition, session), error in np.ndenumerate(errors):
        value = float(error)
        lines.append(Line(labels={"unit": names[unit], "session": str(session), "claim": "",
                                  "reference": f"{unit}{condition}{session}", "device": f"{unit}{condition}{session}d"},
                          sessions=1, verdict="holds", bias=value, low=value - 0.2, high=value + 0.2, bias_unit="%",
                          factors={"condition": conditions[condition], "athlete": f"P{session}"}))
        own = {"value": value, "low": value - 0.2, "high": value + 0.2, "level": 0.95, "method": "t",
               "standard_error": 0.1, "df": 8.0}
        records.append({"result": {"bias_percent": own, "readings": [
            {"meaning": "average", "unit": "%", "limit": 1.5, "own": own, "known": KNOWN}]}})
    units = tuple(line for line in lines if line.labels["session"] == "0")
    return Study(pairs=tuple(lines), units=units, results=tuple(records), claim="1.5 %", options={}, computed=0,
                 reused=len(lines), failed=0, fleet=fleet_of(lines, records, {}))


def fleet(units, odd=6.0):
    rng = np.random.default_rng(4)
    errors = rng.normal(0, 0.5, (units, 1, 1)) + rng.normal(0, 0.1, (units, 1, 2))
    errors[3] += odd
    return made(errors, [f"unit{k}" for k in range(units)])


LAB = made(np.random.default_rng(3).normal(0, 0.5, (2, 3, 4)) + np.array([0.0, 3.0])[:, None, None], ["A", "B"],
           ("flat", "climb", "sprint"))


def texts(paper):
    return [item.get_text() for item in paper.figure.texts]


def test_a_fleet_is_shown_from_13_units_on():
    assert [is_fleet(fleet(units)) for units in (12, 13)] == [False, True]


def test_a_fleet_page_names_the_furthest_and_marks_flagged_units():
    study = fleet(40)
    said = texts(fleet_page(study, study.fleet))
    assert "unit3" in said
    assert said[said.index("unit3") + 3] == "flagged"
    assert any("1 unit with a mean error outside the claim" in text for text in said)
    assert any("(interval not known)" in text for text in said)


def test_a_study_page_has_a_row_for_each_cell_and_difference():
    said = texts(study_page(LAB, study_table(LAB)))
    assert {"A, flat", "B, sprint", "B minus A", "B minus A, climb", "climb minus flat, A"} <= set(said)
    assert sum(text.endswith("%, does not hold") for text in said) == 3
    assert any("24 pairs of recordings and 4 athletes" in text for text in said)


def boxes_of(paper):
    """Text, left, right, foot and top in pt of all lines, by the widths of the page's own fonts."""
    for item in paper.figure.texts:
        x, y = item.get_position()
        weight = "bold" if "Bold" in str(item.get_fontproperties().get_file()) else "normal"
        left, foot, size = x * paper.width, y * paper.height, item.get_fontsize()
        yield item.get_text(), left, left + width_of(item.get_text(), size, weight), foot, foot + 0.75 * size


@pytest.mark.parametrize("study", [LAB, fleet(2000), fleet(13, 300.0)], ids=["lab", "fleet", "one far out"])
def test_nothing_is_written_beyond_the_paper_and_nothing_over_another(study):
    paper = fleet_page(study, study.fleet) if is_fleet(study) else study_page(study, study_table(study))
    boxes = list(boxes_of(paper))
    for k, (text, left, right, foot, top) in enumerate(boxes):
        assert left > 20, text
        assert right < paper.width - 20, text
        assert 10 < foot < top < paper.height - 10, text
        for other, start, end, low, high in boxes[:k]:
            assert min(right, end) <= max(left, start) or min(top, high) <= max(foot, low), (text, other)


def test_forms(tmp_path):
    for suffix, head in ((".pdf", b"%PDF"), (".svg", b"<svg"), (".png", b"\x89PNG"), (".html", b"<!DOCTYPE html>")):
        write_study_page(LAB, tmp_path / f"page{suffix}")
        content = (tmp_path / f"page{suffix}").read_bytes()
        assert head in content[:100]
    html = (tmp_path / "page.html").read_text()
    assert "<svg" in html
    assert '<th scope="row">B minus A</th>' in html
    first = (tmp_path / "page.pdf").read_bytes()
    assert len(re.findall(rb"/Type\s*/Page\b", first)) == 1
    write_study_page(LAB, tmp_path / "page.pdf")
    assert (tmp_path / "page.pdf").read_bytes() == first
    with pytest.raises(InputError, match=r"page 'x.doc' must end in \.pdf, \.png, \.svg or \.html; got \.doc"):
        write_study_page(LAB, "x.doc")


def known_of(size, assume, errors=None):
    y = np.random.default_rng(1).normal(0, 0.8, size) if errors is None else errors
    found = many_units(y, np.full(size, 0.2), limit=1.5, assume=assume)
    return found.share_within is not None, np.isfinite(found.sd.high), found.tolerance is not None


@pytest.mark.parametrize(("size", "assume", "expected"), [
    (499, "nothing", (False, False, True)), (500, "nothing", (True, True, True)),
    (19, "normal", (False, False, False)), (20, "normal", (True, True, True)),
    (58, "nothing", (False, False, False)), (59, "nothing", (False, False, True))])
def test_what_is_not_known_of_so_many_units_is_not_stated(size, assume, expected):
    assert known_of(size, assume) == expected


def test_units_that_look_other_than_normal_have_no_share_even_if_assumed():
    odd = np.random.default_rng(1).normal(0, 0.8, 600)
    odd[:30] += 5
    assert known_of(600, "normal", odd) == (False, False, True)
    assert known_of(600, "nothing", odd) == (False, False, True)


def test_the_test_of_shape_turns_at_its_level():
    """The furthest unit is moved until the test just does, and just does not, refuse normal units."""
    y = np.random.default_rng(2).normal(0, 0.8, 500)
    near, far = 0.0, 6.0
    for _ in range(40):
        middle = (near + far) / 2
        p = stats.shapiro(np.r_[y, middle] - np.r_[y, middle].mean()).pvalue
        near, far = (middle, far) if p > 0.05 else (near, middle)
    assert [known_of(501, "nothing", np.r_[y, odd])[0] for odd in (near - 0.05, far + 0.05)] == [True, False]


@pytest.mark.parametrize(("size", "rank"), [(59, 1), (92, 1), (93, 2), (123, 2), (124, 3)])
def test_tolerance_by_order_is_that_of_tables(size, rank):
    """One-sided 95 %/95 % order statistics: 59, 93, 124 are the sample sizes of ranks 1, 2, 3 (tables; from memory)."""
    y = np.arange(1.0, size + 1)
    assert many_units(y, np.full(size, 0.01), limit=1.5).tolerance.high == size + 1 - rank


def test_draws_on_a_grid_are_those_found_one_by_one():
    rng = np.random.default_rng(9)
    y, variance = rng.normal(0, 0.8, 200), rng.uniform(0.01, 0.2, 200)
    targets = rng.chisquare(199, 40)
    taus = profiled(y, variance, targets)
    assert taus == pytest.approx([np.sqrt(q_profile(y, variance, target)) for target in targets], abs=1e-5)
    means = rng.normal(0, 0.3, 40)
    edges = edges_of(means, taus)
    assert stats.norm.cdf((edges - means) / taus) - stats.norm.cdf((-edges - means) / taus) == pytest.approx(0.95)


@pytest.mark.parametrize("name", ["W" * 60, "测" * 60, "i" * 60, "a name"])
def test_no_name_is_wider_than_its_column(name):
    assert width_of(fitting(name), SMALL) <= NAMES
    assert (fitting(name) == name) is (width_of(name, SMALL) <= NAMES)


def test_a_unit_is_drawn_by_its_share_of_the_variance():
    """Four units by hand: variance 1 of 20/3 draws by 3/20, and its estimate from 4 adds 2 (3/20)^2 (y - m)^2."""
    found = many_units(np.array([-3.0, -1.0, 1.0, 3.0]), np.ones(4), limit=3.0).shrunken
    assert [item.value for item in found] == pytest.approx([-2.55, -0.85, 0.85, 2.55])
    # 0.85 + (3/20)^2 / (4 / (20/3)) + 2 (3/20)^2 9, and the same with 1 for 9
    errors = [1.2925**0.5, 0.9325**0.5]
    assert [item.standard_error for item in found] == pytest.approx([*errors, *errors[::-1]])
