"""Small warm-ups and drifts, with and without a scale and a zero: what is named, and what any test could name.

    python benchmarks/small_courses.py [--runs 60] [--seed 0] [--part warm-ups|drifts|none] [--rows 0:3]

Rides of 20 to 120 min: invented ones that vary, are steady, or go by levels of 3 min, and pieces of the real ones of
tests/data/rides. A warm-up of 1, 2 or 4 % of power dies away with a time constant of 3 to 20 min; a drift of as much is
straight, slows (time constant a third of the ride), goes with the root or with the square of time. In W or in per cent,
up or down; half of the cells have a scale of 2 % and a zero of -3 W. Errors have an SD of 2.5 W correlated over 5, 15
or 60 s, white noise of 2 W, and white noise of 2 W in the reference; in half of the runs the first goes with power.
Adversaries, in the part "none": no course at all on a ramp, on intervals that grow harder, and with a cadence that
rises all along, where what goes with power or cadence goes with time. No pairing: `Pairs` are made as they are.

"Limit" is the mean chance that a test at the level 0.99 finds the true course where its form and the noise are known:
of t = size/se, normal, with se from the spectrum of the noise; beside a scale and a zero where these were put in, and,
"beside a drift", beside a straight drift as well, which is what tells a warm-up from one. A scale or a zero that says
it may be a drift is "among those not told apart", and no false one.
"""

from __future__ import annotations

import argparse
import math
import warnings
from collections import Counter
from typing import NamedTuple

import numpy as np
from diagnosis import ERROR_W, REAL, TAUS, WHITE_W, diagnose, invented, real, share, wander
from scipy import fft, special

from agree import AgreeWarning, Pairs
from agree.diagnosis.finding import Finding

KINDS = ("varied", "real", "steady", "levels")
ADVERSARIES = ("ramp", "intervals", "cadence in time")
MINUTES = (20, 30, 45, 60, 90, 120)
BY_POWER = {"scale", "offset", "torque_offset", "bend", "cadence_gain"}
IN_TIME = {"drift", "warm_up", "step"}
SPANS = ((3.0, 6.0), (6.0, 12.0), (12.0, 20.0))
FORMS = ("straight", "slowing", "root", "quickening")


class Made(NamedTuple):
    """A pair, the course put in (of its working seconds, W for 1 %), and correlation of the noise, s.

    Then whether it has a scale and a zero, and whether the course is over in the ride.
    """

    pairs: Pairs
    course: np.ndarray
    tau: int
    scaled: bool
    over: bool


