"""`plan_trials`: how many subjects and trials would settle a claim, by the rule that will decide."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import special

from agree.core import checks, thresholds
from agree.core.errors import InputError
from agree.core.results.result import Result
from agree.core.shared_docs import made_by
from agree.estimators.components import Part
from agree.estimators.trials.shares_within import normal_share
from agree.estimators.trials.unweighted import SubjectErrors
from agree.trials.check import Assume
from agree.trials.simulated import Studies, counted_holds, drawn, effective, mean_holds
from agree.trials.uncertainty import known_beside_limit
from agree.verdict.claim import Claim
from agree.verdict.error_distribution import KnownError, interval_half_width

SUBJECTS = (8, 9, 10, 11, 12, 13, 14, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 40, 44, 50, 56, 64, 72, 80, 90, 100, 110,
            125, 142, 160, 173, 200, 240, 300)
DRAWN = 127        # studies that a chance is reckoned from: its error is below 0.02
_VECTOR = (1, 29, 79)  # of a lattice in mean, V and W


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialPlanRow:
    """Subjects needed for one meaning with so many trials each.

    Attributes
    ----------
    meaning : {"average", "readings", "next_subject"}
        ``next_subject`` is about the mean of `trials` trials.
    trials : int
        Trials of each subject.
    rule : {"t", "counted", "normal"}
        What decides; counted shares, of means too, or errors so small that a margin for other shapes is kept.
    subjects : int or None
        Least number, of those tried, with the wanted chance of "holds"; None if more than 300.
    other_rule : str
        What would decide on another assumption; "" if there is none.
    other_subjects : int or None
        Its price.
    """

    meaning: Literal["average", "readings", "next_subject"]
    trials: int
    rule: str
    subjects: int | None
    other_rule: str
    other_subjects: int | None


@made_by("plan_trials", also=("Plan",))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrialPlan(Result):
    """How many subjects and trials would settle a claim.

    Attributes
    ----------
    claim : Claim
        The claim.
    rows : tuple of TrialPlanRow
        One for each meaning and number of trials.
    subject_sd, trial_sd, true_error : float
        As assumed, in the claim's unit.
    chance, level : float
        Wanted chance that the claim is found to hold; confidence level.
    most : int
        Largest number of subjects tried.
    assume : str
        As passed in.
    reference_u : float
        Standard uncertainty of the reference that was assumed, in the claim's unit.
    """

    claim: Claim
    rows: tuple[TrialPlanRow, ...]
    subject_sd: float
    trial_sd: float
    true_error: float
    chance: float
    level: float
    most: int
    assume: Assume
    reference_u: float = 0.0


class _Case:
    """One assumed device with one claim: the chance that each rule says "holds", errors in units of the limit."""

    def __init__(self, between: float, within: float, error: float, level: float, known: KnownError) -> None:
        self.between, self.within, self.error, self.level, self.known = between, within, error, level, known
        points = (np.outer(_VECTOR, np.arange(DRAWN)) + 0.5) / DRAWN % 1.0
        self.half = float(interval_half_width(0.0, math.inf, known, level)) if known.u > 0 else 0.0
        self._held: dict[tuple[int, int], Studies] = {}
        self.points = np.clip(points, 0.5 / DRAWN, 1 - 0.5 / DRAWN)

    def _studies(self, subjects: int, trials: int) -> list[SubjectErrors]:
        of_means = self.between**2 + self.within**2 / trials
        shape = np.linspace(-1, 1, subjects)  # means of any shape with the wanted mean and variance stand for a study
        shape = shape / shape.std(ddof=1)
        made = []
        for mean, v, w in self.points.T:
            drawn = of_means * special.chdtri(subjects - 1, v) / (subjects - 1)
            df = subjects * (trials - 1)
            parts = (Part(1 / trials, self.within**2 * special.chdtri(df, w) / df, df),) if df else ()
            bias = self.error + special.ndtri(mean) * math.sqrt(of_means / subjects)
            made.append(SubjectErrors(means=bias + math.sqrt(drawn) * shape, of_means=drawn, trial_parts=parts,
                                      n=subjects * trials))
        return made

    def drawn(self, subjects: int, trials: int) -> Studies:
        """Draw studies, the same for all rules."""
        if (subjects, trials) not in self._held:
            self._held = {(subjects, trials): drawn(subjects, trials, self.between, self.within, self.error, self.half)}
        return self._held[subjects, trials]

    def average(self, subjects: int, trials: int) -> float:
        """Chance of the mean error."""
        return float(mean_holds(self.drawn(subjects, trials), self.level, self.known).mean())

    def normal(self, subjects: int, trials: int, mean_of: int, limit: float) -> float:
        """Chance of a share of normal errors."""
        wanted = thresholds.TRIALS_COUNTED_SHARE
        return float(np.mean([normal_share(one, limit, self.level, mean_of, self.known.normal,
                                           self.known.rectangles).low >= wanted
                              for one in self._studies(subjects, trials)]))

    def counted(self, subjects: int, trials: int, mean_of: int = 1) -> float:
        """Chance of the answer that is given unasked: a counted share, or errors so small that a margin is kept.

        Shares of single trials are counted in the effective number that each study finds, means of `mean_of` trials in
        the number of subjects.
        """
        found = self.drawn(subjects, trials)
        share, number, inside = found.share, effective(found, trials), found.farthest <= 1
        if mean_of > 1:
            share = np.stack([(np.abs(found.means + k * self.half) <= 1).mean(axis=1) for k in (0.0, -1.0, 1.0)])
            number, inside = np.full(number.size, float(subjects)), np.ones(number.size, bool)
        holds = counted_holds(share, number, self.level)
        rest = np.flatnonzero(inside & ~holds)
        tried = rest[:DRAWN]
        small = [self._small(found, int(k), trials, mean_of) for k in tried]
        return float(holds.mean()) + (float(np.mean(small)) * rest.size / holds.size if small else 0.0)

    def _small(self, found: Studies, at: int, trials: int, mean_of: int) -> bool:
        """Whether one study's errors are so small that its share of normal errors holds with the margin."""
        means, df = found.means[at], found.means.shape[1] * (trials - 1)
        parts = (Part(1 / trials, float(found.within[at]), df),) if df else ()
        one = SubjectErrors(means=means, of_means=float(means.var(ddof=1)), trial_parts=parts, n=means.size * trials)
        return normal_share(one, 1 / thresholds.TRIALS_HOLDS_MARGIN, self.level, mean_of, self.known.normal,
                            self.known.rectangles).low >= thresholds.TRIALS_COUNTED_SHARE


