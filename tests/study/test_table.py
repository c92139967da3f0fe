"""The table of a study: cells, contrasts, and its forms."""

import csv
import io
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from agree import InputError
from agree.core.errors import SampleSizeError
from agree.report.studies.methods import missing_line
from agree.report.studies.table_forms import contrast_rows, table_text, write_table
from agree.study import Line, Study, study_table
from agree.study.statistics.clustered import cell_means, contrast
from agree.study.statistics.fleet import fleet_of

RNG = np.random.default_rng(8)
UNCERTAIN = {"normal": 0.3, "rectangles": []}


def study(errors, *, claim="1.5 %", known=None, drop=(), **options):
    """A study with (athletes, devices, conditions, sessions) mean errors in per cent, made without recordings."""
    lines, records = [], []
    for (a, d, c, s), error in np.ndenumerate(errors):
        if (a, d, c, s) in drop:
            continue
        lines.append(Line(labels={"unit": f"D{d}", "session": str(s), "reference": f"{a}{c}{s}",
                                  "device": f"{a}{d}{c}{s}", "claim": ""},
                          sessions=1, verdict="holds", bias=float(error), low=0.0, high=0.0,
                          bias_unit="%", factors={"athlete": f"P{a}", "condition": f"C{c}"}))
        told = {"value": float(error), "low": float(error) - 0.2, "high": float(error) + 0.2, "level": 0.95,
                "method": "t", "standard_error": 0.1, "df": 8.0}
        records.append({"result": {"bias_percent": told, "seconds": {"overlap": 3600, "used": 3500}, "readings": [{
            "meaning": "average", "unit": "%", "limit": 1.5, "own": told,
            "known": known or {"normal": 0.0, "rectangles": []}}]}})
    return Study(pairs=tuple(lines), units=(), results=tuple(records), claim=claim, options=options,
                 computed=len(lines), reused=0, failed=0, fleet=None)


ERRORS = RNG.normal(size=(5, 2, 3, 2)) * 0.3 + RNG.normal(size=(5, 1, 1, 1)) * 0.5 + np.array([0.0, 2.4])[:, None, None]


def test_cells_are_those_of_athletes_means():
    table = study_table(study(ERRORS))
    assert [(cell.device, cell.condition, cell.pairs, cell.groups, cell.counted) for cell in table.cells] == [
        (f"D{d}", f"C{c}", 10, 5, "athletes") for d in range(2) for c in range(3)]
    for cell, (d, c) in zip(table.cells, np.ndindex(2, 3), strict=True):
        own = ERRORS[:, d, c]
        found = stats.ttest_1samp(own.mean(axis=1), 0).confidence_interval(0.95)
        assert (cell.bias.value, cell.bias.low, cell.bias.high) == pytest.approx((own.mean(), *found))
        within = own.var(axis=1, ddof=1).mean()
        total = np.sqrt(own.mean(axis=1).var(ddof=1) + within / 2)
        assert cell.sd.value == pytest.approx(total)
        assert (cell.lower.value, cell.upper.value) == pytest.approx(own.mean() + np.array([-1, 1]) * 1.959964 * total)
        assert cell.typical.value == pytest.approx(np.sqrt(within))
        assert cell.typical.low == pytest.approx(np.sqrt(5 * within / stats.chi2.ppf(0.975, 5)))
        inside, outside = (abs(limit) <= 1.5 for limit in found), found[0] > 1.5
        assert cell.verdict == ("does not hold" if outside else "holds" if all(inside) else "not settled")
    assert {"does not hold"} <= {cell.verdict for cell in table.cells}


def test_balanced_contrasts_are_the_t_interval_of_athletes_own_contrasts():
    table = study_table(study(ERRORS))
    own = {"": (ERRORS[:, 1] - ERRORS[:, 0]).mean(axis=(1, 2)), "C1": (ERRORS[:, 1] - ERRORS[:, 0])[:, 1].mean(axis=1)}
    for within, values in own.items():
        found = next(item for item in table.contrasts if item.factor == "device" and item.within == within)
        expected = stats.ttest_1samp(values, 0).confidence_interval(0.95)
        assert (found.first, found.second) == ("D1", "D0")
        assert (found.difference.low, found.difference.high) == pytest.approx(tuple(expected))
        assert found.difference.df == pytest.approx(4)
    assert len(table.contrasts) == 1 + 3 + 3 * (1 + 2)


