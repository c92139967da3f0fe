"""Pages at output resolution: what the own renderer draws, as a list of texts with their places, and many checks."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple

from agree import ClaimCheck, Estimate
from agree.core.results.note import Note
from agree.diagnosis.finding import Finding
from agree.report.drawing.fonts import width_of
from agree.report.drawing.surface import Surface, weight_of
from tests.report import cases
from tests.report.made import band, base, item, made, named

SMALLEST = 7.5
ASCENT, DESCENT = 0.74, 0.2   # of the letters, in sizes of the type
TOUCH = 0.4                   # pt by which two boxes may share their edges


class Placed(NamedTuple):
    """One text as it is drawn: its size, and its box in pt from the lower left corner."""

    text: str
    size: float
    left: float
    low: float
    right: float
    high: float


class Listing(Surface):
    """Lists what is drawn, in the coordinates of PDF and SVG."""

    def __init__(self, width: float, height: float) -> None:
        super().__init__(width, height)
        self.texts: list[Placed] = []

    def draw_path(self, *_: Any, **__: Any) -> None:
        """Leave paths out."""

    draw_markers = draw_image = draw_path

    def draw_text(self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float, ismath: Any = False,
                  mtext: Any = None) -> None:
        """Note one text."""
        size = float(prop.get_size_in_points())
        wide = width_of(s, size, weight_of(prop))
        turn = math.radians(angle)
        corners = [(x + a * math.cos(turn) - b * math.sin(turn), y + a * math.sin(turn) + b * math.cos(turn))
                   for a in (0, wide) for b in (-DESCENT * size, ASCENT * size)]
        xs, ys = zip(*corners, strict=True)
        if s.strip():
            self.texts.append(Placed(s, size, min(xs), min(ys), max(xs), max(ys)))


def texts_of(paper: Any) -> list[Placed]:
    """Every text of a paper."""
    paper.figure.set_dpi(72)
    made_of = Listing(paper.width, paper.height)
    paper.figure.draw(made_of)
    return made_of.texts


def faults(paper: Any, margin: float = 8.0) -> list[str]:
    """Texts that are too small, outside the paper, or on one another."""
    texts = texts_of(paper)
    found = [f"small: {one.text}" for one in texts if one.size < SMALLEST]
    found += [f"outside: {one.text}" for one in texts if one.left < margin or one.right > paper.width - margin
              or one.low < margin or one.high > paper.height - margin]
    for a, b in itertools.combinations(texts, 2):
        if (min(a.right, b.right) - max(a.left, b.left) > TOUCH and min(a.high, b.high) - max(a.low, b.low) > TOUCH):
            found.append(f"touching: {a.text} | {b.text}")
    return found


def ridden(check: ClaimCheck, minutes: float, device: str = "", reference: str = "", faulty: bool = True) -> ClaimCheck:
    """The same check on rides of so many minutes."""
    one = cases.ride(9, int(60 * minutes), faults=faulty)
    pairs = tuple(replace(one, **named(k, device, reference)) for k in range(len(check.pairs)))
    return replace(check, pairs=pairs)


def banded(check: ClaimCheck, count: int) -> ClaimCheck:
    """The same check with so many bands from 100 to 400 W."""
    step = 300 / count
    return replace(check, bands=tuple(band(100 + round(k * step), 100 + round((k + 1) * step),
                                           item(-2.0 + 3.4 * k / count, 0.5 + 0.1 * (k % 5))) for k in range(count)))


def days(count: int) -> ClaimCheck:
    """A check of so many sessions, whose errors spread."""
    errors = tuple(-1.0 + 0.4 * ((7 * k) % 11 - 5) / 5 for k in range(count))
    return full(made(-1.0, 0.45, sessions=count, errors=errors, odd=(count - 1,) if count > 6 else ()))


def full(check: ClaimCheck) -> ClaimCheck:
    """The same with where the single readings lie, as a computed check has it."""
    return replace(check, limits=base(len(check.pairs) > 1).limits)


def loud() -> ClaimCheck:
    """Many warnings and causes at once."""
    notes = tuple(Note(kind=f"strange_thing_number_{k}_that_needs_many_words", severity="answer", values={
        "first_of_its_values": k, "second_value_with_a_long_name": 1000 + k}) for k in range(7))
    causes = tuple(Finding(cause=cause, role="device", size=item(-1.5, 0.2), unit="%", percent=2.0 - 0.1 * k,
                           values={"at_s": 600, "settled_s": 900, "seconds": 77}) for k, cause in enumerate(
        ("scale", "offset", "torque_offset", "step", "warm_up", "dropout")))
    return full(made(-2.75, 0.59, sessions=4, notes=notes, findings=causes))


def boundless() -> ClaimCheck:
    """An interval without limits, and bands far beyond the claim."""
    endless = Estimate(value=-3.0, low=-math.inf, high=math.inf, level=0.95, method="t")
    wild = tuple(band(100 + 90 * k, 190 + 90 * k, endless if k == 1 else item(30.0 - 30 * k, 15.0)) for k in range(3))
    return replace(full(made(0.4, math.inf)), bands=wild)


def empty() -> ClaimCheck:
    """No bands, no causes, nothing known of single readings."""
    return made(0.4, 0.2, bands=(), findings=())


NAMES = {
    "short": "P", "long": "a very long device name that a careful tester gave with serial, firmware 1.2.3 and mounting",
    "endless": "x" * 260, "Cyrillic": "Тренажёр в зале, педали № 7", "Greek": "Δοκιμή ισχύος πεντάλ",
    "CJK": "基準の測定器" * 6,
    "Arabic": "جهاز قياس القدرة", "acts": "a\x1b[31mb\u202etxt.exe\tc\nd", "signs": "$x_1^2$ <b>&amp;</b> 100 % \\frac",
}


def kinds() -> Iterator[tuple[str, Callable[[], ClaimCheck]]]:
    """Every case by name."""
    for count in (1, 2, 3, 4, 5, 6, 8, 10, 11, 14, 20, 30):
        yield f"{count} sessions", partial(days, count)
    for count in (3, 4, 5, 6, 8, 10, 12, 15, 20):
        yield f"{count} bands", lambda count=count: banded(full(made(-1.4, 0.6)), count)
    for minutes in (10, 25, 60, 180, 360, 720, 1440):
        yield f"{minutes} min", lambda minutes=minutes: ridden(full(made(-0.2, 0.6)), minutes)
    for name, text in NAMES.items():
        yield f"{name} names", lambda text=text: ridden(full(made(-2.75, 0.59)), 20, text, text)
    for meaning in ("bands", "readings", "next_session"):
        yield f"asked {meaning}", partial(made, -1.0, 0.3, sessions=3, meaning=meaning)
    for rule in ("guard 2u", "guard 1.645u", "plain"):
        yield f"rule {rule}", partial(made, -0.7, 0.5, decision_rule=rule)
    yield "loud", loud
    yield "boundless", boundless
    yield "empty", empty
    yield "far", lambda: full(made(-62.6, 2.0))
    yield "narrow", lambda: full(made(1.4997, 0.0002))
    yield "much at once", lambda: ridden(banded(days(30), 20), 25, NAMES["long"], NAMES["CJK"])
    for claim in ("2 W", "1.5 % or 2 W above 100 W", "0.05 %", "45 %"):
        yield f"claim {claim}", partial(cases.check, cases.ride(4, 1500, scale=1.004), claim)
    yield "unsettled", cases.ALL["unsettled"]
    yield "wild", cases.ALL["wild"]


CASES = dict(kinds())

