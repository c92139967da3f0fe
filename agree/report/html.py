"""One self-contained HTML file: no network, no scripts."""

from __future__ import annotations

from html import escape
from pathlib import Path

import agree
from agree.assessment.claim_check import ClaimCheck
from agree.report import text as words
from agree.report.page import CAUTION, render
from agree.report.write import json_text, write_text

_STYLE = """
body { font: 15px/1.45 "DejaVu Sans", Verdana, sans-serif; color: #1a1a1a; background: #fff; max-width: 62em;
       margin: 1.5em auto; padding: 0 1em; }
h1 { font-size: 1.3em; }
figure { margin: 0; border: 1px solid #d4d4d4; }
figure svg { display: block; width: 100%; height: auto; }
pre { overflow-x: auto; font: 13px/1.4 "DejaVu Sans Mono", monospace; background: #f4f4f4; padding: 0.8em; }
footer { color: #595959; font-size: 0.85em; }
"""


def _shown(text: str) -> str:
    """Escape, with a question mark for what has no UTF-8 form, such as bytes of an odd file name."""
    return escape(text.encode("utf-8", "replace").decode("utf-8"))


def html_text(check: ClaimCheck) -> str:
    """Return the whole document: answer, the page as a drawing, the summary and the JSON."""
    sentence = _shown(words.headline(check))
    svg = render(check, ".svg").decode("utf-8")
    drawing = svg[svg.index("<svg"):].replace("<svg", f'<svg role="img" aria-label="{sentence}"', 1)
    title = _shown(f"Accuracy claim {check.claim.text}: {check.verdict}")
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width">
<title>{title}</title>
<style>{_STYLE}</style>
</head>
<body>
<h1>{sentence}</h1>
<figure>
{drawing}</figure>
<h2>Summary</h2>
<pre>{_shown(check.summary())}</pre>
<details>
<summary>All numbers (JSON)</summary>
<pre>{_shown(json_text(check))}</pre>
</details>
<footer>{escape(CAUTION)} agree {escape(agree.__version__)}</footer>
</body>
</html>
"""


def write_html(check: ClaimCheck, path: str | Path) -> None:
    """Write the check as one HTML file that needs nothing else, whole or not at all.

    Parameters
    ----------
    check : ClaimCheck
        The answer to a claim.
    path : str or Path
        Where to; an existing file is replaced.

    Raises
    ------
    InputError
        A folder that does not exist, or a place that cannot be written.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, check_claim
    >>> from agree.report.html import html_text
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> html_text(check_claim(Pairs(reference=watts, device=0.97 * watts), "1.5 %"))[:15]
    '<!DOCTYPE html>'
    """
    write_text(path, html_text(check))
