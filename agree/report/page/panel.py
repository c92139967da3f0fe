"""One panel for a paper, with its caption and a methods sentence; and a picture for a screen in large type."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import scipy
from matplotlib.axes import Axes

import agree
from agree.assessment.claim_check import ClaimCheck
from agree.assessment.single_readings import readings_of
from agree.core.errors import InputError
from agree.core.results.words import percent
from agree.files.writing import write_bytes
from agree.report.drawing.pdf import pdf_of
from agree.report.drawing.svg import svg_of
from agree.report.figures.bands import draw_averaging, draw_bands
from agree.report.figures.look import new_axes
from agree.report.figures.over_time import draw_time
from agree.report.figures.questions import draw_questions, draw_sessions, named_questions, named_sessions
from agree.report.page.compose import metadata, png_of
from agree.report.page.head import draw_badge
from agree.report.page.paper import Paper, clipped, wrap
from agree.report.story.answer import interval_name
from agree.report.story.doubt import stated
from agree.report.story.language.names import upper_first
from agree.report.story.language.vocabulary import counted
from agree.report.story.tell import tell

MM = 72 / 25.4
WIDTH_MM = 120.0     # of a panel: between one and two columns of a journal
FORMS = (".pdf", ".svg", ".png")
PNG_DPI = 300
SCREEN = (960.0, 540.0)
SCREEN_DPI = 144     # 1,920 by 1,080 dots


def _questions(paper: Paper, check: ClaimCheck) -> str:
    draw_questions(paper.axes(112, 6, paper.width - 122, paper.height - 40), check)
    rows = tell(check).questions
    pitch = (paper.height - 40) / len(rows)
    for k, row in enumerate(rows):
        paper.line(4, 6 + pitch * (k + 0.5) - 5, row.words, 7.5, "bold" if row.asked else "normal")
    return (f"The claim of {check.claim.text} asked in four ways. Bars: {interval_name(check)} that decides; thin: "
            "where 95 % of the single readings lie; shaded: allowed by the claim. Disc: holds; diamond: does not hold; "
            "circle: not settled.")


def _bands(paper: Paper, check: ClaimCheck) -> str:
    beyond = draw_bands(paper.axes(34, 8, paper.width - 44, paper.height - 36), check, readings_of(check))
    told = f" {counted(beyond, 'reading')} beyond the frame." if beyond else ""
    return (f"Error against power: {check.window_s}-s readings (small) and mean error of each power band with the "
            f"interval that decides (large); shaded: allowed by the claim of {check.claim.text}.{told}")


def _averaging(paper: Paper, check: ClaimCheck) -> str:
    draw_averaging(paper.axes(34, 8, paper.width - 44, paper.height - 36), check)
    return (f"Share of readings inside the claim of {check.claim.text} against the time they are averaged over, with "
            f"{percent(check.level)} intervals; shaded: the share needed.")


def _time(paper: Paper, check: ClaimCheck) -> str:
    strip = paper.axes(34, 6, paper.width - 44, 0.2 * (paper.height - 46))
    draw_time(paper.axes(34, 12 + 0.2 * (paper.height - 46), paper.width - 44, 0.8 * (paper.height - 46)), strip, check,
              readings_of(check))
    return (f"Error of {check.window_s}-s readings over time, in units of the claim ({check.claim.text}); above: power "
            "of the reference, W. Marks at the foot: faulty seconds, not used.")


def _sessions(paper: Paper, check: ClaimCheck) -> str:
    rows = tell(check).sessions
    ax = paper.axes(92, 6, paper.width - 102, paper.height - 40)
    draw_sessions(ax, check, rows)
    named_sessions(ax, check, rows)
    return (f"Mean error of each session by itself (dots, thin), of all {len(rows)}, and expected of the next one, "
            f"with {percent(check.level)} intervals; shaded: allowed by the claim of {check.claim.text}.")


PANELS: dict[str, tuple[Callable[[Paper, ClaimCheck], str], float]] = {
    "questions": (_questions, 46.0), "bands": (_bands, 75.0), "averaging": (_averaging, 70.0), "time": (_time, 70.0),
    "sessions": (_sessions, 0.0)}


def methods_sentence(check: ClaimCheck) -> str:
    """Say how the answer was found, ready for the methods of a paper."""
    several = len(check.pairs) > 1
    how = ("from the spread between sessions (t)" if several else
           "from 8 cosine averages of the serially dependent seconds (t with 8 degrees of freedom)")
    reference = f"with the reference's stated uncertainty ({stated(check)}) added" if stated(check) else (
        "the reference being taken as exact")
    return (f"The mean error was the sum of errors over the sum of the reference's readings; {percent(check.level)} "
            f"intervals were computed {how}, {reference}; the claim was held to be kept if the interval lay inside its "
            f"limits and not kept if wholly outside (agree {agree.__version__}, numpy {np.__version__}, scipy "
            f"{scipy.__version__}).")


def draw_panel(check: ClaimCheck, name: str, width_mm: float = WIDTH_MM) -> tuple[Paper, str]:
    """Return one panel on paper of its own, and its caption.

    Parameters
    ----------
    check : ClaimCheck
        The answer to a claim.
    name : {"questions", "bands", "averaging", "time", "sessions", "screen"}
        Which panel; "screen" is a picture of 16 to 9 with verdict, error by band and over time.
    width_mm : float
        Width, 60 to 250 mm; a screen's is fixed.

    Raises
    ------
    InputError
        Another name or width.
    """
    if name == "screen":
        return draw_screen(check), tell(check).sentence
    if name not in PANELS:
        raise InputError(f"`figure` must be one of {', '.join(PANELS)} or screen; got {name!r}", option="figure")
    if not 60 <= width_mm <= 250:
        raise InputError(f"`width_mm` must be 60 to 250; got {width_mm!r}", option="width_mm")
    draw, height = PANELS[name]
    height = height or 18 + 5 * (len(check.pairs) + 2)
    paper = Paper(width_mm * MM, height * MM)
    return paper, draw(paper, check)


def draw_figure(check: ClaimCheck, name: str, *, ax: Axes | None = None) -> Axes:
    """Draw one picture of the page of a check on axes of your own.

    Use it to put a picture of the page into a figure with others. It draws stored numbers and computes none; it does
    not write a caption, which `write_figure` returns.

    Parameters
    ----------
    check : ClaimCheck
        The answer to a claim.
    name : {"questions", "bands", "averaging", "time", "sessions"}
        The four questions against the claim; error against power; share inside against averaging time; error over time
        in claims; each session against the claim.
    ax : matplotlib Axes, optional
        Where to draw; axes of a new figure, which belongs to no global state, if not given.

    Returns
    -------
    Axes
        ``.figure`` is the figure, to be saved with ``.figure.savefig``.

    Raises
    ------
    InputError
        Another name.

    See Also
    --------
    write_figure : One picture as a file, with its caption and a methods sentence.
    write_page : All of them on one page.

    References
    ----------
    Cleveland & McGill (1984), J Am Stat Assoc 79:531, for positions on a common scale (from memory).

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, check_claim, draw_figure
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> check = check_claim(Pairs(reference=watts, device=0.97 * watts), "1.5 %")
    >>> draw_figure(check, "bands").get_xlabel()
    'power of the reference, W'
    """
    if name not in PANELS:
        raise InputError(f"`name` must be one of {', '.join(PANELS)}; got {name!r}", option="name")
    place = new_axes() if ax is None else ax
    if name == "bands":
        draw_bands(place, check, readings_of(check))
    elif name == "time":
        draw_time(place, None, check, readings_of(check))
    elif name == "averaging":
        draw_averaging(place, check)
    elif name == "sessions":
        draw_sessions(place, check)
        named_sessions(place, check, tell(check).sessions)
    else:
        draw_questions(place, check)
        named_questions(place, check)
    return place


def draw_screen(check: ClaimCheck) -> Paper:
    """Return a picture for a talk or a film: the answer in large type, error by band and over time."""
    paper, story, readings = Paper(*SCREEN), tell(check), readings_of(check)
    end = draw_badge(paper, 40, 30, check.verdict, 24)
    claim = upper_first(story.claim_line)
    paper.lines(end + 24, 34, clipped(wrap(claim, 14, 896 - end), 2), 14)
    top = paper.lines(40, 96, clipped(wrap(story.sentence, 20, 880, "bold"), 3), 20, "bold") + 14
    paper.line(40, top, "Where in the range?", 14, "bold")
    paper.line(500, top, "Over time?", 14, "bold")
    height = SCREEN[1] - top - 26 - 46
    draw_bands(paper.axes(76, top + 26, 384, height), check, readings)
    draw_time(paper.axes(536, top + 26, 384, height), None, check, readings)
    for ax in paper.figure.get_axes():
        for label in (*ax.get_xticklabels(), *ax.get_yticklabels(), ax.xaxis.label, ax.yaxis.label):
            label.set_fontsize(11)
    return paper


def write_figure(check: ClaimCheck, name: str, path: str | Path, *, width_mm: float = WIDTH_MM) -> str:
    """Write one picture of the page for a paper, and return its caption with a methods sentence.

    Use it for a journal or a talk. The methods sentence names estimators, intervals and versions; it does not say how
    the rides were chosen.

    Parameters
    ----------
    check : ClaimCheck
        The answer to a claim.
    name : {"questions", "bands", "averaging", "time", "sessions", "screen"}
        Which picture; "screen" is one of 16 to 9 in large type, with verdict, error by band and over time.
    path : str or Path
        Where to; .pdf and .svg have live text, .png has 300 dots an inch (a screen's 1,920 by 1,080).
    width_mm : float
        Width, 60 to 250 mm; a screen's is fixed.

    Returns
    -------
    str
        Caption and methods sentence, a line each; of a screen the sentence it shows.

    Raises
    ------
    InputError
        Another picture, width or suffix, or a place that cannot be written.

    See Also
    --------
    draw_figure : The same on axes of your own.
    write_page : All of them on one page.

    References
    ----------
    Gardner & Altman (1986), BMJ 292:746, for intervals in place of tests (from memory).

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> import numpy as np
    >>> from agree import Pairs, check_claim, write_figure
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> check = check_claim(Pairs(reference=watts, device=0.97 * watts), "1.5 %")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_figure(check, "bands", Path(folder) / "bands.svg")[:19]
    'Error against power'
    """
    suffix = Path(path).suffix.lower()
    if suffix not in FORMS:
        raise InputError(f"figure {str(path)!r} must end in {', '.join(FORMS)}; got {suffix or 'no suffix'}")
    paper, caption = draw_panel(check, name, width_mm)
    told = metadata(check) | {"Title": caption}
    made = (pdf_of(paper.figure, metadata=told) if suffix == ".pdf" else
            svg_of(paper.figure, label=caption).encode("utf-8", "replace") if suffix == ".svg" else
            png_of(paper, SCREEN_DPI if name == "screen" else PNG_DPI))
    write_bytes(path, made)
    return caption if name == "screen" else f"{caption}\n{methods_sentence(check)}"
