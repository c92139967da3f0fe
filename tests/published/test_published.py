"""Every published figure, one test each, at half a unit of its last printed digit.

A folder holds `data.csv`, `expected.toml` and `SOURCE.md`. In `expected.toml` a `[call.NAME]` says what is
computed, a `[[figure]]` what was printed: `printed` (as a string, digits kept), `call`, `of` (path into the
result), `source` of the printed figure: `read` on a page or in a test suite, or `memory`. Others are tested and
not counted: `summary` (it rests on nothing but a printed summary), `afterwards` (recalled after ours was known, or
of no known publication), `computed` (by another program). Optional:

- `behind` (of a call): methods that its figures hold up; `publication`: a name shared by several sets;
- `again`: the same print met by another function or from other data, not counted;

- `rounded_inputs`, `unrounded`: the paper computed the figure from rounded ones; a list of [factor, path,
  digits] whose sum of factor * round(value, digits) must give the print, while our own value must give
  `unrounded`;
- `exact`: relative tolerance for figures certified beyond the reach of half a digit, or exact;
- `where`: table or section; `note`.

A call may take options from `columns` (or from `weights`, 1/variance), and `only` the rows with a value in a column.
"""

import sys
import tomllib
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))  # the calls stand beside, and the page "Validation" loads this file from elsewhere

from published_calls import compute, value_at  # noqa: E402

SOURCES = sorted(path.parent.name for path in HERE.glob("*/expected.toml"))


def half_unit(printed):
    """Half a unit of the last printed digit."""
    return 0.5 * 10.0 ** Decimal(printed).as_tuple().exponent


def off(figure, result):
    """How far our value is from the print, beyond what the print's last digit leaves open; 0 or less if it agrees."""
    ours, printed = value_at(result, figure["of"]), figure["printed"]
    tolerance = figure["exact"] * abs(float(printed)) if "exact" in figure else half_unit(printed)
    wrong = 0.0
    if "rounded_inputs" in figure:
        wrong = abs(ours - float(figure["unrounded"])) - half_unit(figure["unrounded"])
        ours = sum(factor * round(value_at(result, path), digits)
                   for factor, path, digits in figure["rounded_inputs"])
    # A few ulps beyond half a unit, for prints that are ties in decimal.
    return max(wrong, abs(ours - float(printed)) - tolerance - 4 * np.spacing(abs(float(printed))))


def all_figures():
    for source in SOURCES:
        expected = tomllib.loads((HERE / source / "expected.toml").read_text())
        for figure in expected["figure"]:
            yield pytest.param(HERE / source, expected["call"][figure["call"]], figure,
                               id=f"{source}-{figure['what'].replace(' ', '_')}")


@pytest.mark.parametrize(("folder", "call", "figure"), list(all_figures()))
def test_published_figure(folder, call, figure):
    assert off(figure, compute(folder, call, figure)) <= 0


@pytest.mark.parametrize("source", SOURCES)
def test_every_source_says_where_it_comes_from(source):
    folder = HERE / source
    expected = tomllib.loads((folder / "expected.toml").read_text())
    assert (folder / "SOURCE.md").read_text().startswith("# ")
    assert expected["cite"]
    assert expected["confidence"]
    for figure in expected["figure"]:
        assert figure["source"] in ("read", "memory", "summary", "afterwards", "computed"), figure["what"]
        assert ("rounded_inputs" in figure) == ("unrounded" in figure), figure["what"]
        assert isinstance(figure["printed"], str)
    if (folder / "data.csv").exists():
        head = (folder / "data.csv").read_text().splitlines()[:2]
        assert head[1].startswith("# Origin: ")
        assert "icence" in head[1]


def test_a_wrong_figure_would_fail():
    """The comparison itself can fail: one unit of the last digit off is refused."""
    folder = HERE / "systolic_1999"
    expected = tomllib.loads((folder / "expected.toml").read_text())
    figure = next(item for item in expected["figure"] if item["of"] == "bias.value")
    assert figure["printed"] == "-16.29"
    with pytest.raises(AssertionError):
        test_published_figure(folder, expected["call"]["limits"], {**figure, "printed": "-16.30"})