def slow_contrast(y, cell, cluster, ratio, c):
    """The same from whole matrices, as the papers write it."""
    x = np.eye(cell.max() + 1)[cell]
    phi = np.eye(y.size) + ratio * (cluster[:, None] == cluster)
    w = np.linalg.inv(phi)
    m = np.linalg.inv(x.T @ w @ x)
    off = np.eye(y.size) - x @ m @ x.T @ w
    columns = []
    for name in np.unique(cluster):
        own = np.flatnonzero(cluster == name)
        d = np.linalg.cholesky(phi[np.ix_(own, own)]).T
        b = d @ (off @ phi @ off.T)[np.ix_(own, own)] @ d.T
        values, vectors = np.linalg.eigh(b)
        root = sum(np.outer(v, v) / np.sqrt(value) for value, v in zip(values, vectors.T, strict=True)
                   if value > 1e-10 * values.max())
        columns.append(off[own].T @ (d.T @ root @ d) @ (w @ x @ m @ c)[own])
    p = np.array(columns)
    omega = p @ phi @ p.T
    return (p @ y, np.trace(omega), np.trace(omega)**2 / (omega**2).sum(), float(c @ m @ c))


def test_unbalanced_contrasts_are_those_of_whole_matrices():
    rng = np.random.default_rng(3)
    kept = rng.random((6, 2, 3, 2)) > 0.35
    athlete, device, condition, _ = (index[kept] for index in np.indices(kept.shape))
    cell, y = device * 3 + condition, rng.normal(size=kept.sum()) + athlete
    fitted = cell_means(y, cell, athlete)
    for c in ([-1, 0, 0, 1, 0, 0], [1 / 3] * 3 + [0] * 3):
        found = contrast(fitted, c, 0.95)
        parts, total, df, working = slow_contrast(y, cell, athlete, fitted.ratio, np.array(c, float))
        assert found.df == pytest.approx(df)
        assert found.standard_error == pytest.approx(np.sqrt((parts**2).sum() / min(1, total / working)))


def test_what_residuals_cannot_show_widens_the_interval():
    """An athlete alone with a cell leaves no residual there: the others' residuals are not all."""
    y = np.array([0.1, -0.1, 0.2, 0.0, 0.05, 1.0])
    cell, athlete = np.array([0, 0, 0, 0, 0, 1]), np.array([0, 0, 1, 1, 2, 2])
    fitted = cell_means(y, cell, athlete)
    parts, total, _, working = slow_contrast(y, cell, athlete, fitted.ratio, np.array([-1.0, 1.0]))
    assert total < 0.99 * working
    assert contrast(fitted, [-1, 1], 0.95).standard_error == pytest.approx(np.sqrt((parts**2).sum() * working / total))


def test_one_cluster_is_not_enough():
    with pytest.raises(SampleSizeError, match="fewer than 2 athletes or efforts bear on this contrast"):
        contrast(cell_means(np.array([1.0, 2, 3]), np.array([0, 1, 1]), np.zeros(3, int)), [-1, 1], 0.95)


def test_the_references_error_is_in_means_and_not_in_differences():
    plain, known = (study_table(study(ERRORS, known=known)) for known in (None, UNCERTAIN))
    assert known.cells[0].bias.high - known.cells[0].bias.value > plain.cells[0].bias.high - plain.cells[0].bias.value
    assert known.contrasts[0].to_dict() == plain.contrasts[0].to_dict()


def test_the_references_error_is_in_statistics_over_units_as_each_pair_has_it():
    """A reference stated in W has an uncertainty in per cent at each pair's power: it is in the stored result."""
    errors = np.repeat(ERRORS, 2, axis=1)
    plain, known = (fleet_of(made.pairs, made.results, {}) for made in (study(errors), study(errors, known=UNCERTAIN)))
    half, wide = (item.mean.high - item.mean.value for item in (plain, known))
    assert wide == pytest.approx(np.hypot(half, 1.959964 * 0.3))
    assert (plain.names, plain.unit, plain.limit) == (("D0", "D1", "D2", "D3"), "%", 1.5)


def test_single_pairs_say_that_they_speak_of_one_recording():
    table = study_table(study(ERRORS[:1, :, :, :1]))
    assert [cell.counted for cell in table.cells] == ["recording"] * 6
    assert table.cells[0].sd is None
    assert table.cells[0].bias.high == pytest.approx(ERRORS[0, 0, 0, 0] + 0.2)


def test_several_specimens_of_one_device_widen_its_mean():
    made = study(ERRORS)
    table = study_table(made, device="session", condition="")
    assert table.clusters == "athletes and units"
    both = study_table(made, condition="", device="unit").cells
    assert {cell.bias.method for cell in table.cells} == {"t, between athletes and specimens"}
    assert all(cell.bias.method == "t, between subjects" for cell in both)
    assert table.cells[0].bias.df == 1  # two units
    bias = table.cells[0].bias  # t of 1 degree of freedom at 97.5 %: 12.70620
    assert (bias.high - bias.value, bias.value - bias.low) == pytest.approx((12.70620 * bias.standard_error,) * 2)


def test_columns_and_studies_that_cannot_be_used():
    with pytest.raises(InputError, match=re.escape("`athlete` is 'rider', which is no column of the list; expected one "
                                                   "of unit, session, athlete, condition")):
        study_table(study(ERRORS), athlete="rider")


