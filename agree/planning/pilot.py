"""How far sessions differ, and how uncertain one session is: assumed, or measured by a pilot."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import special

from agree.assessment.claim_check import ClaimCheck
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.verdict.claim import Claim
from agree.verdict.columns import table
from agree.verdict.meanings import session_biases
from agree.verdict.reference import ReferenceUncertainty, Term

CAREFUL = 0.8  # one-sided limit of a pilot's SD to plan by, after Browne (1995)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """SD between sessions, and the within part: long-run SD of the error per root second."""

    between: Estimate
    long_run: float
    upper: float        # `between` at its one-sided 80 % limit; itself if assumed
    words: tuple[str, ...]
    measured: bool

    @classmethod
    def assumed(cls, session_sd: float, within_sd: float, correlation_s: float, unit: str) -> Spread:
        """Spread from assumptions; the mean of an AR(1) error has variance sd^2 (1 + r)/(1 - r)/n."""
        # (1 + r)/(1 - r) with r = exp(-1/c) is coth(1/(2c)), which does not cancel for long correlation
        long_run = within_sd / math.sqrt(math.tanh(1 / (2 * correlation_s)))
        item = Estimate(value=session_sd, low=0.0, high=math.inf, level=0.95, method="assumed")
        words = (f"sessions of one unit differ by SD {session_sd:g} {unit} (assumed)",
                 f"1-s errors have SD {within_sd:g} {unit}, alike over {correlation_s:g} s (assumed)")
        return cls(between=item, long_run=long_run, upper=session_sd, words=words, measured=False)

    def within(self, minutes: float) -> float:
        """Return the standard uncertainty of a session's mean error from within the session."""
        return self.long_run / math.sqrt(60 * minutes)

    def total(self, minutes: float) -> float:
        """Return the SD of the mean errors of sessions so long."""
        return math.hypot(self.between.value, self.within(minutes))

    def careful(self, minutes: float) -> float:
        """Return the same at the upper limit of a pilot's SD."""
        return math.hypot(self.upper, self.within(minutes))

    def minutes_enough(self, share: float) -> float | None:
        """Minutes from which the variance within is below a share of that between; None if sessions do not differ."""
        between = self.between.value
        return None if between == 0 else (self.long_run / between) ** 2 / share / 60


def pilot_spread(
    pilot: Any, claim: Claim, level: float, assumed: Spread, factor: float
) -> tuple[Spread, ReferenceUncertainty | None]:
    """Spread of a pilot's sessions, times a factor of units, and the reference's uncertainty if it was checked."""
    reference = None
    if isinstance(pilot, Pairs) or (isinstance(pilot, Sequence) and not isinstance(pilot, str)):
        data = table(pilot, 30)
        found = session_biases(data, replace(claim, above=None), level)
        rows = [(item.value, item.standard_error, float(pairs.used.sum()), "")
                for item, pairs in zip(found, data.pairs, strict=True) if item is not None]
    else:
        rows, reference = _stored(pilot.to_dict() if isinstance(pilot, ClaimCheck) else pilot, claim)
    unit = "%" if factor != 1 else claim.unit
    values, errors, seconds = factor * np.array([row[0] for row in rows]), factor * np.array(
        [row[1] for row in rows]), np.array([row[2] for row in rows])
    long_run = math.sqrt(float((errors**2 * seconds).mean()))
    within = math.sqrt(float((errors**2).mean()))
    inner = f"one {seconds.mean() / 60:.0f}-min session is uncertain by {within:.2g} {unit} from within (pilot)"
    states = list(dict.fromkeys(row[3] for row in rows))
    apart = np.array([states.index(row[3]) for row in rows])
    sizes = np.bincount(apart)
    df = len(rows) - sizes.size  # sessions are compared within a state: an adjustment is no spread
    if df == 0:
        return replace(assumed, long_run=long_run, words=(
            f"{assumed.words[0]}: a pilot of one session does not show it", inner)), reference
    means = np.bincount(apart, weights=values) / sizes
    total = math.sqrt(float(((values - means[apart]) ** 2).sum()) / df)

    def between(p: float) -> float:
        """Session part if the SD of the sessions' means lies at its upper limit p (chi-square)."""
        return math.sqrt(max(total**2 * df / float(special.chdtri(df, p)) - within**2, 0.0))

    item = Estimate(value=math.sqrt(max(total**2 - within**2, 0.0)), low=between((1 - level) / 2),
                    high=between((1 + level) / 2), level=level, df=float(df),
                    method=f"chi-square, {len(rows)} sessions" + (
                        f" in {sizes.size} states" if sizes.size > 1 else ""))
    words: tuple[str, ...] = (f"sessions differ by SD {item.value:.2g} [{item.low:.2g}, {item.high:.2g}] {unit} "
             f"({len(rows)} pilot sessions{f' within {sizes.size} states' if sizes.size > 1 else ''}, "
             f"{100 * level:g} % interval)", inner)
    if sizes.size > 1:
        words += (f"{sizes[-1]} of these sessions are in the last state and count; after another adjustment counting "
                  "begins anew",)
    return Spread(between=item, long_run=long_run, upper=between(CAREFUL), words=words, measured=True), reference


Row = tuple[float, float, float, str]  # bias, standard error and seconds of a session, and its state


def _stored(pilot: Any, claim: Claim) -> tuple[list[Row], ReferenceUncertainty]:
    """Sessions of a check's `to_dict()`, or of all states of a trail's."""
    try:
        unit = "W" if pilot["claim"]["percent"] is None else "%"
        rows = [(float(item["bias"]["value"]), float(item["bias"]["standard_error"]), float(item["seconds"]["used"]),
                 "") for item in pilot["sessions"]]
        if unit == "%" and pilot.get("states") and not pilot.get("trail_notes"):
            rows = [(float(bias["value"]), float(bias["standard_error"]), float(seconds), f"{k} {item['state']}")
                    for k, item in enumerate(pilot["states"])
                    for bias, seconds in zip(item["session_bias"], item["seconds"], strict=True)]
        stated = pilot["reference_uncertainty"]
        reference = ReferenceUncertainty(text=str(stated["text"]), factor=float(stated["factor"]), terms=tuple(
            Term(name=str(term["name"]), percent=float(term["percent"]), watts=float(term["watts"]),
                 shape="normal" if term.get("shape") == "normal" else "rectangle")
            for term in stated["terms"]))
        if not rows or not np.isfinite([row[:3] for row in rows]).all():
            raise ValueError
    except (KeyError, TypeError, ValueError):
        raise InputError("`pilot` must be a ClaimCheck, Pairs, a list of Pairs, or a check's to_dict(); got "
                         f"{type(pilot).__name__} without the biases of sessions: make it with "
                         "agree check ... --json FILE", option="pilot") from None
    if unit != claim.unit:
        raise InputError(f"the pilot was checked against a claim in {unit}, this claim is in {claim.unit}: check the "
                         "pilot against this claim first")
    return rows, reference
