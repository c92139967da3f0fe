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
    also: int = 2
    caveats: int = MOST_CAVEATS
    heavy: int = MOST_CAVEATS  # of the warnings, those that change the answer
    doubt: int = 9
    more: int = 1


# What gives way in turn where room is short; the answer, the main doubt, the first warning, and that another question
# is answered "does not hold" never do.
STEPS: tuple[dict[str, int], ...] = (
    {"form": 1}, {"form": 2}, {"enter": 2}, {"enter": 1}, {"cause": 0}, {"record": 1}, {"also": 1}, {"form": 3},
    {"caveats": 2}, {"caveats": 1}, {"doubt": 1}, {"enter": 0}, {"also": 0},
    {"heavy": 2, "caveats": 2}, {"heavy": 1, "caveats": 1}, {"more": 0})


def _caveats(story: Story, room: Room, width: int) -> list[str]:
    heavy = sum(item.severity == "answer" for item in story.caveats)
    most = max(room.caveats, min(heavy, room.heavy))
    shown, more = story.caveats[:most], len(story.caveats) - most
    lines = []
    for k, item in enumerate(shown):
        last = k == len(shown) - 1 and more > 0
        text = f"{item.text} {more} more: --details." if last else item.text
        lines += labelled("" if k else "Warning" + "s" * (len(story.caveats) > 1), upper_first(text), width)
    return lines


def _asked(story: Story, width: int, form: int) -> list[str]:
    """Return the answers to the other questions: whole (form 2), in few words (1), or none (0) unless one fails."""
    if form == 0 and not story.another_fails:
        return []
    return labelled("Also asked", story.also if form > 1 else story.also_briefly, width)


def _lines(check: ClaimCheck, story: Story, width: int, room: Room) -> list[str]:
    first = (story.causes[0] if story.causes else story.no_cause) + "."
    more = len(story.causes) - 1
    cause = f"{first} {more} more: --details." if more > 0 and room.cause else first
    return [
        *wrap(f"{story.verdict}  {story.claim_line}", min(width, WIDEST)),
        *wrap(story.sentence, min(width, WIDEST)), *overview(check, story, width, room.form),
        *labelled("Main doubt", " ".join(story.doubt[:room.doubt]), width), *labelled("Likely cause", cause, width),
        *labelled("To enter", " ".join(story.enter[:room.enter]) or story.enter_briefly, width),
        *labelled("To record", " ".join(story.record[:room.record]), width), *_caveats(story, room, width),
        *_asked(story, width, room.also),
        *(labelled("More", f"{CAUTION} All figures: --details.", width) if room.more else [])]


def _room(check: ClaimCheck, story: Story, width: int) -> Room:
    """Leave out what gives way first until the rest fits, then take back in what still finds room."""
    room, left_out = Room(), []
    count = len(_lines(check, story, width, room))
    for step in STEPS:
        if count <= MOST_LINES:
            break
        tried = room._replace(**step)
        lines = len(_lines(check, story, width, tried))
        if lines < count:  # what saves no line is left as it is
            left_out.append(room)
            room, count = tried, lines
    for before in reversed(left_out):
        for name in Room._fields:
            tried = room._replace(**{name: getattr(before, name)})
            if getattr(before, name) != getattr(room, name) and len(_lines(check, story, width, tried)) <= MOST_LINES:
                room = tried
    return room


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
    text = terminal(_lines(check, story, width, _room(check, story, max(width, WIDTH))))
    if not colour:
        return text
    word = story.verdict
    return BACKGROUND.get(check.verdict, OTHER) + word + RESET + text[len(word):]
