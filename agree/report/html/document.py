"""The HTML report: the story of a check with every table and picture, whole without its script."""

from __future__ import annotations

import json

import numpy as np

from agree.assessment.claim_check import ClaimCheck
from agree.assessment.single_readings import Readings, readings_of
from agree.core.results.words import clock_of
from agree.report.figures.bands import draw_averaging, draw_bands
from agree.report.figures.marks import Marks
from agree.report.figures.over_time import draw_time
from agree.report.figures.questions import draw_questions, draw_sessions, named_sessions
from agree.report.html.assets import SCRIPT
from agree.report.html.parts import numbers, paragraph, picture, region, section, shown, table
from agree.report.html.shell import whole
from agree.report.page.head import caption_of_questions, claim_title, subtitle
from agree.report.page.paper import Paper
from agree.report.plain_text.details import details
from agree.report.story.answer import claim_in_range
from agree.report.story.language.names import upper_first
from agree.report.story.language.vocabulary import LONG_CAUTION, duration
from agree.report.story.provenance import Provenance, digests, provenance_rows
from agree.report.story.tell import Story, tell
from agree.report.texts.response_text import EFFORT_HEAD, compared, effort_remarks, effort_row
from agree.verdict.rule import FAILS, HOLDS

WIDTH = 640.0  # of pictures, in the units of their type
CLASSES = {HOLDS: "holds", FAILS: "fails"}


def html_text(check: ClaimCheck, provenance: Provenance) -> str:
    """Return the whole document."""
    story, readings = tell(check), readings_of(check)
    marks = Marks(_titles(check, readings))
    title = f"Accuracy claim {claim_in_range(check)}: {check.verdict}"
    body = [_advice(story), _questions(check, story), _bands(check, story, readings, marks), _averaging(check),
            _efforts(check), _time(check, readings, marks), _sessions(check, story), _foot(check, story, provenance)]
    header = (f'<p><span class="badge {CLASSES.get(check.verdict, "open")}">{shown(story.verdict)}</span>\n'
              f'<strong>{shown(claim_title(check))}</strong></p>\n<p class="caption">{shown(subtitle(check))}</p>')
    return whole(title, [f"<h1>{shown(story.sentence)}</h1>", *body], header=header,
                 footer=f"<p>{shown(LONG_CAUTION)}</p>", script=SCRIPT)


def _titles(check: ClaimCheck, readings: Readings) -> list[str]:
    several = len(check.pairs) > 1
    return [f"{f'session {int(k) + 1}, ' if several else ''}at {clock_of(float(start))}: reference {r:.0f} W, device "
            f"{d:.0f} W, error {100 * (d - r) / r if r > 0 else float('nan'):+.1f} %"
            for r, d, start, k in zip(readings.reference, readings.device, readings.start, readings.session,
                                      strict=True)]


def _advice(story: Story) -> str:
    causes = ("; ".join(story.causes[:3]) or story.no_cause) + "."
    warnings = "".join(f"<li>{shown(upper_first(item.text))}</li>" for item in story.caveats)
    parts = [f"<div><h3>{label}</h3>{paragraph(upper_first(text))}</div>" for label, text in (
        ("Likely cause", causes), ("What to enter in the device", " ".join(story.enter)),
        ("What to record next", " ".join(story.record)))]
    listed = f"<h3>Warnings</h3><ul>{warnings}</ul>" if warnings else ""
    return section("Main doubt", paragraph(upper_first(" ".join(story.doubt))), listed,
                   f'<div class="advice">{"".join(parts)}</div>')


def _questions(check: ClaimCheck, story: Story) -> str:
    paper = Paper(WIDTH, 150)
    draw_questions(paper.axes(130, 6, WIDTH - 150, 112), check)
    for k, row in enumerate(story.questions):
        paper.line(4, 6 + 28 * k + 9, row.words, 8, "bold" if row.asked else "normal")
    return section("How far off?", table(
        "The same claim asked in four ways, mild to strict; bold: the one that was asked",
        ["question", "answer", "error"], [[row.words, row.verdict, row.figures] for row in story.questions],
        marked=["asked" if row.asked else "" for row in story.questions]),
        picture(paper.figure, "The four questions: intervals against the claim", caption_of_questions(check)))