def effort(kind: str, n: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Power and cadence."""
    t = np.arange(n)
    calm = 88 + 3 * wander(rng, 60, n)
    if kind == "steady":
        return 220 + 8 * wander(rng, 60, n) + 4 * rng.normal(size=n), calm
    if kind == "levels":
        return np.repeat(rng.choice([150, 180, 220, 250, 280], n // 180 + 1), 180)[:n] + 6 * wander(rng, 10, n), calm
    if kind == "ramp":
        return 100 + 300 * t / n + 6 * wander(rng, 10, n), calm
    if kind == "intervals":
        return np.where(t % 480 < 240, 120, 200 + 120 * t / n) + 8 * wander(rng, 10, n), calm
    if kind == "cadence in time":
        return np.clip(220 + 50 * wander(rng, 120, n) + 12 * wander(rng, 5, n), 50, None), calm - 13 + 25 * t / n
    if kind == "real":
        ride = real(REAL[rng.integers(len(REAL))])
        size = min(n, ride.power.size)
        start = int(rng.integers(0, ride.power.size - size + 1))
        return tuple(np.nan_to_num(column[start:start + size]) for column in ride)
    return invented(rng, n)


def draw(
    kind: str, form: str, size: float, constant_s: float, scaled: bool, run: int, rng: np.random.Generator,
) -> Made:
    """Make one pair."""
    while True:
        x, cadence = effort(kind, 60 * int(rng.choice(MINUTES)), rng)
        works, n = x > 0, x.size
        if works.sum() >= 900:
            break
    u = np.arange(n) / n
    courses = {"straight": u, "slowing": np.expm1(-3 * u) / math.expm1(-3), "root": np.sqrt(u), "quickening": u**2}
    course = courses[form] if form in courses else np.exp(-np.arange(n) / max(constant_s, 1.0))
    course = course * (x if rng.random() < 0.5 else np.full(n, x[works].mean())) / 100
    tau = TAUS[run % len(TAUS)]
    error = ERROR_W * wander(rng, tau, n) * (x / x[works].mean() if run % 2 else 1.0)
    device = x * (1 + 0.02 * scaled) - 3 * scaled + size * rng.choice((-1, 1)) * course + error
    y = np.where(works, device + rng.normal(0, WHITE_W, n), 0).clip(0)
    reference = np.where(works, x + rng.normal(0, WHITE_W, n), 0).clip(0)
    return Made(Pairs(reference=np.round(reference), device=np.round(y), cadence=cadence), course[works], tau, scaled,
                form == "warm-up" and 3 * constant_s <= n)


def limit(made: Made, size: float, *, drift: bool) -> float:
    """Chance that the true course of this size is found at the level 0.99, its form and the noise being known."""
    power = made.pairs.reference[made.pairs.reference > 0][:made.course.size]
    n = power.size
    w, rho = np.pi * np.arange(n) / n, math.exp(-1 / made.tau)
    spectrum = ERROR_W**2 * (1 - rho**2) / (1 - 2 * rho * np.cos(w) + rho**2) + 2 * WHITE_W**2
    beside = [np.ones(n), power] * made.scaled + [np.arange(float(n))] * drift
    rows = [fft.dct(row, norm="ortho") / np.sqrt(spectrum) for row in (made.course[:n], *beside)]
    own = rows[0]
    if len(rows) > 1:
        basis = np.linalg.qr(np.stack(rows[1:]).T)[0]
        own = own - basis @ (basis.T @ own)
    t, least = size * float(np.linalg.norm(own)), float(special.ndtri(0.995))
    return float(special.ndtr(t - least) + special.ndtr(-t - least))


def told(found: tuple[Finding, ...]) -> str:
    """Slow causes named, in one order, each with those it is not told from."""
    return " + ".join(sorted(" or ".join(sorted({item.cause, *(set(item.rivals) & {*IN_TIME, "scale"})}))
                             for item in found if item.cause in IN_TIME or in_time_too(item))) or "nothing"


def in_time_too(item: Finding) -> bool:
    """Whether a scale or a zero says that it may be a drift or a warm-up."""
    return item.cause in BY_POWER and bool(IN_TIME & set(item.rivals))


def row(name: str, true: str, size: float, made: list[Made]) -> str:
    """One line of the table."""
    found, n = [diagnose(one.pairs) for one in made], len(made)
    words = [told(one) for one in found]
    among = sum(true in one and one != true for one in words)
    wrong = Counter(one for one in words if one != "nothing" and true not in one)
    false = sum(not one.scaled and any(item.cause in BY_POWER and not in_time_too(item) for item in causes)
                for one, causes in zip(made, found, strict=True) if one.over or true != "warm_up")
    could = "-" if not size else " / ".join(
        f"{100 * np.mean([limit(one, size, drift=drift) for one in made]):.0f}" for drift in (False, True))
    return (f"| {name} | {f'{size:g} %' if size else '-'} | {n} | {share(words.count(true), n) if true else '-'} | "
            f"{share(among, n) if true else '-'} | "
            f"{', '.join(f'{key} {count}' for key, count in wrong.most_common(5)) or '-'} | "
            f"{share(words.count('nothing'), n)} | {could} | {false} of {sum(not one.scaled for one in made)} |")


class Cell(NamedTuple):
    """A row of the table: what is put in, its form, size, limits of the time constant, min, and whether scaled."""

    kind: str
    form: str
    size: float
    constants: tuple[float, float]
    scaled: bool

    def name(self) -> str:
        """What is put in, in words."""
        return {"warm-up": "warm-up, {:g} to {:g} min".format(*self.constants), "nothing": f"nothing, {self.kind}"}.get(
            self.form, f"{self.form} drift") + ", scale and zero" * self.scaled


def cells(part: str) -> list[Cell]:
    """Rows of one part."""
    none, both, sizes = (0.0, 0.0), (False, True), (1.0, 2.0, 4.0)
    if part == "none":
        return [Cell(kind, "nothing", 0.0, none, scaled) for scaled in both for kind in (*KINDS, *ADVERSARIES)]
    if part == "drifts":
        return [Cell("", form, size, none, scaled) for scaled in both for size in sizes for form in FORMS]
    return [Cell("", "warm-up", size, span, scaled) for scaled in both for size in sizes for span in SPANS]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=60)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--part", choices=("warm-ups", "drifts", "none"))
    parser.add_argument("--rows", default="", help="first and one past the last row of the part, such as 0:3")
    given = parser.parse_args()
    print("| put in | size | runs | named alone | among those not told apart | named without it | nothing | limit, % / "
          "beside a drift | false scale, zero or bend |\n|---|---:|---:|---:|---:|---|---:|---:|---:|")
    warnings.simplefilter("ignore", AgreeWarning)
    for part in (given.part,) if given.part else ("warm-ups", "drifts", "none"):
        rows = list(enumerate(cells(part)))
        low, _, high = given.rows.partition(":")
        for number, cell in rows[int(low or 0):int(high or len(rows))]:
            rng = np.random.default_rng([given.seed, len(part), number])
            made = [draw(cell.kind or KINDS[k % len(KINDS)], cell.form, cell.size,
                         60 * float(rng.uniform(*cell.constants)), cell.scaled, k // len(KINDS), rng)
                    for k in range(given.runs)]
            true = {"warm-up": "warm_up", "nothing": ""}.get(cell.form, "drift")
            print(row(cell.name(), true, cell.size, made), flush=True)


if __name__ == "__main__":
    main()
