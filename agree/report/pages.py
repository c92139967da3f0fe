"""A check as a page in any of its forms: bytes, or a file written whole or not at all."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from agree.assessment.claim_check import ClaimCheck
from agree.core.errors import InputError
from agree.files.writing import write_bytes
from agree.report.story.provenance import Provenance

Form = Literal["pdf", "png", "svg", "html"]
FORMS: tuple[Form, ...] = ("pdf", "png", "svg", "html")


def render_page(check: ClaimCheck, form: Form, *, provenance: Provenance | None = None) -> bytes:
    """Return the page of a check as bytes.

    Parameters
    ----------
    check : ClaimCheck
        The answer to a claim.
    form : {"pdf", "png", "svg", "html"}
        One A4 page with live text (pdf, svg), its picture at 150 dots an inch (png), or one HTML file that needs
        nothing else.
    provenance : Provenance, optional
        What the tester states, and the command, for the foot of the page.

    Returns
    -------
    bytes
        The same bytes for the same check and versions.

    Raises
    ------
    InputError
        Another form.

    See Also
    --------
    write_page : Write the page to a file.
    check_claim : Make the check.

    References
    ----------
    ISO 216 for the size of the page. "The page, part by part" in the documentation.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, check_claim, render_page
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> render_page(check_claim(Pairs(reference=watts, device=0.97 * watts), "1.5 %"), "html")[:15]
    b'<!DOCTYPE html>'
    """
    if form not in FORMS:
        raise InputError(f"`form` must be one of {', '.join(FORMS)}; got {form!r}", option="form")
    told = Provenance() if provenance is None else provenance
    if form == "html":
        from agree.report.html.document import html_text

        return html_text(check, told).encode("utf-8", "replace")
    from agree.report.page.compose import render

    return render(check, form, told)


def write_page(check: ClaimCheck, path: str | Path, *, provenance: Provenance | None = None) -> None:
    """Write the page of a check, whole or not at all.

    Parameters
    ----------
    check : ClaimCheck
        The answer to a claim.
    path : str or Path
        Where to; the suffix says the form: .pdf, .png, .svg or .html. An existing file is replaced.
    provenance : Provenance, optional
        As for `render_page`.

    Raises
    ------
    InputError
        Another suffix, a folder that does not exist, or a place that cannot be written.

    See Also
    --------
    render_page : The page as bytes.
    check_claim : Make the check.

    References
    ----------
    ISO 216 for the size of the page. "The page, part by part" in the documentation.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import numpy as np
    >>> from agree import Pairs, check_claim, write_page
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_page(check_claim(Pairs(reference=watts, device=0.97 * watts), "1.5 %"), Path(folder) / "page.svg")
    ...     [path.name for path in Path(folder).iterdir()]
    ['page.svg']
    """
    suffix = Path(path).suffix.lower()
    form = next((name for name in FORMS if suffix == f".{name}"), None)
    if form is None:
        raise InputError(f"page {str(path)!r} must end in {', '.join(f'.{name}' for name in FORMS[:-1])} or .html; got "
                         f"{suffix or 'no suffix'}")
    write_bytes(path, render_page(check, form, provenance=provenance))
