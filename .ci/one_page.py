"""Whether a folder holds one PDF of one A4 page."""

import re
import sys
from pathlib import Path

pages = sorted(Path(sys.argv[1]).rglob("*.pdf"))
data = pages[0].read_bytes() if pages else b""
boxes = {tuple(float(v) for v in box.split()) for box in re.findall(rb"/MediaBox\s*\[([^\]]*)\]", data)}
count = len(re.findall(rb"/Type\s*/Page\b(?!s)", data))
good = all(abs(w - 595.276) < 1 and abs(h - 841.89) < 1 for _, _, w, h in boxes)
if len(pages) != 1 or count != 1 or not boxes or not good:
    sys.exit(f"one A4 page is expected; got {len(pages)} PDF, {count} page(s), boxes {boxes}")
sys.stdout.write(f"{pages[0]}: one A4 page\n")
