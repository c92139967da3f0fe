"""`agree check` of states: sessions in the states of a list, or the parts of a recording that is split."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from agree.cli.deliver import Outputs, deliver
from agree.cli.progress import progress
from agree.cli.run import asked_of_check, checked, faults_done, paired
from agree.cli.session_list import SessionFiles

if TYPE_CHECKING:
    from agree.assessment.claim_check import ClaimCheck
    from agree.core.data.pairs import Pairs
    from agree.report.story.provenance import Provenance
    from agree.trail.own_side import OwnSide
    from agree.trail.trail import Trail


def judged_by_state(files: Sequence[SessionFiles], pairs: Sequence[Pairs], options: dict[str, Any], outputs: Outputs,
                    provenance: Provenance) -> ClaimCheck:
    """Check the state that is asked for, write its files, and print what each adjustment did."""
    import warnings
    from dataclasses import replace

    from agree.assessment.as_done import as_done
    from agree.cli.terminal import width
    from agree.core.errors import AgreeWarning
    from agree.report.texts.trail_text import answer_text, trail_text

    with progress("checking every state"), warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # the report says the same in its warnings
        trail = (_split if options["splits"] else _listed)(files, pairs, options)
        trail = replace(trail, check=as_done(trail.check, faults=faults_done(options)))
    stored = trail.to_dict()
    one = len(trail.states) == 1  # the ordinary case: nothing changed
    told = None if one else trail_text(trail, width=width(), details=outputs.details)
    brief = None if one else answer_text(trail, width=width())
    deliver(trail.check, outputs, provenance, text=told, brief=brief,
            page=None if one else lambda name: _page(trail, name, provenance),
            more={name: stored[name] for name in ("state", "states", "changes", "trail_notes")})
    return trail.check


def _page(trail: Trail, name: str, provenance: Provenance) -> None:
    from agree.report.trail_page import write_trail_page

    write_trail_page(trail, name, provenance=provenance)


def judged_by_side(files: Sequence[SessionFiles], pairs: list[Pairs], options: dict[str, Any], outputs: Outputs,
                   provenance: Provenance) -> ClaimCheck:
    """Check a device as it is worn and against twice the reference's own side, and deliver both."""
    from agree.cli.terminal import colour, width
    from agree.report.plain_text.answer_rows import set_rows
    from agree.report.plain_text.screen import screen
    from agree.report.story.tell import tell
    from agree.report.texts.trail_text import own_side_rows

    result = checked(pairs, options)
    both = _own_side(files, result, options)
    shown = screen(result, width=width(), colour=colour(), story=tell(result))
    own = set_rows(own_side_rows(both), width=width(), details=True)
    deliver(result, outputs, provenance, text=f"{shown}\n\n{own}", more={"own_side": both.stored()})
    return result


def _own_side(files: Sequence[SessionFiles], result: ClaimCheck, options: dict[str, Any]) -> OwnSide:
    import warnings

    from agree.core.errors import AgreeWarning
    from agree.recordings.one_side import twice_one_side
    from agree.recordings.options import options_from_text
    from agree.recordings.read import read_recording
    from agree.trail.own_side import check_own_side

    read = options_from_text(options["reference_read"])
    column = options["reference_column"] or read.pop("power_column", None)
    with progress("checking against one side"), warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # the report says the same in its warnings
        sides = [item._replace(reference=twice_one_side(read_recording(item.reference, power_column=column, **read),
                                                        options["side"])) for item in files]
        pairs = paired(sides, {**options, "reference_read": (), "reference_column": None})
        return check_own_side(result, pairs, options["side"], options["claim"], **asked_of_check(options))


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
