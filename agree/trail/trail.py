"""`check_trail`: a claim judged on the last state of a device, with what each adjustment before did."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from agree.assessment.as_done import as_done
from agree.assessment.claim_check import ClaimCheck, check_claim
from agree.assessment.corrected_reference import corrected
from agree.core.data.pairs import Pairs
from agree.core.errors import InputError
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.thresholds import TRAIL_MARGIN_OF_CLAIM, TRAIL_USUAL_MARGIN
from agree.trail.doubts import doubts_of_order, slow_faults
from agree.trail.split import place_s, place_text, split_change, split_pairs
from agree.trail.states import (
    Change,
    State,
    answered,
    change_between,
    expected_change,
    foretold,
    same_spelling,
    spelling,
)
from agree.verdict.claim import Claim
from agree.verdict.columns import table
from agree.verdict.declaration import Declaration, Declared
from agree.verdict.meanings import mean_error
from agree.verdict.repeats.distinct import refuse_repeats


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
    notes : tuple of Note
        How the place of a split was fixed.
    order : tuple of Note
        What the order of the sessions leaves in doubt: a state that came before too, sessions against their dates.
    """

    check: ClaimCheck
    judged: str
    states: tuple[State, ...]
    changes: tuple[Change, ...]
    notes: tuple[Note, ...] = ()
    order: tuple[Note, ...] = ()

    @property
    def verdict(self) -> str:
        """The answer for the state judged."""
        return self.check.verdict

    def to_dict(self) -> dict[str, Any]:
        """Return the check's keys with `state`, `states` and `changes`."""
        return self.check.to_dict() | {
            "state": self.judged, "states": [item.to_dict() for item in self.states],
            "changes": [item.to_dict() for item in self.changes],
            "trail_notes": [item.to_dict() for item in (*self.notes, *self.order)]}