def _bands(check: ClaimCheck, story: Story, readings: Readings, marks: Marks) -> str:
    paper = Paper(WIDTH, 300)
    beyond = draw_bands(paper.axes(36, 8, WIDTH - 46, 258), check, readings, marks=marks)
    told = f" {beyond} of {readings.percent.size} lie beyond the frame." if beyond else ""
    buttons = []
    for row in story.bands:
        keys = np.flatnonzero((readings.reference >= row.low) & (readings.reference < row.high))
        if keys.size:
            buttons.append(f'<button type="button" aria-pressed="false" data-keys="{" ".join(map(str, keys))}">'
                           f"{shown(row.name)}</button>")
    bar = ('<div class="buttons" hidden role="group" aria-label="Mark the readings of a band in both pictures">Mark '
           f'the readings of a band: {"".join(buttons)}<p id="told" role="status" class="caption">Or drag across a '
           "picture.</p></div>") if buttons else ""
    return section("Where in the range?", table(
        "Mean error of each power band, with the interval that decides",
        ["band", "seconds", "error, %", "limit", "answer"],
        [[row.name, f"{row.seconds:,}", row.figures, row.limit, row.place] for row in story.bands], numbers=(1,)), bar,
        picture(paper.figure, "Error against power, with the claim", f"Small: {check.window_s}-s readings. Large: mean "
                f"error of each power band, with the interval that decides.{told}", marks))


def _averaging(check: ClaimCheck) -> str:
    paper = Paper(WIDTH, 220)
    draw_averaging(paper.axes(36, 8, WIDTH - 46, 178), check)
    reading = next(item for item in check.readings if item.meaning == "readings")
    rows = [[f"{row['window_s']} s", f"{100 * row['share']['value']:.0f} %",
             f"{100 * row['share']['low']:.1f} to {100 * row['share']['high']:.1f} %"]
            for row in reading.details.get("shares", []) if row["share"] is not None]
    return section("Over how long an average?", table(
        "Share of readings inside the claim, by the time they are averaged over",
        ["averaged over", "inside", "interval"], rows, numbers=(1, 2)) if rows else "",
        picture(paper.figure, "Share of readings inside the claim against averaging time",
                f"Blue: the {100 * reading.limit:g} % needed. Upright: the {check.window_s} s asked."))


def _efforts(check: ClaimCheck) -> str:
    """Best efforts of each session, with averaging and scale apart."""
    parts = []
    for item, best in zip(check.pairs, check.efforts, strict=False):
        if best is not None and compared(best):
            session = f", session {item.session}" if len(check.pairs) > 1 else ""
            parts += [table(f"Best mean power of each trace, from its own readings{session}", EFFORT_HEAD,
                            [effort_row(one) for one in compared(best)], numbers=(1, 2, 4, 7)),
                      *(paragraph(remark, "caption") for remark in effort_remarks(best))]
    return section("Best efforts?", *parts) if parts else ""


def _time(check: ClaimCheck, readings: Readings, marks: Marks) -> str:
    paper = Paper(WIDTH, 250)
    strip = paper.axes(36, 8, WIDTH - 46, 44)
    beyond = draw_time(paper.axes(36, 60, WIDTH - 46, 156), strip, check, readings, marks=marks)
    told = f" Triangles: {beyond} beyond the frame." if beyond else ""
    return section("Over time?", picture(
        paper.figure, "Error over time, in claims", f"{check.window_s}-s readings; 1 = the limit of the claim. Upper "
        f"strip: power of the reference, W. Marks at the foot: faulty seconds, not used.{told}", marks))


def _sessions(check: ClaimCheck, story: Story) -> str:
    rows = [[str(row.number), row.date, row.reference, row.device, duration(row.used_s), f"{row.faulty_s} s", row.error]
            for row in story.sessions]
    made = table("Each session by itself", ["session", "date", "reference", "device", "used", "faulty", "error"], rows,
                 numbers=(4, 5, 6), marked=["odd" if row.odd else "" for row in story.sessions])
    if len(check.pairs) < 2:
        return section("Session", made)
    height = 16 * (len(story.sessions) + 2)
    paper = Paper(WIDTH, height + 44)
    ax = paper.axes(110, 8, WIDTH - 130, height)
    draw_sessions(ax, check, story.sessions)
    named_sessions(ax, check, story.sessions)
    return section("By session?", made, picture(paper.figure, "Error of each session, of all, and of the next",
                                                "Dot and thin line: one session by itself. Below: all, and the next."))


def _foot(check: ClaimCheck, story: Story, provenance: Provenance) -> str:
    files = [[name, digest] for item in check.pairs for name, digest in digests(item)]
    stored = json.dumps(check.to_dict(), indent=1, ensure_ascii=False)
    every = details(check, story, width=100)
    return section(
        "Where this comes from", table("Data, statements, command and versions", ["what", "found"],
                                       [list(row) for row in provenance_rows(check, provenance)]),
        table("Files", ["file", "SHA-256"], files) if files else "",
        f"<details><summary>Every figure in words</summary>{region('Every figure', every)}</details>",
        numbers(stored))
