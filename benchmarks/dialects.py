"""Read made dialects of text files: each must be read rightly or refused; none may be read wrongly in silence.

Run: python benchmarks/dialects.py --files 5000 [--first SEED]
Columns in eight languages beside sides, targets and averages, delimiters, decimal signs, encodings, units, markers,
rows of units, summaries, lines above and forms of time, drawn at random. The adversary are the forms that tell too
little: hh:mm, and milliseconds or minutes under a name without a unit, must be refused.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.files.test_many_dialects import FORMS, dialect, outcome


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=5000)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    found: Counter[tuple[str, str]] = Counter()
    for seed in range(options.first, options.first + options.files):
        data, watts, how = dialect(seed)
        found[how[2], outcome(data, watts)[0]] += 1
    print("| form of time | files | read rightly | refused | read wrongly |\n|---|---|---|---|---|")
    for form in sorted(FORMS):
        right, refused, wrong = (found[form, result] for result in ("right", "refused", "wrong"))
        print(f"| {form} | {right + refused + wrong} | {right} | {refused} | {wrong} |")
    sums = [sum(count for (_, result), count in found.items() if result == wanted)
            for wanted in ("right", "refused", "wrong")]
    print(f"| all | {sum(sums)} | {sums[0]} | {sums[1]} | {sums[2]} |")
    if sums[2]:
        sys.exit(f"{sums[2]} files were read wrongly")


if __name__ == "__main__":
    main()
