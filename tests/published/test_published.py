"""Every published figure at half a unit of its last printed digit.

A folder holds `data.csv`, `expected.toml` and `SOURCE.md`. In `expected.toml` a `[call.NAME]` says what is
computed, a `[[figure]]` what was printed: `printed` (as a string, digits kept), `call`, `of` (path into the
result), `source` of the printed figure: `read` on a page or in a test suite, or `memory`. Others are tested and
not counted: `summary` (it rests on nothing but a printed summary), `afterwards` (recalled after ours was known, or
of no known publication), `computed` (by another program). Optional:

- `behind` (of a call): methods that its figures hold up; `special_case`: in what special case they do, if only in one;
- `publication`: a name shared by several sets;
- `again`: the same print met by another function or from other data, not counted;
- `rounded_inputs`, `unrounded`: the paper computed the figure from rounded ones; a list of [factor, path,
  digits] whose sum of factor * round(value, digits) must give the print, while our own value must give
  `unrounded`;
- `exact`: relative tolerance for figures certified beyond the reach of half a digit, or exact;
- `where`: table or section; `note`.

A `[[table]]` holds figures that differ in few words: `columns` names what its `rows` give, the rest is common to them.

A call may take options from `columns` (or from `weights`, 1/variance), and `only` the rows with a value in a column.
"""

import sys
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))  # the calls stand beside, and the page "Validation" loads this file from elsewhere

from published_calls import compute, value_at  # noqa: E402
from published_sets import figures, load  # noqa: E402

SETS = load()


def half_unit(printed):
    """Half a unit of the last printed digit."""
    return 0.5 * 10.0 ** Decimal(printed).as_tuple().exponent


def tolerance(figure):
    """How far ours may be from the print: half a unit of its last digit, unless `exact` is given."""
    return figure["exact"] * abs(float(figure["printed"])) if "exact" in figure else half_unit(figure["printed"])


def off(figure, result):
    """How far our value is from the print, beyond what the print's last digit leaves open; 0 or less if it agrees."""
    ours, printed = value_at(result, figure["of"]), figure["printed"]
    wrong = 0.0
    if "rounded_inputs" in figure:
        wrong = abs(ours - float(figure["unrounded"])) - half_unit(figure["unrounded"])
        ours = sum(factor * round(value_at(result, path), digits)
                   for factor, path, digits in figure["rounded_inputs"])
    # A few ulps beyond half a unit, for prints that are ties in decimal.
    return max(wrong, abs(ours - float(printed)) - tolerance(figure) - 4 * np.spacing(abs(float(printed))))


def all_figures():
    for source, expected in SETS.items():
        for figure in figures(expected):
            yield pytest.param(HERE / source, expected["call"][figure["call"]], figure,
                               id=f"{source}-{figure['what'].replace(' ', '_')}")


def agrees(folder, call, figure):
    """Whether our value is the printed one, within half a unit of its last digit."""
    return off(figure, compute(folder, call, figure)) <= 0


def test_published_figures():
    """In one test, which names those that are off: one each would take longer to report than to compute."""
    assert [case.id for case in all_figures() if not agrees(*case.values)] == []


@pytest.mark.parametrize("source", SETS)
def test_every_source_says_where_it_comes_from(source):
    folder = HERE / source
    expected = SETS[source]
    assert set(expected["call"]) == {figure["call"] for figure in figures(expected)}, "a call that no figure rests on"
    assert (folder / "SOURCE.md").read_text().startswith("# ")
    assert expected["cite"]
    assert expected["confidence"]
    for figure in figures(expected):
        assert figure["call"] in expected["call"], figure["what"]
        assert figure["source"] in ("read", "memory", "summary", "afterwards", "computed"), figure["what"]
        assert ("rounded_inputs" in figure) == ("unrounded" in figure), figure["what"]
        assert isinstance(figure["printed"], str)
    if (folder / "data.csv").exists():
        head = (folder / "data.csv").read_text().splitlines()[:2]
        assert head[1].startswith("# Origin: ")
        assert "icence" in head[1]


def test_only_prints_at_the_end_of_double_precision_are_held_to_less_than_their_last_digit():
    wider = [(source, figure) for source, expected in SETS.items() for figure in figures(expected)
             if tolerance(figure) > half_unit(figure["printed"])]
    assert wider  # the rule can be seen to work
    for source, figure in wider:
        assert len(Decimal(figure["printed"]).as_tuple().digits) >= 13, (source, figure["what"])
        assert figure["exact"] <= 2e-12, (source, figure["what"])
        assert "`exact`" in (HERE / source / "SOURCE.md").read_text(), source


def test_a_wrong_figure_would_fail():
    """The comparison itself can fail: one unit of the last digit off is refused."""
    folder, expected = HERE / "systolic_1999", SETS["systolic_1999"]
    figure = next(item for item in expected["figure"] if item["of"] == "bias.value")
    assert figure["printed"] == "-16.29"
    assert agrees(folder, expected["call"]["limits"], figure)
    assert not agrees(folder, expected["call"]["limits"], {**figure, "printed": "-16.30"})
