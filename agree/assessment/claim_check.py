"""`check_claim`: from pairs to the answer, with all it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from agree.assessment.beside import robust_and_limits, verdict_with_faults, with_faults
from agree.assessment.budget import BudgetTerm, budget
from agree.assessment.corrected_reference import corrected
from agree.assessment.doubts.few_days import few_days
from agree.assessment.doubts.other_unit import refuse_other_unit
from agree.assessment.doubts.slower_errors import slower_errors
from agree.assessment.doubts.untold.faults import with_untold
from agree.assessment.doubts.withheld import withheld
from agree.assessment.doubts.without_odd import without_odd
from agree.assessment.find_correction import (
    unless_caused_otherwise,
    unless_it_passes,
    unless_not_followed,
    unless_one_ride,
)
from agree.assessment.looked import declared_notes, look
from agree.assessment.next_step import next_step
from agree.assessment.notes import not_ridden, notes
from agree.core import checks
from agree.core.data.pairs import REASONS, Pairs
from agree.core.interval.estimate import Estimate
from agree.core.quantities.known import POWER
from agree.core.results.drawn import Drawn
from agree.core.results.note import Note
from agree.core.shared_docs import made_by
from agree.correction.after import Asked
from agree.correction.find import Correction, correction
from agree.correction.kind_of_error import fitted_line
from agree.diagnosis.findings import Finding, findings
from agree.estimators.limits.agreement import LimitsOfAgreement
from agree.estimators.lines.line import Line
from agree.verdict import meanings
from agree.verdict.bands import BandCheck
from agree.verdict.bands import bands as judge_bands
from agree.verdict.claim import Claim
from agree.verdict.columns import table
from agree.verdict.declaration import Declaration, Declared, compare, uncertainty_text
from agree.verdict.looks import checked_looks
from agree.verdict.meanings import Reading
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.repeats.distinct import refuse_repeats
from agree.verdict.rule import RULES
from agree.verdict.sessions import SessionEffects

if TYPE_CHECKING:
    from agree.estimators.response.bests.effort import BestEfforts
    from agree.estimators.response.difference import Response

@made_by("check_claim", also=("Correction", "write_page"))
@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClaimCheck(Drawn):
    """The answer to a claim, with all it rests on; everything a report shows is stored here.

    Attributes
    ----------
    claim : Claim
        The claim.
    meaning, verdict, decision_rule : str
        The meaning and the rule the verdict is given by, and it: "holds", "does not hold" or "not settled".
    readings : tuple of Reading
        All four meanings, from mild to strict.
    bias, bias_with_faults : Estimate
        Mean error in per cent of the reference, without and with the seconds set aside as faulty.
    bands : tuple of BandCheck
        Bias by band of the reference's moving mean.
    limits : LimitsOfAgreement or None
        Per-cent limits of agreement of window means.
    deming, passing_bablok : Line or None
        Lines through window means; None where the power does not vary.
    correction : Correction
        What to enter, and whether it lasts.
    findings : tuple of Finding
        What is likely wrong.
    next_step : Note
        What would settle an open question, or what is not yet known.
    session_bias : tuple of Estimate
        Mean error of each session by itself, over its whole range, in the claim's unit.
    reference_uncertainty : ReferenceUncertainty
        As stated.
    window_s, level : float
        Averaging time of window means, s, and confidence level.
    notes : tuple of str
        What a reader must know.
    pairs : tuple of Pairs
        The recordings checked, the reference multiplied by its factor.
    budget : tuple of BudgetTerm
        Uncertainty of the mean error, term by term.
    effects : SessionEffects or None
        Sessions against each other; None with one session.
    looks : tuple of int
        Numbers of sessions after which looks were declared; empty if none were.
    declared : Declared or None
        What was declared beforehand, and what was done otherwise.
    response : tuple of Response or None
        Difference in response in each session; empty unless asked for (`agree check` does).
    efforts : tuple of BestEfforts or None
        Best efforts in each session; empty unless asked for.

    Examples
    --------
    >>> from agree import Pairs, check_claim
    >>> watts = [150 + 3 * (second // 60) for second in range(1200)]
    >>> check = check_claim(Pairs(reference=watts, device=[1.04 * w for w in watts]), "1 %")
    >>> check.verdict, round(check.bias.value, 2)
    ('does not hold', 4.0)
    """

    claim: Claim
    meaning: str
    verdict: str
    readings: tuple[Reading, ...]
    bias: Estimate
    bias_with_faults: Estimate
    bands: tuple[BandCheck, ...]
    limits: LimitsOfAgreement | None
    deming: Line | None
    passing_bablok: Line | None
    correction: Correction
    findings: tuple[Finding, ...]
    next_step: Note
    session_bias: tuple[Estimate, ...]
    reference_uncertainty: ReferenceUncertainty
    window_s: int
    level: float
    notes: tuple[Note | str, ...]
    pairs: tuple[Pairs, ...]
    decision_rule: str
    budget: tuple[BudgetTerm, ...]
    effects: SessionEffects | None
    looks: tuple[int, ...] = ()
    declared: Declared | None = None
    response: tuple[Response | None, ...] = ()
    efforts: tuple[BestEfforts | None, ...] = ()

    @property
    def reading(self) -> Reading:
        """The reading the verdict rests on."""
        return next(item for item in self.readings if item.meaning == self.meaning)

    def seconds(self) -> dict[str, Any]:
        """Seconds of overlap, used, and set aside under each reason, over all sessions."""
        counts = [item.counts() for item in self.pairs]
        return {"overlap": sum(int(item.reason.size) for item in self.pairs),
                "used": sum(int(item.used.sum()) for item in self.pairs),
                "set_aside": {reason: sum(count[reason] for count in counts) for reason in REASONS}}

    def to_dict(self) -> dict[str, Any]:
        """Return JSON types, schema version 1."""
        from agree.assessment.schema_1 import as_schema_1

        return as_schema_1(self)


def check_claim(
    pairs: Pairs | Sequence[Pairs],
    claim: str | Claim,
    *,
    reference_uncertainty: str | float | None = None,
    meaning: str = "average",
    bands: Sequence[float] | None = None,
    window_s: int = 30,
    level: float = 0.95,
    drivetrain_loss: str | None = None,
    decision_rule: str = "interval",
    looks: Sequence[int] | None = None,
    declared: Declaration | None = None,
) -> ClaimCheck:
    """Decide whether a maker's accuracy claim holds, does not hold, or is not settled.

    Use it on paired recordings of one unit. The answer is about this unit against this reference, and with one
    recording about that recording only. It does not show that a model fails, and is not a calibration.

    Parameters
    ----------
    pairs : Pairs or sequence of Pairs
        One recording (serial intervals), or one for each session (intervals between sessions).
    claim : str or Claim
        "1.5%", "±1.5 %", "2 W", "1.5 % or 2 W above 100 W", "1 % of 2000 W". With two limits the larger counts.
    reference_uncertainty : str, float or None
        "±1 %" (rectangular), "1 % k=2", "2 W", "reads 0.3 % high ± 0.4 % k=2" (a calibration), several of these after
        semicolons, or a number (± per cent). None takes the reference as exact.
    meaning : {"average", "bands", "readings", "next_session"}
        The meaning the verdict is given in; to be chosen before the data are seen.
    bands : sequence of float, optional
        Edges of power bands, W; round ones that fit the data if not given.
    window_s : int
        Averaging time for readings, limits of agreement and lines, s, 1 to 600.
    level : float
        Confidence level, from 0.5 to below 1.
    drivetrain_loss : str, optional
        "2.5 ± 1 %": share of the reference's power lost before it reaches the device; negative if the device comes
        first. It is taken off the reference, and its uncertainty added.
    decision_rule : {"interval", "guard 2u", "guard 1.645u", "plain"}
        See `agree.verdict.rule.decide`; to be chosen before the data are seen.
    looks : sequence of int, optional
        Numbers of sessions after which looks were declared (`agree.verdict.looks.level_at`); no answer between them.
    declared : Declaration, optional
        What was fixed beforehand, to be compared with what is done; its looks count, whatever `looks` says.

    Returns
    -------
    ClaimCheck
        ``.verdict``, ``.readings`` with all four meanings, and all that a report shows.

    Raises
    ------
    InputError
        A claim, uncertainty or option that is not understood, or pairs that cannot be judged.
    SampleSizeError
        Fewer than 30 used seconds in a session.

    Warns
    -----
    DriftWarning
        One recording whose error wanders slowly.

    See Also
    --------
    pair_recordings, find_correction, plan, write_page

    Notes
    -----
    Mean error: sum of errors over sum of reference. Let [l, h] be its interval, widened by the reference's
    uncertainty; the claim holds if [l, h] lies inside the limits, does not hold if wholly outside, else it is not
    settled. Seconds are banded by the moving mean of the reference.

    References
    ----------
    JCGM 106:2012 for conformance probability; JCGM 100:2008 for uncertainty.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs, check_claim
    >>> watts = 200 + 80 * np.sin(np.arange(1800) / 90)
    >>> check_claim(Pairs(reference=watts, device=0.97 * watts), "1.5 %").verdict
    'does not hold'
    """
    claim = (claim if isinstance(claim, Claim) else Claim.parse(claim)).for_quantity(POWER)
    checks.choice(meaning, "meaning", meanings.MEANINGS)
    checks.interval_level(level)
    checks.window_seconds(window_s)
    checks.choice(decision_rule, "decision_rule", RULES)
    edges = None if bands is None else checks.edges(bands)
    reference_u = ReferenceUncertainty.parse(reference_uncertainty, loss=drivetrain_loss)
    data = table(corrected(pairs, reference_u.factor), window_s)
    refuse_other_unit(data.pairs)
    known = with_untold(reference_u, data.pairs)
    doubts = refuse_repeats(pairs)  # before the reference is corrected
    asked_looks = checked_looks(looks) if looks else ()
    planned = declared.looks if declared and declared.looks else asked_looks
    beside = None if declared is None else compare(declared, Declaration(
        claim=claim.text, meaning=meaning, level=level, rule=decision_rule, looks=asked_looks or planned,
        bands=() if edges is None else tuple(edges.tolist()), window_s=window_s, loss=drivetrain_loss or "",
        reference_uncertainty=uncertainty_text(reference_uncertainty)))
    level = (looked := look(planned, data.sessions, level, declared)).level
    first = meanings.average(data, claim, known, level, decision_rule)
    second, band_checks = judge_bands(data, claim, known, level, edges, decision_rule)
    faulty = with_faults(data, level)
    own = meanings.session_biases(data, claim, level)
    held = withheld(data, claim, first, faulty, doubts,
                    slower_errors(data, first, band_checks, known, decision_rule),
                    few_days(data, own, level, decision_rule))
    given = (first, second, meanings.readings(data, claim, known, level, window_s),
             meanings.next_session(data, claim, first, level, decision_rule, own))
    readings = looked.answers(held.answers(given))
    each = meanings.own_errors(data, claim, level, own)
    effects = meanings.effects_of(data, claim, level, own)
    bias = meanings.mean_error(data, "%", level)
    line = fitted_line(data, window_s, level)
    asked = Asked(claim, edges, decision_rule)
    fix = correction(data, level, window_s, asked=asked, reference_u=known, bias=bias, line=line, effects=effects)
    causes = () if held.seen.not_at_all else findings(data, fix)
    fix = unless_it_passes(fix, data, causes, claim, window_s, lambda some: correction(
        some, level, window_s, asked=asked, reference_u=known, effects=meanings.effects_of(some, claim, level)))
    fix = unless_one_ride(unless_not_followed(unless_caused_otherwise(fix, causes, data, claim), held.seen), doubts)
    limits, robust = robust_and_limits(data, window_s, level)
    rest = without_odd(data.pairs, effects, claim, meaning, known, level, decision_rule, window_s)
    said = notes(data, reference_u, bias, first, decision_rule, effects) + looked.notes + declared_notes(beside)
    said += not_ridden(band_checks) if meaning == "bands" and edges is not None else ()
    said += verdict_with_faults(data, claim, known, decision_rule, level, first.verdict)
    return ClaimCheck(
        claim=claim, meaning=meaning, verdict=next(r.verdict for r in readings if r.meaning == meaning),
        readings=readings, bias=bias, bias_with_faults=faulty, bands=band_checks, limits=limits, deming=line,
        passing_bablok=robust, correction=fix, findings=causes,
        next_step=looked.next or held.next(given, meaning) or looked.before_the_next(
            next_step(data, meaning, readings, claim, level, effects, reference_u.main_term(
                float(data.reference.mean())), held.rides.one_day)),
        session_bias=tuple(each), reference_uncertainty=reference_u, window_s=int(window_s), level=level,
        notes=said + held.notes() + rest, pairs=data.pairs, looks=planned, declared=beside,
        decision_rule=decision_rule, budget=budget(first, known, data.sessions), effects=effects)
