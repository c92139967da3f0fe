"""`agree check` of sessions in states: the last state is judged, and each adjustment is told."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from agree.cli.deliver import Outputs, deliver
from agree.cli.progress import progress
from agree.cli.run import asked_of_check
from agree.cli.session_list import SessionFiles

if TYPE_CHECKING:
    from agree.assessment.claim_check import ClaimCheck
    from agree.core.data.pairs import Pairs
    from agree.report.story.provenance import Provenance


def judged_by_state(files: Sequence[SessionFiles], pairs: Sequence[Pairs], options: dict[str, Any], outputs: Outputs,
                    provenance: Provenance) -> ClaimCheck:
    """Check the state that is asked for, write its files, and print what each adjustment did."""
    import warnings
    from dataclasses import replace

    from agree.assessment.beside import with_seconds
    from agree.core.errors import AgreeWarning, InputError
    from agree.trail.trail import check_trail

    unnamed = [k for k, item in enumerate(files, 1) if not item.state]
    if unnamed:
        raise InputError(f"session {unnamed[0]} has no state; give every session one in the column state of --sessions "
                         "LIST.csv")
    with progress("checking every state"), warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # the report says the same in its warnings
        trail = check_trail(pairs, [item.state for item in files], options["claim"], state=options["state"],
                            **asked_of_check(options))
        trail = replace(trail, check=with_seconds(trail.check))
    stored = trail.to_dict()
    deliver(trail.check, outputs, provenance, text=trail.summary(),
            more={name: stored[name] for name in ("state", "states", "changes")})
    return trail.check
