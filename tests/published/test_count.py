"""How many published figures there are, how far they are evidence, and which methods they stand behind.

    python tests/published/test_count.py

A figure counts once, if it is of a publication and its print was read, or recalled before ours was computed, and is met
as it stands. Counted apart: prints that come out only from the paper's own rounded inputs. Not counted: prints met a
second time by another function (`again`), figures that rest on nothing but a printed summary (`summary`), those
recalled after ours were known or whose publication is not known (`afterwards`), and what another program printed
(`computed`). All of them are tested.
"""

import sys
import tomllib
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent
METHODS = ("default exact limits", "concordance interval", "deviation index", "coverage probability", "Grubbs",
           "quantile limits", "linearity", "Fieller", "MOVER", "Hartung-Knapp", "simultaneous intervals",
           "Deming with replicates", "York", "equivalence", "Paule-Mandel")
# Hartung-Knapp and Paule-Mandel: prints of equal errors only, and of the Q profile, which solves the latter's equation.
# No print of these is known to those who wrote the tests, and none is invented: coverage (benchmarks/coverage.py) and
# the defining equations (tests/estimators) hold them up.
NO_PRINT = {
    "concordance interval": "examples are known with data or with an interval, not with both",
    "Grubbs": "data of 1973 were recalled without the printed estimates",
    "Deming with replicates": "no example with replicates and its line was recalled",
}
COUNTED = ("read", "memory")


def kind(figure):
    """One of "read", "memory", "rounded inputs", "again", "summary", "afterwards", "computed"."""
    if figure["source"] in COUNTED and figure.get("again"):
        return "again"
    return "rounded inputs" if figure["source"] in COUNTED and "rounded_inputs" in figure else figure["source"]


def load(folder=HERE):
    """Contents of every expected.toml, by the name of its folder."""
    return {path.parent.name: tomllib.loads(path.read_text()) for path in sorted(folder.glob("*/expected.toml"))}


def publication(expected, figure):
    """Name of the publication a figure is of; sets of one publication name the same."""
    return figure.get("publication") or expected.get("publication") or expected["cite"]


def count(folder=HERE):
    """Kinds of figures by publication."""
    found = {}
    for expected in load(folder).values():
        for figure in expected["figure"]:
            found.setdefault(publication(expected, figure), Counter())[kind(figure)] += 1
    return found


def behind(folder=HERE):
    """Figures recalled or read, those met again among them, by the method they stand behind."""
    found = Counter()
    for expected in load(folder).values():
        for figure in expected["figure"]:
            if kind(figure) in (*COUNTED, "again"):
                found.update(expected["call"][figure["call"]].get("behind", ()))
    return found


def sentence(counts):
    """What there is, in one sentence."""
    total = sum(counts.values(), Counter())
    publications = sum(bool(found["read"] + found["memory"]) for found in counts.values())
    return (f"{total['read'] + total['memory']} published figures from {publications} publications "
            f"({total['read']} read, {total['memory']} from memory); besides {total['rounded inputs']} met from the "
            f"paper's rounded inputs, {total['again']} met again by another function, {total['summary']} from printed "
            f"summaries, {total['afterwards']} recalled afterwards and {total['computed']} by another program")


def test_figures_are_many_and_of_many_publications():
    counts = count()
    total = sum(counts.values(), Counter())
    assert total["read"] + total["memory"] >= 220
    assert sum(bool(found["read"] + found["memory"]) for found in counts.values()) >= 30


def test_a_figure_counts_once():
    for name, expected in load().items():
        seen = Counter((publication(expected, figure), figure["what"], figure["printed"])
                       for figure in expected["figure"] if kind(figure) in COUNTED)
        assert not [figure for figure, times in seen.items() if times > 1], name


def test_a_print_stands_behind_each_method_or_its_lack_is_said():
    found = behind()
    assert set(found) <= set(METHODS), "a method is misspelt"
    assert {method for method in METHODS if not found[method]} == set(NO_PRINT)


def test_what_is_no_evidence_is_not_counted(tmp_path):
    for name, lines in (("one", ['source = "read"', 'source = "memory"', 'source = "computed"',
                                 'source = "memory"\nrounded_inputs = []', 'source = "memory"\nagain = true',
                                 'source = "memory"\npublication = "other"']),
                        ("two", ['source = "computed"', 'source = "summary"', 'source = "afterwards"'])):
        (tmp_path / name).mkdir()
        head = f'cite = "{name}"\n'
        (tmp_path / name / "expected.toml").write_text(head + "\n".join(f"[[figure]]\n{line}" for line in lines))
    assert sentence(count(tmp_path)) == (
        "3 published figures from 2 publications (1 read, 2 from memory); besides 1 met from the paper's rounded "
        "inputs, 1 met again by another function, 1 from printed summaries, 1 recalled afterwards and 2 by another "
        "program")


if __name__ == "__main__":
    for source, kinds in count().items():
        sys.stdout.write(f"{source}: {', '.join(f'{number} {name}' for name, number in sorted(kinds.items()))}\n")
    for method in METHODS:
        sys.stdout.write(f"behind {method}: {behind()[method] or 'none known: ' + NO_PRINT[method]}\n")
    sys.stdout.write(sentence(count()) + "\n")