def _least(chance_of: Callable[[int], float], wanted: float) -> int | None:
    """Least number of subjects that gives the wanted chance: by bisection of those tried, then of those between two."""
    low, high = 0, len(SUBJECTS)
    while low < high:
        middle = (low + high) // 2
        if chance_of(SUBJECTS[middle]) >= wanted:
            high = middle
        else:
            low = middle + 1
    if low == len(SUBJECTS):
        return None
    few, enough = SUBJECTS[max(low - 1, 0)], SUBJECTS[low]
    while enough - few > max(1, enough // 50):
        middle = (few + enough) // 2
        few, enough = (few, middle) if chance_of(middle) >= wanted else (middle, enough)
    return enough


def _rows(case: _Case, trials: int, chance: float, assume: Assume) -> list[TrialPlanRow]:
    least = {
        "t": _least(lambda s: case.average(s, trials), chance),
        "counted": _least(lambda s: case.counted(s, trials), chance),
        "normal": _least(lambda s: case.normal(s, trials, 1, 1.0), chance),
        "counted, mean": _least(lambda s: case.counted(s, trials, trials), chance),
        "normal, mean": _least(lambda s: case.normal(s, trials, trials, 1.0), chance)}
    first, second = ("normal", "counted") if assume == "normal" else ("counted", "normal")
    return [TrialPlanRow(meaning="average", trials=trials, rule="t", subjects=least["t"], other_rule="",
                         other_subjects=None),
            TrialPlanRow(meaning="readings", trials=trials, rule=first, subjects=least[first], other_rule=second,
                         other_subjects=least[second]),
            TrialPlanRow(meaning="next_subject", trials=trials, rule=first, other_rule=second,
                         subjects=least[f"{first}, mean"], other_subjects=least[f"{second}, mean"])]


def plan_trials(
    claim: str | Claim,
    *,
    subject_sd: float,
    trial_sd: float,
    trials: int | Sequence[int] = (1, 3, 5),
    true_error: float = 0.0,
    chance: float = 0.8,
    assume: Assume = "nothing",
    level: float = 0.95,
    reference_uncertainty: str | float | None = None,
) -> TrialPlan:
    """Say how many subjects with how many trials would show that a claim holds, by the rule that will decide.

    Parameters
    ----------
    claim : str or Claim
        With one limit: "2 cm" or "5 %".
    subject_sd, trial_sd : float
        SD of the error between subjects, and of a trial's error within a subject, in the claim's unit; 0 or more.
    trials : int or sequence of int
        Numbers of trials of each subject to compare, 1 to 50.
    true_error : float
        Mean error that the device is taken to have, in the claim's unit.
    chance : float
        Wanted chance that the answer is "holds", in (0, 1).
    assume : {"nothing", "normal"}
        What a later check will assume of the shape of errors.
    level : float
        Confidence level of the later check.
    reference_uncertainty : str, float or None
        As the later check will be given it, in the claim's unit: "±0.5 cm", "1 % k=2"; None takes the reference as
        exact.

    Returns
    -------
    TrialPlan
        ``.rows``: for each meaning and number of trials the subjects needed; never below 8.

    Raises
    ------
    InputError
        A claim with two limits, negative SDs, both SDs 0.

    See Also
    --------
    check_trials : The check that is planned for.
    plan : The same for sessions of power.

    References
    ----------
    Zou GY (2013) Stat Methods Med Res 22:630 for the limits it plans with (from memory).

    Examples
    --------
    >>> from agree import plan_trials
    >>> plan = plan_trials("2 cm", subject_sd=0.4, trial_sd=0.5, trials=3)
    >>> [(row.meaning, row.rule, row.subjects, row.other_subjects) for row in plan.rows][0]
    ('average', 't', 8, None)
    """
    own = claim if isinstance(claim, Claim) else Claim.parse(claim)
    if (own.percent is None) == (own.absolute is None):
        raise InputError(f"`claim` {own.text}: a plan needs one limit; plan for each of them", option="claim")
    limit = float(own.percent if own.percent is not None else own.absolute or 0)
    for name, value in (("subject_sd", subject_sd), ("trial_sd", trial_sd)):
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < math.inf:
            raise InputError(f"`{name}` must be 0 or more, in {own.unit}; got {value!r}", option=name)
    if subject_sd == trial_sd == 0:
        raise InputError("`subject_sd` and `trial_sd` are both 0; expected how much errors differ", option="subject_sd")
    wanted = [trials] if isinstance(trials, int) else list(trials)
    if not wanted or any(isinstance(m, bool) or not isinstance(m, int) or not 1 <= m <= 50 for m in wanted):
        raise InputError(f"`trials` must be whole numbers from 1 to 50; got {trials!r}", option="trials")
    checks.fraction(chance, "chance")
    checks.fraction(level, "level")
    checks.choice(assume, "assume", ("nothing", "normal"))
    known = known_beside_limit(reference_uncertainty, own)
    case = _Case(subject_sd / limit, trial_sd / limit, abs(true_error) / limit, level, known)
    rows = [row for m in wanted for row in _rows(case, m, chance, assume)]
    return TrialPlan(claim=own, rows=tuple(rows), subject_sd=float(subject_sd), trial_sd=float(trial_sd),
                     true_error=float(true_error), chance=float(chance), level=float(level), most=SUBJECTS[-1],
                     assume=assume, reference_u=known.u * limit)
