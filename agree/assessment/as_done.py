"""What was done in a check that only its caller knows, such as a split, held against what was declared beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from agree.assessment.claim_check import ClaimCheck
from agree.assessment.looked import declared_notes
from agree.core.results.note import Note
from agree.verdict.declaration import compare

FROM_DECLARATION = ("declared_as_done", "declared_otherwise")


def as_done(check: ClaimCheck, *, splits: Sequence[str] = (), faults: Sequence[str] = ()) -> ClaimCheck:
    """Return a check that says whether splits and the handling of faults are those declared.

    Parameters
    ----------
    check : ClaimCheck
        A check; one without a declaration is returned as it is.
    splits, faults : sequence of str
        Where its recording was split, and what was done with faulty seconds, as a declaration writes both.
    """
    if check.declared is None:
        return check
    done = replace(check.declared.done, splits=tuple(splits) or check.declared.done.splits,
                   faults=tuple(faults) or check.declared.done.faults)
    declared = compare(check.declared.declaration, done)
    others = tuple(note for note in check.notes
                   if not (isinstance(note, Note) and note.kind in FROM_DECLARATION))
    return replace(check, declared=declared, notes=others + declared_notes(declared))
