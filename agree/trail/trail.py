"""`check_trail`: a claim judged on the last state of a device, with what each adjustment before did."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from agree.assessment.claim_check import ClaimCheck, check_claim
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.results.result import Result
from agree.trail.states import Change, State, change_between, expected_change
from agree.verdict.claim import Claim

MARGIN_OF_CLAIM = 0.5   # share of the claim that counts as no change
USUAL_MARGIN = 0.5      # points, for claims that name no per cent


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trail(Result):
    """A device's states, their changes, and the check of the one that was judged.

    Attributes
    ----------
    check : ClaimCheck
        Of the sessions in the state judged, and of no other.
    judged : str
        Label of that state: the last, unless another was named.
    states : tuple of State
        In the order they were ridden; a label that comes again after another is a state of its own.
    changes : tuple of Change
        From each state to the next.
    """

    check: ClaimCheck
    judged: str
    states: tuple[State, ...]
    changes: tuple[Change, ...]

    @property
    def verdict(self) -> str:
        """The answer for the state judged."""
        return self.check.verdict

    def to_dict(self) -> dict[str, Any]:
        """Return the check's keys with `state`, `states` and `changes`."""
        return self.check.to_dict() | {
            "state": self.judged, "states": [item.to_dict() for item in self.states],
            "changes": [item.to_dict() for item in self.changes]}


def check_trail(
    pairs: Sequence[Pairs], states: Sequence[str], claim: str | Claim, *, state: str | None = None, **options: Any
) -> Trail:
    """Judge a claim on the sessions since the last adjustment, and say what each adjustment did.

    Parameters
    ----------
    pairs : sequence of Pairs
        One for each session, in the order they were ridden.
    states : sequence of str
        The device's state in each: "new", "zeroed anew", "factor 1.01 entered".
    claim : str or Claim
        As for `check_claim`.
    state : str, optional
        The state to judge, by label; the last if not given. Of a label that came again its last stay is meant.
    **options
        As for `check_claim`.

    Returns
    -------
    Trail

    Raises
    ------
    InputError
        Unequal numbers of pairs and states, an empty label, or a state that is not among them.

    See Also
    --------
    agree.check_claim : sessions in one state.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs
    >>> from agree.trail.trail import check_trail
    >>> rng, t = np.random.default_rng(3), np.arange(1200)
    >>> true = 200 + 80 * np.sin(t / 90)
    >>> made = [Pairs(reference=true, device=k * true + rng.normal(0, 2, 1200), session=str(n))
    ...         for n, k in enumerate((0.98, 0.982, 0.979, 1.001, 0.999, 1.0), 1)]
    >>> trail = check_trail(made, ["new"] * 3 + ["factor 1.02 entered"] * 3, "1.5 %")
    >>> trail.verdict, trail.changes[0].answer, trail.changes[0].as_expected
    ('holds', 'changed', True)
    """
    labels = [str(label).strip() for label in states]
    if len(labels) != len(pairs) or not all(labels):
        raise InputError(f"`states` must have one label for each session; got {sum(map(bool, labels))} for "
                         f"{len(pairs)}")
    stays = _stays(labels)
    names = [labels[stay[0]] for stay in stays]
    if state is not None and state not in names:
        raise InputError(f"`state` must be one of {', '.join(map(repr, dict.fromkeys(names)))}; got {state!r}")
    judged = len(names) - 1 if state is None else len(names) - 1 - names[::-1].index(state)
    level = float(options.get("level", 0.95))
    limit = (claim if isinstance(claim, Claim) else Claim.parse(claim)).percent
    margin = MARGIN_OF_CLAIM * limit if limit else USUAL_MARGIN
    checks = [check_claim([pairs[k] for k in stay] if len(stay) > 1 else pairs[stay[0]], claim, **options)
              for stay in stays]
    found = tuple(State(state=name, sessions=len(stay), bias_percent=check.bias,
                        session_sd=_sd([pairs[k] for k in stay]))
                  for name, stay, check in zip(names, stays, checks, strict=True))
    changes = tuple(_change(earlier, later, margin, level) for earlier, later in pairwise(found))
    return Trail(check=checks[judged], judged=names[judged], states=found, changes=changes)


def _stays(labels: Sequence[str]) -> list[list[int]]:
    stays: list[list[int]] = []
    for k, label in enumerate(labels):
        if not stays or labels[stays[-1][0]] != label:
            stays.append([])
        stays[-1].append(k)
    return stays


def _sd(sessions: Sequence[Pairs]) -> float:
    """SD of the sessions' own mean errors in per cent."""
    if len(sessions) < 2:
        return math.nan
    own = [100 * float((item.device - item.reference)[item.used].sum() / item.reference[item.used].sum())
           for item in sessions]
    return float(np.std(own, ddof=1))


def _change(earlier: State, later: State, margin: float, level: float) -> Change:
    item, answer = change_between(earlier, later, margin=margin, level=level)
    expected = expected_change(earlier.state, later.state)
    told = math.isfinite(expected) and math.isfinite(item.low)
    return Change(before=earlier.state, after=later.state, change_percent=item, answer=answer, margin_percent=margin,
                  expected_percent=expected, as_expected=item.low <= expected <= item.high if told else None)
