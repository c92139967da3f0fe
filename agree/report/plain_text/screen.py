"""The first screen: the answer in the first words, then what to distrust, to enter and to record; 16 lines."""

from __future__ import annotations

from typing import NamedTuple

from agree.assessment.claim_check import ClaimCheck
from agree.report.plain_text.lines import WIDEST, labelled, terminal, wrap
from agree.report.plain_text.sessions import overview
from agree.report.story.language.names import upper_first
from agree.report.story.language.vocabulary import CAUTION
from agree.report.story.tell import Story, tell
from agree.verdict.rule import FAILS, HOLDS

MOST_LINES, WIDTH = 16, 80
MOST_CAVEATS = 3
RESET = "\x1b[0m"
# Behind the verdict alone; shapes and words say the same without colour.
BACKGROUND = {HOLDS: "\x1b[1;97;44m", FAILS: "\x1b[1;30;43m"}
OTHER = "\x1b[1;7m"


class Room(NamedTuple):
    """What is shown where room is short: how sessions are, and how many sentences and warnings of each kind."""

    form: int = 0
    enter: int = 9
    cause: int = 1
    record: int = 9
    also: int = 1
    caveats: int = MOST_CAVEATS
    doubt: int = 9
    more: int = 1


# What gives way in turn where room is short; the answer, the main doubt and the first warning never do.
STEPS: tuple[dict[str, int], ...] = (
    {"form": 1}, {"form": 2}, {"enter": 2}, {"enter": 1}, {"cause": 0}, {"record": 1}, {"also": 0}, {"form": 3},
    {"caveats": 2}, {"caveats": 1}, {"doubt": 1},
    {"enter": 0}, {"more": 0})


def _caveats(story: Story, most: int, width: int) -> list[str]:
    shown, more = story.caveats[:most], len(story.caveats) - most
    lines = []
    for k, item in enumerate(shown):
        last = k == len(shown) - 1 and more > 0
        text = f"{item.text} {more} more: --details." if last else item.text
        lines += labelled("" if k else "Warning" + "s" * (len(story.caveats) > 1), upper_first(text), width)
    return lines


def _enter_briefly(story: Story) -> str:
    first = story.enter[0]
    return "nothing; why: --details." if first.startswith("nothing") else f"{first.split(' (')[0].rstrip('.')}."


def _lines(check: ClaimCheck, story: Story, width: int, room: Room) -> list[str]:
    first = story.causes[0] + "." if story.causes else "nothing stands out."
    more = len(story.causes) - 1
    cause = f"{first} {more} more: --details." if more > 0 and room.cause else first
    asked = labelled("Also asked", story.also, width) if room.also else []
    return [
        *wrap(f"{story.verdict}  {story.claim_line}", min(width, WIDEST)),
        *wrap(story.sentence, min(width, WIDEST)), *overview(check, story, width, room.form),
        *labelled("Main doubt", " ".join(story.doubt[:room.doubt]), width), *labelled("Likely cause", cause, width),
        *labelled("To enter", " ".join(story.enter[:room.enter]) or _enter_briefly(story), width),
        *labelled("To record", " ".join(story.record[:room.record]), width), *_caveats(story, room.caveats, width),
        *asked, *(labelled("More", f"{CAUTION} All figures: --details.", width) if room.more else [])]


def answer(check: ClaimCheck, story: Story, *, width: int = WIDTH) -> str:
    """Return the answer with the warnings that change it, and nothing else."""
    odd = check.effects is not None and check.effects.odd
    heavy = [" ".join(story.doubt)] if odd else []
    heavy += [item.text for item in story.caveats if item.severity == "answer"]
    lines = wrap(f"{story.verdict}  {story.claim_line}", min(width, WIDEST))
    for k, text in enumerate(heavy):
        lines += labelled("" if k else "Warning" + "s" * (len(heavy) > 1), upper_first(text), width)
    return terminal(lines)


def screen(check: ClaimCheck, *, width: int = WIDTH, colour: bool = False, story: Story | None = None) -> str:
    """Return the first screen: at most 16 lines at 80 columns or more, the same words in more lines where narrower.

    Parameters
    ----------
    check : ClaimCheck
        The answer to a claim.
    width : int
        Columns of the terminal; prose is set at most 100 wide.
    colour : bool
        Colour behind the verdict.
    story : Story, optional
        The story, if it was told already.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, check_claim
    >>> from agree.report.plain_text.screen import screen
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> print(screen(check_claim(Pairs(reference=watts, device=0.97 * watts), "1.5 %")).splitlines()[0])
    DOES NOT HOLD  claim ±1.5 %, judged by the mean error (one session, 30 min used)
    """
    story = tell(check) if story is None else story
    room = Room()
    wide = max(width, WIDTH)
    count = len(_lines(check, story, wide, room))
    for step in STEPS:
        if count <= MOST_LINES:
            break
        tried = room._replace(**step)
        lines = len(_lines(check, story, wide, tried))
        if lines < count:  # what saves no line is left as it is
            room, count = tried, lines
    text = terminal(_lines(check, story, width, room))
    if not colour:
        return text
    word = story.verdict
    return BACKGROUND.get(check.verdict, OTHER) + word + RESET + text[len(word):]
