"""The page in many cases: texts too small, outside the paper or on one another, and pictures to look at.

    python benchmarks/pages.py                          counts faults
    python benchmarks/pages.py --pictures FOLDER        writes every page there too, in colour and in grey
    python benchmarks/pages.py --pictures FOLDER loud   those whose names hold a word

Places are those of the own renderer of PDF and SVG, so that they are what is printed. Every case is one sheet of A4 or
the run fails. The adversary is in the table: names of 260 signs, other scripts, 30 sessions with 20 bands, a day of 24
hours, intervals without limits, six causes and seven warnings at once.
"""

from __future__ import annotations

import argparse
import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from agree.report.about import About
from agree.report.drawing.pdf import pdf_of
from agree.report.page.compose import draw_page, metadata, png_of
from agree.report.story.provenance import Provenance
from tests.report.layouts import CASES, faults

STATED = About({"name": "pedals", "serial": "P-1234567890", "firmware": "1.2.3", "zero_before": "-12",
                "zero_after": "-14", "crank_length": "172.5 mm"}, {"serial": "R-7", "firmware": "9"},
               ({"temperature": "19 °C"},))
TOLD = Provenance(STATED, ("agree", "check", "reference.csv", "device.csv", "--claim", "1.5%",
                           "--reference-uncertainty", "±1 %", "-o", "page.pdf"))


def one(name: str, folder: Path | None) -> list[str]:
    """Lay one case out, and return its faults."""
    from PIL import Image

    check = CASES[name]()
    paper = draw_page(check, TOLD)
    found = faults(paper)
    data = pdf_of(paper.figure, metadata=metadata(check))
    sheets = re.findall(rb"/MediaBox \[0 0 (\S+) (\S+)\]", data)
    if sheets != [(b"595.28", b"841.89")]:
        found.append(f"sheets: {sheets}")
    if folder is not None:
        place = folder / f"{re.sub(r'[^a-zA-Z0-9.]+', '-', name)}.png"
        place.write_bytes(png_of(paper, 110))
        with Image.open(place) as picture:
            picture.convert("L").save(place.with_suffix(".grey.png"))
    return found


def main() -> None:
    """Lay every case out."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("words", nargs="*", help="only cases whose names hold one of these")
    parser.add_argument("--pictures", type=Path, metavar="FOLDER")
    options = parser.parse_args()
    if options.pictures is not None:
        options.pictures.mkdir(parents=True, exist_ok=True)
    names = [name for name in CASES if not options.words or any(word in name for word in options.words)]
    wrong = 0
    for name in names:
        found = one(name, options.pictures)
        wrong += len(found)
        for text in found:
            print(f"{name}: {text}")
    print(f"{len(names)} pages, {wrong} faults")
    sys.exit(1 if wrong or len(names) == 0 else 0)


if __name__ == "__main__":
    main()
