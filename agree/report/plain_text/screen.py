"""The first screen: the answer in the first words, then what to distrust, to enter and to record; 16 lines."""

from __future__ import annotations

from typing import NamedTuple

from agree.assessment.claim_check import ClaimCheck
from agree.report.plain_text.lines import WIDEST, labelled, terminal, wrap
from agree.report.plain_text.sessions import overview
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
    cause: bool = True
    record: int = 9
    also: bool = True
    caveats: int = MOST_CAVEATS
    doubt: int = 9


def _tighter(room: Room) -> Room | None:
    """Return what gives way next; the answer, the main doubt and the first warning never do."""
    if room.form < 2:
        return room._replace(form=room.form + 1)
    if room.enter > 1:
        return room._replace(enter=min(room.enter, 3) - 1)
    if room.cause:
        return room._replace(cause=False)
    if room.record > 1:
        return room._replace(record=1)
    if room.also:
        return room._replace(also=False)
    if room.form < 3:
        return room._replace(form=3)
    if room.caveats > 1:
        return room._replace(caveats=room.caveats - 1)
    return room._replace(doubt=1) if room.doubt > 1 else None


def _caveats(story: Story, most: int, width: int) -> list[str]:
    shown, more = story.caveats[:most], len(story.caveats) - most
    lines = []
    for k, item in enumerate(shown):
        last = k == len(shown) - 1 and more > 0
        text = f"{item.text} {more} more: --details." if last else item.text
        lines += labelled("" if k else "Warning" + "s" * (len(story.caveats) > 1), text[0].upper() + text[1:], width)
    return lines


def _lines(check: ClaimCheck, story: Story, width: int, room: Room) -> list[str]:
    first = story.causes[0] + "." if story.causes else "nothing stands out."
    more = len(story.causes) - 1
    cause = f"{first} {more} more: --details." if more > 0 and room.cause else first
    asked = labelled("Also asked", story.also, width) if room.also else []
    return [
        *wrap(f"{story.verdict}  {story.claim_line}", min(width, WIDEST)),
        *wrap(story.sentence, min(width, WIDEST)), *overview(check, story, width, room.form),
        *labelled("Main doubt", " ".join(story.doubt[:room.doubt]), width), *labelled("Likely cause", cause, width),
        *labelled("To enter", " ".join(story.enter[:room.enter]), width),
        *labelled("To record", " ".join(story.record[:room.record]), width), *_caveats(story, room.caveats, width),
        *asked, *labelled("More", f"{CAUTION} All figures: --details.", width)]


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
    room: Room | None = Room()
    chosen = Room()
    while room is not None:
        chosen = room
        if len(_lines(check, story, max(width, WIDTH), room)) <= MOST_LINES:
            break
        room = _tighter(room)
    text = terminal(_lines(check, story, width, chosen))
    if not colour:
        return text
    word = story.verdict
    return BACKGROUND.get(check.verdict, OTHER) + word + RESET + text[len(word):]