def test_forms(tmp_path):
    table = study_table(study(ERRORS, drop=[(0, 1, 2, 0)]))
    rows = list(csv.DictReader(io.StringIO(table_text(table, ".csv"))))
    assert [row["kind"] for row in rows].count("cell") == 6
    assert float(rows[0]["bias_low"]) == table.cells[0].bias.low
    assert len(rows) == 6 + len(table.contrasts)
    markdown = table_text(table, ".md")
    assert markdown.startswith("| unit | condition | pairs | athletes | mean error [95 %], % |")
    assert "59 pairs of recordings and 5 athletes" in markdown
    assert "Of 59.0 h in common, 97.2 % were used" in markdown
    latex = table_text(table, ".tex")
    assert latex.count(r"\begin{tabular}") == 2
    assert not re.search(r"(?<!\\)%", latex.split("\n", 1)[1])  # the first line is a comment
    assert '<th scope="row">D1 minus D0</th>' in table_text(table, ".html")
    write_table(table, tmp_path / "table.md")
    assert (tmp_path / "table.md").read_text() == markdown
    with pytest.raises(InputError, match=r"table 'table.doc' must end in \.csv, \.md, \.tex or \.html; got \.doc"):
        write_table(table, "table.doc")


def test_a_difference_that_nobody_has_is_not_known():
    table = study_table(study(ERRORS[:2, :, :1, :1], drop=[(0, 0, 0, 0), (1, 1, 0, 0)]))
    assert contrast_rows(table)[1] == [["D0 minus D1", "mean of all in common", "not known: too few have both"]]


def test_results_without_a_number_or_a_limit_stop_nothing():
    made = study(np.repeat(ERRORS, 2, axis=1))
    readings = [record["result"]["readings"][0] for record in made.results]
    readings[0]["own"] = readings[0]["own"] | {"value": None}
    assert study_table(made).notes[0].values == {"pairs": 1, "of": 120}
    assert fleet_of(made.pairs, made.results, {}).limit == 1.5
    for item in readings:
        item["limit"] = None
    assert fleet_of(made.pairs, made.results, {}) is None
    assert {cell.verdict for cell in study_table(made).cells} == {""}


@pytest.mark.parametrize("why", ["because_faults", "because_gaps", "because_copy", "because_one_ride",
                                 "because_too_little", "because_not_followed", "because_programme"])
@pytest.mark.parametrize(("withheld", "verdict"), [(2, "holds"), (3, "not settled")])
def test_a_cell_does_not_hold_where_more_than_a_fifth_of_its_pairs_were_withheld(withheld, verdict, why):
    made = study(RNG.normal(size=(5, 1, 1, 2)) * 0.1)
    for record in made.results[:withheld]:
        record["result"]["readings"][0]["because"] = {"kind": why}
    assert study_table(made).cells[0].verdict == verdict


def test_empty_cells_are_called_blank_and_no_difference_to_them_is_shown():
    made = study(ERRORS)
    lines = [replace(line, factors={"condition": "" if k % 4 else "C0", "athlete": ""})
             for k, line in enumerate(made.pairs)]
    table = study_table(replace(made, pairs=tuple(lines)))
    assert {cell.condition for cell in table.cells} == {"C0", "(blank)"}
    assert {item.factor for item in table.contrasts} == {"device"}
    assert missing_line(table) == ("45 pairs have no condition: no difference to them is shown. 60 pairs have no "
                                   "athlete: they count as of one athlete.")


def test_names_are_no_markup_in_any_form():
    names = {"D0": "[A] <i>b</i>\n50 % & \\ | $x$ {y} #1 ~ *", "D1": "*[B]*"}
    made = study(ERRORS)
    lines = [replace(line, labels={**line.labels, "unit": names[line.labels["unit"]]}) for line in made.pairs]
    table = study_table(replace(made, pairs=tuple(lines)))
    assert next(csv.DictReader(io.StringIO(table_text(table, ".csv"))))["device"] == names["D0"].replace("\n", " ")
    markdown = table_text(table, ".md").splitlines()
    assert markdown[2].startswith(
        r"| \[A\] &lt;i&gt;b&lt;/i&gt; 50 % &amp; \\ \| \$x\$ \{y\} \#1 \~ \* | C0 |")
    assert {len(re.findall(r"(?<!\\)\|", line.replace(r"\\", ""))) for line in markdown[:8]} == {11}
    latex = table_text(table, ".tex").splitlines()
    assert latex[6].startswith(
        r"{}[A] \textless{}i\textgreater{}b\textless{}/i\textgreater{} 50 \% \& \textbackslash{} \textbar{} "
        r"\$x\$ \{y\} \#1 \textasciitilde{} * & C0 &")
    assert latex[9].startswith("{}*[B]* & C0 &")
    assert "<i>" not in table_text(table, ".html")