def check_trail(
    pairs: Sequence[Pairs], states: Sequence[str], claim: str | Claim, *, state: str | None = None,
    expected: Sequence[float] | None = None, **options: Any,
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
    expected : sequence of float, optional
        For each session, what the adjustment that began its state was foretold to do to the mean error, in points;
        NaN where nothing was. If not given, it is read from labels such as "factor 1.02 entered".
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
    agree.trail.trail.check_split : two parts of one recording.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs
    >>> from agree.trail.trail import check_trail
    >>> rng, t = np.random.default_rng(3), np.arange(1200)
    >>> rides = [200 + 80 * np.sin(t / (80 + n)) for n in range(1, 7)]
    >>> made = [Pairs(reference=rides[n - 1], device=k * rides[n - 1] + rng.normal(0, 2, 1200), session=str(n))
    ...         for n, k in enumerate((0.98, 0.982, 0.979, 1.001, 0.999, 1.0), 1)]
    >>> trail = check_trail(made, ["new"] * 3 + ["factor 1.02 entered"] * 3, "1.5 %")
    >>> trail.verdict, trail.changes[0].answer, trail.changes[0].as_expected
    ('holds', 'changed', True)
    """
    labels = [str(label).strip() for label in states]
    if len(labels) != len(pairs) or not all(labels):
        raise InputError(f"`states` must have one label for each session; got {sum(map(bool, labels))} for "
                         f"{len(pairs)}", option="states")
    if expected is not None and len(expected) != len(pairs):
        raise InputError(f"`expected` must have one number for each session; got {len(expected)} for {len(pairs)}",
                         option="expected")
    same_spelling(labels)
    stays = _stays(labels)
    names = [labels[stay[0]] for stay in stays]
    judged = _judged(names, state)
    level, margin = float(options.get("level", 0.95)), _margin(claim)
    refuse_repeats(pairs, pieces=False)
    parts = [[pairs[k] for k in stay] for stay in stays]
    check = _checked(parts[judged], claim, options)
    found = _states(names, parts, check, judged, level)
    said = [math.nan if expected is None else float(expected[stay[0]]) for stay in stays]
    changes = tuple(_change(earlier, later, margin, level, told)
                    for (earlier, later), told in zip(pairwise(found), said[1:], strict=True))
    return Trail(check=check, judged=names[judged], states=found, changes=changes,
                 order=doubts_of_order(pairs, names, stays, judged))


def check_split(
    pairs: Pairs, places: Sequence[str], claim: str | Claim, *, state: str | None = None,
    declared: Declaration | None = None, **options: Any,
) -> Trail:
    """Judge a claim on the part of one recording after a place, and say whether the error changed there.

    Use it where the device was adjusted within a recording: zeroed at a stop, warm from minute 20 on. The place is to
    be declared before the ride. Otherwise both answers are given: `Change.answer` is that for a place chosen after
    looking, `Change.answer_if_declared` that for one fixed beforehand.

    Parameters
    ----------
    pairs : Pairs
        One recording.
    places : sequence of str
        H:MM:SS since the first second that both recorded.
    claim : str or Claim
        As for `check_claim`.
    state : str, optional
        The part to judge, by its label; the last if not given.
    declared : Declaration, optional
        What was fixed beforehand; its `splits` are compared with `places`.
    **options
        As for `check_claim`.

    Returns
    -------
    Trail
        Of parts as states. It speaks of this recording: whether the change lasts only other days can show.

    Raises
    ------
    InputError
        A place or part that is not understood.
    SampleSizeError
        A part with fewer than 300 used seconds.

    See Also
    --------
    check_trail : sessions in states.

    Examples
    --------
    >>> import numpy as np
    >>> from agree import Pairs
    >>> from agree.trail.trail import check_split
    >>> rng, t = np.random.default_rng(3), np.arange(3600)
    >>> true = 200 + 80 * np.sin(t / 90)
    >>> made = Pairs(reference=true, device=np.where(t < 2100, 0.98, 1.0) * true + rng.normal(0, 2, 3600))
    >>> trail = check_split(made, ["0:35:00"], "1.5 %")
    >>> trail.verdict, trail.changes[0].answer, trail.notes[0].kind
    ('holds', 'changed', 'split_undeclared')
    """
    parts, labels = split_pairs(pairs, places)
    judged = _judged(labels, state)
    level, margin = float(options.get("level", 0.95)), _margin(claim)
    done = [place_text(place_s(place)) for place in places]
    check = as_done(_checked([parts[judged]], claim, {**options, "declared": declared}), splits=done)
    note = _declared_note(done, declared, check.declared)
    found = _states(labels, [[part] for part in parts], check, judged, level)
    changes = []
    factor = check.reference_uncertainty.factor
    data = [table(corrected(part, factor), check.window_s) for part in parts]
    for (earlier, later), halves in zip(pairwise(found), pairwise(data), strict=True):
        fixed, chosen = split_change(*halves, level)
        known = note.kind == "split_declared"
        item = fixed if known else chosen
        changes.append(Change(
            before=earlier.state, after=later.state, change_percent=item, answer=answered(item, margin),
            margin_percent=margin, expected_percent=math.nan, as_expected=None, if_declared=None if known else fixed,
            answer_if_declared="" if known else answered(fixed, margin)))
    return Trail(check=check, judged=labels[judged], states=found, changes=tuple(changes), notes=(note,))


def _declared_note(done: Sequence[str], declared: Declaration | None, beside: Declared | None) -> Note:
    if declared is None or not declared.splits:
        return Note(kind="split_undeclared", severity="answer", values={"places": ", ".join(sorted(done))})
    if sorted(declared.splits) == sorted(done):
        return Note(kind="split_declared", severity="trust", values={
            "digest": declared.digest[:12], "otherwise": bool(beside is not None and beside.differences)})
    return Note(kind="split_otherwise", severity="answer", values={
        "places": ", ".join(sorted(done)), "declared": ", ".join(declared.splits)})


def _judged(names: Sequence[str], state: str | None) -> int:
    if state is not None and spelling(state) not in map(spelling, names):
        raise InputError(f"`state` must be one of {', '.join(map(repr, dict.fromkeys(names)))}; got {state!r}",
                         option="state")
    return len(names) - 1 if state is None else max(
        k for k, name in enumerate(names) if spelling(name) == spelling(state))


def _margin(claim: str | Claim) -> float:
    limit = (claim if isinstance(claim, Claim) else Claim.parse(claim)).percent
    return TRAIL_MARGIN_OF_CLAIM * limit if limit else TRAIL_USUAL_MARGIN


def _stays(labels: Sequence[str]) -> list[list[int]]:
    stays: list[list[int]] = []
    for k, label in enumerate(labels):
        if not stays or labels[stays[-1][0]] != label:
            stays.append([])
        stays[-1].append(k)
    return stays


def _checked(sessions: Sequence[Pairs], claim: str | Claim, options: dict[str, Any]) -> ClaimCheck:
    return check_claim(list(sessions) if len(sessions) > 1 else sessions[0], claim, **options)


def _states(names: Sequence[str], parts: Sequence[Sequence[Pairs]], check: ClaimCheck, judged: int,
            level: float) -> tuple[State, ...]:
    """Describe every state, with the reference corrected as the check has it; of the one judged, the check's error."""
    found = []
    for k, (name, sessions) in enumerate(zip(names, parts, strict=True)):
        given = corrected(list(sessions) if len(sessions) > 1 else sessions[0], check.reference_uncertainty.factor)
        data = table(given, check.window_s)
        refuse_repeats(data.pairs)
        own = tuple(mean_error(table(item, check.window_s), "%", level) for item in data.pairs)
        found.append(State(
            state=name, sessions=len(own), bias_percent=check.bias if k == judged else mean_error(data, "%", level),
            session_sd=float(np.std([item.value for item in own], ddof=1)) if len(own) > 1 else math.nan,
            session_bias=own, seconds=tuple(int(item.used.sum()) for item in data.pairs),
            recordings=tuple((item.session, item.reference_name, item.device_name) for item in sessions),
            slow=tuple(note for item in sessions for note in slow_faults(item))))
    return tuple(found)


def _change(earlier: State, later: State, margin: float, level: float, told: float) -> Change:
    item: Estimate
    item, answer = change_between(earlier, later, margin=margin, level=level)
    expected = told if math.isfinite(told) else expected_change(earlier.state, later.state, earlier.bias_percent.value)
    return Change(before=earlier.state, after=later.state, change_percent=item, answer=answer, margin_percent=margin,
                  expected_percent=expected, as_expected=foretold(item, expected, margin))
