"""How many published figures there are, how far they are evidence, and which methods they stand behind.

    python tests/published/test_count.py

A figure counts once, if it is of a publication and its print was read, or recalled before ours was computed, and is met
as it stands. Counted apart: prints that come out only from the paper's own rounded inputs. Not counted: prints met a
second time by another function (`again`), figures that rest on nothing but a printed summary (`summary`), those
recalled after ours were known or whose publication is not known (`afterwards`), and what another program printed
(`computed`). All of them are tested.
"""

import sys
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from published_sets import COUNTED, figures, kind, load, publication  # noqa: E402

METHODS = ("default exact limits", "concordance interval", "deviation index", "coverage probability", "Grubbs",
           "quantile limits", "linearity", "Fieller", "MOVER", "Hartung-Knapp", "simultaneous intervals",
           "Deming with replicates", "York", "equivalence", "Paule-Mandel", "odd session")
# Printed formulas that a method must meet to rounding, by their tests in test_closed_forms.py.
FORMULAS = {
    "concordance interval": {
        "test_concordance_interval_is_lins_where_readings_have_the_moments_of_normal_ones":
            "Lin (1989), corrected 2000",
        "test_concordance_of_scores_is_weighted_kappa_with_its_printed_variance": "Fleiss, Cohen & Everitt (1969)",
        "test_concordance_of_yes_and_no_is_kappa_with_its_printed_variance": "Bloch & Kraemer (1989)"},
    "Deming with replicates": {
        "test_deming_line_of_duplicates_and_its_jackknife_are_as_printed": "Linnet (1990, 1993)"},
    "Grubbs": {
        "test_error_variances_of_devices_have_the_residual_square_as_mean": "two-way analysis of variance"},
}


def count(sets):
    """Kinds of figures by publication."""
    found = {}
    for expected in sets.values():
        for figure in figures(expected):
            found.setdefault(publication(expected, figure), Counter())[kind(figure)] += 1
    return found


def behind(sets):
    """Figures that stand behind each method: (kind, publication, figure, special case of the call)."""
    found = {}
    for expected in sets.values():
        for figure in figures(expected):
            call = expected["call"][figure["call"]]
            for method in call.get("behind", ()):
                found.setdefault(method, []).append((kind(figure), publication(expected, figure), figure,
                                                     call.get("special_case", "")))
    return found


def row(method, prints):
    """Cells of one method: how many figures of each kind, one of the best kind, formulas, and the special cases."""
    number = Counter(item[0] for item in prints)
    best = min(prints, key=lambda item: (*COUNTED, "again").index(item[0]))
    shown = f"{best[2]['what']}: {best[2]['printed']} ({best[1]})"
    always = any(not item[3] for item in prints)
    cases = dict.fromkeys(item[3] for item in prints if item[3])
    special = ("partly: " if always and cases else "") + "; ".join(cases)
    cells = (method, *(str(number[name]) for name in (*COUNTED, "again")), shown.replace("|", "/"),
             "; ".join(FORMULAS.get(method, {}).values()), special)
    return "| " + " | ".join(cells) + " |"


def table(sets):
    """Markdown table of the methods and the prints behind them."""
    found = behind(sets)
    return ["| method | read | recalled | met again | one of them | printed formulas met | only in the special case |",
            "|---|---:|---:|---:|---|---|---|", *(row(method, found[method]) for method in METHODS)]


def sentence(counts):
    """What there is, in one sentence."""
    total = sum(counts.values(), Counter())
    publications = sum(bool(found["read"] + found["memory"]) for found in counts.values())
    return (f"{total['read'] + total['memory']} published figures from {publications} publications "
            f"({total['read']} read, {total['memory']} from memory); besides {total['rounded inputs']} met from the "
            f"paper's rounded inputs, {total['again']} met again by another function, {total['summary']} from printed "
            f"summaries, {total['afterwards']} recalled afterwards and {total['computed']} by another program")


def test_figures_are_many_and_of_many_publications():
    counts = count(load())
    total = sum(counts.values(), Counter())
    assert total["read"] + total["memory"] >= 220
    assert total["read"] >= 120
    assert sum(bool(found["read"] + found["memory"]) for found in counts.values()) >= 30


def test_a_figure_counts_once():
    for name, expected in load().items():
        seen = Counter((publication(expected, figure), figure["what"], figure["printed"])
                       for figure in figures(expected) if kind(figure) in COUNTED)
        assert not [figure for figure, times in seen.items() if times > 1], name


def test_a_tabled_figure_that_two_publications_print_counts_once():
    """The same number for the same sizes, shares and counts, in sets that rest on no data."""
    seen = Counter((figure["printed"], *sorted((key, str(value)) for key, value in figure.items()
                                               if not isinstance(value, str)))
                   for name, expected in load().items() if not (HERE / name / "data.csv").exists()
                   for figure in figures(expected) if kind(figure) in COUNTED)
    assert not [figure for figure, times in seen.items() if times > 1]


def test_a_print_stands_behind_each_method():
    found = behind(load())
    assert set(found) == set(METHODS), "a method is misspelt or has no print"
    forms = (HERE / "test_closed_forms.py").read_text()
    for method in METHODS:
        assert {item[0] for item in found[method]} <= {*COUNTED, "again"}, method
        assert all(f"def {test}(" in forms for test in FORMULAS.get(method, {}))


def test_the_table_of_methods_tells_kinds_and_special_cases():
    call = {"plain": {"behind": ["York"]}, "special": {"behind": ["York"], "special_case": "only so"}}
    figure = {"what": "slope", "printed": "1.0", "source": "memory"}
    both = [{**figure, "call": "special"}, {**figure, "call": "plain", "source": "read"}]
    one = {"a": {"cite": "A", "call": call, "figure": both}}
    assert row("York", behind(one)["York"]) == "| York | 1 | 1 | 0 | slope: 1.0 (A) |  | partly: only so |"
    one["a"]["figure"] = both[:1]
    assert row("York", behind(one)["York"]) == "| York | 0 | 1 | 0 | slope: 1.0 (A) |  | only so |"


def test_what_is_no_evidence_is_not_counted(tmp_path):
    for name, lines in (("one", ['source = "read"', 'source = "memory"', 'source = "computed"',
                                 'source = "memory"\nrounded_inputs = []', 'source = "memory"\nagain = true',
                                 'source = "memory"\npublication = "other"']),
                        ("two", ['source = "computed"', 'source = "summary"', 'source = "afterwards"'])):
        (tmp_path / name).mkdir()
        head = f'cite = "{name}"\n'
        (tmp_path / name / "expected.toml").write_text(head + "\n".join(f"[[figure]]\n{line}" for line in lines))
    with (tmp_path / "two" / "expected.toml").open("a") as file:
        file.write('\n[[table]]\nwhat = "n = {n}"\nsource = "read"\ncolumns = ["n", "printed"]\n'
                   'rows = [[1, "0.5"], [2, "0.6"]]\n')
    assert [figure.get("what") for figure in figures(load(tmp_path)["two"])][3:] == ["n = 1", "n = 2"]
    assert sentence(count(load(tmp_path))) == (
        "5 published figures from 3 publications (3 read, 2 from memory); besides 1 met from the paper's rounded "
        "inputs, 1 met again by another function, 1 from printed summaries, 1 recalled afterwards and 2 by another "
        "program")


if __name__ == "__main__":
    everything = load()
    for source, kinds in count(everything).items():
        sys.stdout.write(f"{source}: {', '.join(f'{number} {name}' for name, number in sorted(kinds.items()))}\n")
    sys.stdout.write("\n".join(["", *table(everything), "", sentence(count(everything))]) + "\n")
