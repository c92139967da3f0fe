"""`agree check` of states: sessions in the states of a list, or the parts of a recording that is split."""

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
    from agree.trail.trail import Trail


def judged_by_state(files: Sequence[SessionFiles], pairs: Sequence[Pairs], options: dict[str, Any], outputs: Outputs,
                    provenance: Provenance) -> ClaimCheck:
    """Check the state that is asked for, write its files, and print what each adjustment did."""
    import warnings
    from dataclasses import replace

    from agree.assessment.beside import with_seconds
    from agree.core.errors import AgreeWarning

    with progress("checking every state"), warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # the report says the same in its warnings
        trail = (_split if options["splits"] else _listed)(files, pairs, options)
        trail = replace(trail, check=with_seconds(trail.check))
    stored = trail.to_dict()
    told = trail.summary() if len(trail.states) > 1 else None  # one state is the ordinary case: nothing changed
    deliver(trail.check, outputs, provenance, text=told,
            more={name: stored[name] for name in ("state", "states", "changes", "trail_notes")})
    return trail.check


def _listed(files: Sequence[SessionFiles], pairs: Sequence[Pairs], options: dict[str, Any]) -> Trail:
    from agree.core.errors import InputError
    from agree.trail.trail import check_trail

    unnamed = [k for k, item in enumerate(files, 1) if not item.state]
    if unnamed:
        raise InputError(f"session {unnamed[0]} has no state; give every session one in the column state of --sessions "
                         "LIST.csv")
    return check_trail(pairs, [item.state for item in files], options["claim"], state=options["state"],
                       expected=[item.expected for item in files], **asked_of_check(options))


def _split(files: Sequence[SessionFiles], pairs: Sequence[Pairs], options: dict[str, Any]) -> Trail:
    from agree.core.errors import InputError
    from agree.trail.trail import check_split

    if len(pairs) != 1 or files[0].state:
        raise InputError(f"--split takes one recording; got {len(pairs)} with "
                         f"{'states' if files[0].state else 'no states'}: write the states of several sessions in the "
                         "column state of --sessions LIST.csv")
    return check_split(pairs[0], options["splits"], options["claim"], state=options["state"], **asked_of_check(options))
