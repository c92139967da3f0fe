"""Results as text: the answer first, then what it rests on. Total: prints whatever the fields hold."""

from __future__ import annotations

from agree.assessment.claim_check import ClaimCheck
from agree.core.data.pairs import Pairs
from agree.core.results.words import summary
from agree.correction.find import Correction
from agree.report.notes.sentence import note_text
from agree.report.plain_text.lines import terminal, wrap
from agree.report.plain_text.screen import screen
from agree.report.story.clocks import clock_words
from agree.report.story.enter import to_enter
from agree.report.story.language.digits import interval_text
from agree.report.story.language.vocabulary import fault
from agree.report.texts import estimates  # noqa: F401  (makes the texts of estimators known)
from agree.verdict.claim import Claim
from agree.verdict.reference import ReferenceUncertainty


@summary.register(Claim)
@summary.register(ReferenceUncertainty)
def _(result: Claim | ReferenceUncertainty) -> str:
    return result.text


@summary.register
def _(result: Pairs) -> str:
    counts = ", ".join(f"{fault(name)} {count:,} s" for name, count in result.counts().items() if count)
    lines = [f"{result.reference_name} (reference) and {result.device_name} (device), session {result.session}",
             f"  {int(result.used.sum()):,} of {result.reason.size:,} s used; set aside: {counts or 'none'}",
             f"  {clock_words(result.alignment)}"]
    return "\n".join([*lines, *(f"  {note_text(note)}" for note in result.notes)])


@summary.register
def _(result: Correction) -> str:
    lines = wrap(f"Correction: {' '.join(to_enter(result))}", 80)
    why = "; ".join(note_text(note) for note in result.because)
    return terminal([*lines, f"  factor alone {interval_text(result.scale).lstrip('+')}", *wrap(why, 80)])


@summary.register
def _(result: ClaimCheck) -> str:
    return screen(result)
