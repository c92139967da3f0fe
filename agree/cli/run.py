"""From files and options to a checked claim: shared by the commands that check."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from agree.cli.progress import progress
from agree.cli.session_list import SessionFiles
from agree.cli.terminal import edges_of, handling_of, looks_of
from agree.cli.words import hint

if TYPE_CHECKING:
    from agree.assessment.claim_check import ClaimCheck
    from agree.core.data.pairs import Pairs


def paired(files: Sequence[SessionFiles], options: dict[str, Any]) -> list[Pairs]:
    """Read and match every pair of files."""
    from agree.pairing.pair import pair_recordings
    from agree.recordings.options import options_from_text

    reads = [options_from_text(options.get(f"{role}_read", ())) for role in ("reference", "device")]
    columns = tuple(options.get(f"{role}_column") or read.pop("power_column", None)
                    for role, read in zip(("reference", "device"), reads, strict=True))
    pairs = []
    with progress("reading and matching the recordings", len(files)) as state:
        for number, item in enumerate(files, 1):
            pairs.append(pair_recordings(
                item.reference, item.device, max_lag_s=options.get("max_lag"), lag_s=options.get("lag"),
                power_columns=columns, reference_read=reads[0] or None, device_read=reads[1] or None,
                faults=handling_of(options.get("faults", ())), session=item.label or str(number)))
            state.step()
    return pairs


def checked(pairs: list[Pairs], options: dict[str, Any]) -> ClaimCheck:
    """Check the claim as the options say."""
    import warnings

    from agree.assessment.as_done import as_done
    from agree.assessment.claim_check import check_claim
    from agree.core.errors import AgreeWarning

    with progress("checking the claim"), warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # the report says the same in its warnings
        return as_done(check_claim(pairs if len(pairs) > 1 else pairs[0], options["claim"], **asked_of_check(options)),
                       faults=faults_done(options))


def faults_done(options: dict[str, Any]) -> tuple[str, ...]:
    """Return what is done with faulty seconds, as a declaration writes it: every kind that is not handled as usual."""
    from agree.core.data.fault import SLOW

    return tuple(f"{kind}={how}" for kind, how in handling_of(options.get("faults", ())).items()
                 if how != ("report" if kind in SLOW else "set aside"))


def asked_of_check(options: dict[str, Any]) -> dict[str, Any]:
    """Return the options of `check_claim` beside pairs and claim."""
    from agree.verdict.declaration import read_declaration

    declared = read_declaration(options["declared_file"]) if options.get("declared_file") else None
    if declared is not None and declared.splits and not options.get("splits"):
        hint(f"a split at {', '.join(declared.splits)} was declared: judge the part after it by --split "
             f"{declared.splits[-1]}")
    return {"meaning": options["meaning"], "reference_uncertainty": options["reference_uncertainty"],
            "bands": edges_of(options["bands"]), "window_s": options["window"], "level": options["level"],
            "drivetrain_loss": options.get("loss"), "decision_rule": options.get("rule", "interval"),
            "looks": looks_of(options.get("looks")),
            "declared": declared}
