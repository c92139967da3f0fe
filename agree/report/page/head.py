"""Head of the page: badge, claim, names and days, the answer in one sentence."""

from __future__ import annotations

from agree.assessment.claim_check import ClaimCheck
from agree.report.drawing.fonts import width_of
from agree.report.figures.look import ALLOWED, CAPTION, INK, INSIDE, OUTSIDE
from agree.report.page.paper import Paper, clipped, wrap
from agree.report.story.answer import claim_in_range, interval_name
from agree.report.story.language.names import days, short
from agree.report.story.language.vocabulary import counted, duration, question
from agree.report.story.tell import Story
from agree.verdict.rule import FAILS, HOLDS

BADGE = 25.0
WORD = 12.5          # size of the word in the badge, pt
SIZES = (14.0, 12.5, 11.0, 10.0)  # of the sentence, largest that fits three lines
SIGN = 34.0          # room for the small picture in the badge, pt


def draw_badge(paper: Paper, left: float, top: float, verdict: str, size: float = WORD) -> float:
    """Draw the badge and return its right end: a pale pill, a solid block or a broken frame, so that grey will do."""
    scale = size / WORD
    height, word = BADGE * scale, verdict.upper()
    width = (SIGN + 22) * scale + width_of(word, size, "bold")
    ink = "white" if verdict == FAILS else INK
    if verdict == HOLDS:
        paper.box(left, top, width, height, fill=ALLOWED, edge=INSIDE, line=1.8, rounded=height / 2)
    elif verdict == FAILS:
        paper.box(left, top, width, height, fill=OUTSIDE, edge=OUTSIDE, line=0.5)
    else:
        paper.box(left, top, width, height, edge=INK, line=1.4, dashed=True)
    middle = top + height / 2
    _sign(paper, left + 14 * scale, middle, verdict, ink, scale)
    paper.line(left + (14 + SIGN) * scale, middle - 0.62 * size, word, size, "bold", color=ink)
    return left + width


def _sign(paper: Paper, left: float, middle: float, verdict: str, ink: str, scale: float) -> None:
    """Two limits and an interval: between them, beyond them, or across one."""
    limits = (left + 8 * scale, left + 22 * scale)
    for x in limits:
        paper.upright(x, middle - 7 * scale, middle + 7 * scale, ink, 1.0 * scale)
    first, last = {HOLDS: (11.5, 18.5), FAILS: (-1.0, 4.5)}.get(verdict, (17.0, 27.0))
    paper.rule(middle, left + first * scale, left + last * scale, ink, 3.2 * scale)


def subtitle(check: ClaimCheck) -> str:
    """Names, length and days."""
    first = check.pairs[0]
    when = days(check)
    names = ""
    if len(check.pairs) == 1 and (first.device_name, first.reference_name) != ("device", "reference"):
        names = f"{short(first.device_name, 34)} against {short(first.reference_name, 34)}; "
    count = "one session" if len(check.pairs) == 1 else counted(len(check.pairs), "session")
    return f"{names}{count}, {duration(check.seconds()['used'])} used" + (f"; {when}" if when else "")


def claim_title(check: ClaimCheck) -> str:
    """The claim and the question."""
    asked = question(check.meaning, check.window_s)
    return f"Accuracy claim {claim_in_range(check)}, judged by {'the ' if check.meaning == 'average' else ''}{asked}"


def draw_head(paper: Paper, check: ClaimCheck, story: Story, left: float, top: float) -> float:
    """Draw the head and return where the next block starts."""
    right = paper.width - left
    end = draw_badge(paper, left, top, check.verdict)
    beside, room = end + 12, right - end - 12
    below = paper.lines(beside, top + 1, clipped(wrap(claim_title(check), 9, room, "bold"), 2), 9, "bold")
    below = paper.lines(beside, below, clipped(wrap(subtitle(check), 7.5, room), 2), 7.5, color=CAPTION)
    top = max(top + BADGE, below) + 8
    for size in SIZES:
        lines = wrap(story.sentence, size, right - left, "bold")
        if len(lines) <= (2 if size > SIZES[-1] else 3):
            break
    return paper.lines(left, top, clipped(lines, 3), size, "bold") + 2


def caption_of_questions(check: ClaimCheck) -> str:
    """Say what the rows of the questions show."""
    what = interval_name(check)
    return ("The same claim asked in four ways, mild to strict; the answer above is to the one marked ▸. Bars: "
            f"{what} that decides, and thin: where 95 % of the single readings lie. Blue area: allowed by the claim.")
