"""How many published figures there are, and how far they are evidence.

    python tests/published/test_count.py

A figure is independent evidence if its print was read, or recalled before ours was computed, and is met as it stands.
A print that comes out only from the paper's own rounded inputs is counted apart, one computed by another program not at
all.
"""

import sys
import tomllib
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent


def kind(figure):
    """One of "read", "memory", "rounded inputs", "computed"."""
    if figure["source"] == "computed":
        return "computed"
    return "rounded inputs" if "rounded_inputs" in figure else figure["source"]


def count(folder=HERE):
    """Kinds of figures by source."""
    return {path.parent.name: Counter(map(kind, tomllib.loads(path.read_text())["figure"]))
            for path in sorted(folder.glob("*/expected.toml"))}


def sentence(counts):
    """What there is, in one sentence."""
    total = sum(counts.values(), Counter())
    sources = sum(bool(found["read"] + found["memory"]) for found in counts.values())
    return (f"{total['read'] + total['memory']} independent published figures from {sources} sources "
            f"({total['read']} read, {total['memory']} from memory); besides {total['rounded inputs']} met from the "
            f"paper's rounded inputs and {total['computed']} computed by another program")


def test_independent_figures_are_many_and_of_many_sources():
    counts = count()
    total = sum(counts.values(), Counter())
    assert total["read"] + total["memory"] >= 120
    assert sum(bool(found["read"] + found["memory"]) for found in counts.values()) >= 25


def test_what_is_no_evidence_is_not_counted(tmp_path):
    for name, lines in (("one", ['source = "read"', 'source = "memory"', 'source = "computed"',
                                 'source = "memory"\nrounded_inputs = []']), ("two", ['source = "computed"'])):
        (tmp_path / name).mkdir()
        (tmp_path / name / "expected.toml").write_text("\n".join(f"[[figure]]\n{line}" for line in lines))
    assert sentence(count(tmp_path)) == (
        "2 independent published figures from 1 sources (1 read, 1 from memory); besides 1 met from the paper's "
        "rounded inputs and 2 computed by another program")


if __name__ == "__main__":
    for source, found in count().items():
        sys.stdout.write(f"{source}: {', '.join(f'{number} {name}' for name, number in sorted(found.items()))}\n")
    sys.stdout.write(sentence(count()) + "\n")
