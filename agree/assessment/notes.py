"""What the reader of a verdict must know, most important first."""

from __future__ import annotations

import math
from collections.abc import Sequence

from agree.assessment.budget import reference_forbids
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.thresholds import LEAST_BAND_S
from agree.verdict.bands import BandCheck
from agree.verdict.columns import Table
from agree.verdict.meanings import Reading
from agree.verdict.reference import ReferenceUncertainty
from agree.verdict.sessions import SessionEffects


def notes(data: Table, reference_u: ReferenceUncertainty, bias: Estimate, average: Reading, rule: str,
          effects: SessionEffects | None) -> tuple[Note | str, ...]:
    """Collect the notes of a check: undecidable, corrected, rule, sessions, reference, scope, drift, pairing."""
    found: list[Note | str] = []
    if reference_forbids(average, bias.level):
        found.append("The reference alone makes the claim undecidable: its uncertainty is wider than the claim, which "
                     "can only be refuted, never confirmed, against it.")
    if reference_u.factor != 1:
        found.append(f"The reference was multiplied by {reference_u.factor:.4f} ({reference_u.text}).")
    if rule != "interval":
        found.append(f"Decision rule: {rule}. A rule is to be chosen before the data are seen.")
    if effects is not None:
        found.extend(f"Sessions: {_session_note(note)}." for note in effects.notes)
        found.extend(_fragile(effects, average))
    if not reference_u.text:
        found.append("No uncertainty was given for the reference: it is taken as exact, and every answer is relative "
                     "to it.")
    if data.sessions == 1:
        found.append("One recording: the answer speaks of this recording, not of other days or other units.")
    if bias.drift:
        found.append("The error drifts over the recording: a longer ride would have another mean error.")
    if math.isnan(bias.standard_error):
        found.append("The mean error has no interval.")
    named = len(data.pairs) > 1
    found.extend(f"Session {item.session}: {note}" if named and isinstance(note, str) else note
                 for item in data.pairs for note in item.notes)
    return tuple(found)


def not_ridden(bands: Sequence[BandCheck]) -> tuple[Note, ...]:
    """Return which of the bands that were asked for have too few seconds to be judged."""
    thin = [f"{item.low:g}-{item.high:g}" for item in bands if item.verdict == "too thin"]
    return (Note(kind="bands_not_ridden", severity="answer", values={
        "bands": ", ".join(thin), "count": len(thin), "least_s": LEAST_BAND_S}),) if thin else ()


def _session_note(note: Note) -> str:
    values = note.values
    if note.kind == "session_odd":
        return (f"session {values['session']} differs from the others ({values['value']:+.2g} against "
                f"{values['others']:+.2g})")
    return f"the error changes from session to session by {values['change']:+.2g}: it is not constant yet"


def _fragile(effects: SessionEffects, average: Reading) -> list[str]:
    """Say whether one session alone decides which side of the limit the mean lies on."""
    inside = abs(effects.mean.value) <= average.limit
    turned = [str(k + 1) for k, item in enumerate(effects.left_out) if (abs(item.value) <= average.limit) != inside]
    if not turned:
        return []
    return [f"Without session {' or '.join(turned)} the mean would lie on the other side of the limit."]
