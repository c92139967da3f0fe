"""A slip of one digit in a cell of the published data is noticed by the prints.

    python tests/published/test_slips.py

The command tries more cells and prints every set. Prints after ranks, and prints of two digits, cannot notice all.
"""

import sys
import tomllib
import warnings
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

from published_calls import from_columns, parsed  # noqa: E402
from published_sets import figures  # noqa: E402
from published_without_data import WITHOUT_DATA  # noqa: E402
from test_published import off  # noqa: E402

from agree import AgreeError  # noqa: E402

LEAST = 0.90


def columns_read(head, expected):
    """Places of the columns that a call names (all if it names none): row numbers, labels of repeats are no data."""
    named = str(list(expected["call"].values()))
    return [k for k, name in enumerate(head) if f"'{name}'" in named] or list(range(len(head)))


def noticed(lines, expected):
    """Whether a print is missed by these data, or a call refuses them."""
    results = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of spoilt data; only a print that is missed counts
        for figure in figures(expected):
            call = figure["call"]
            if expected["call"][call]["function"] in WITHOUT_DATA:
                continue
            try:
                if call not in results:
                    results[call] = from_columns(parsed(lines), expected["call"][call])
                if not off(figure, results[call]) <= 0:
                    return True
            except AgreeError:
                return True
    return False


def slip(lines, places, rng):
    """Change one digit of one cell to another one."""
    row = rng.integers(1, len(lines))
    cells = lines[row].split(",")
    column = rng.choice(places)
    cell = cells[column]
    place = rng.choice([k for k, sign in enumerate(cell) if sign.isdigit()])
    cells[column] = f"{cell[:place]}{(int(cell[place]) + rng.integers(1, 10)) % 10}{cell[place + 1:]}"
    return [*lines[:row], ",".join(cells), *lines[row + 1:]]


def slips(count, seed=1):
    """Slips noticed and tried, by set."""
    rng, found = np.random.default_rng(seed), {}
    for path in sorted(HERE.glob("*/data.csv")):
        expected = tomllib.loads((path.parent / "expected.toml").read_text())
        lines = [line for line in path.read_text().splitlines() if line[0] != "#"]
        places = columns_read(lines[0].split(","), expected)
        tried = [noticed(slip(lines, places, rng), expected) for _ in range(count)]
        found[path.parent.name] = sum(tried), len(tried)
    return found


def test_data_as_they_are_are_not_taken_for_a_slip():
    for path in HERE.glob("*/data.csv"):
        expected = tomllib.loads((path.parent / "expected.toml").read_text())
        assert not noticed([line for line in path.read_text().splitlines() if line[0] != "#"], expected), path


def test_a_slip_of_one_digit_is_noticed():
    found = slips(6)
    assert sum(hit for hit, _ in found.values()) >= LEAST * sum(tried for _, tried in found.values()), found


if __name__ == "__main__":
    everything = slips(25)
    for name, (hit, tried) in everything.items():
        sys.stdout.write(f"{name}: {hit} of {tried}\n")
    hits, all_tried = (sum(pair[k] for pair in everything.values()) for k in (0, 1))
    sys.stdout.write(f"noticed {hits} of {all_tried}, {100 * hits / all_tried:.1f} %\n")
