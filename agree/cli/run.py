"""From files and options to a checked claim, and its delivery: shared by the commands that check."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from agree.cli.terminal import edges_of, handling_of, progress

if TYPE_CHECKING:
    from agree.assessment.claim_check import ClaimCheck
    from agree.core.pairs import Pairs


def paired(files: Sequence[tuple[str, str | None]], options: dict[str, Any]) -> list[Pairs]:
    """Read and match every pair of files."""
    from agree.pairing.pair import pair_recordings
    from agree.recordings.options import options_from_text

    reads = [options_from_text(options.get(f"{role}_read", ())) for role in ("reference", "device")]
    columns = tuple(options.get(f"{role}_column") or read.pop("power_column", None)
                    for role, read in zip(("reference", "device"), reads, strict=True))
    pairs = [pair_recordings(reference, device, max_lag_s=options.get("max_lag"), lag_s=options.get("lag"),
                             power_columns=columns, reference_read=reads[0] or None, device_read=reads[1] or None,
                             faults=handling_of(options.get("faults", ())), session=str(number))
             for number, (reference, device) in enumerate(files, 1)]
    if not options.get("match_response"):
        return pairs
    from agree.estimators.response.difference import match_response

    return [match_response(item) for item in pairs]


def checked(pairs: list[Pairs], options: dict[str, Any]) -> ClaimCheck:
    """Check the claim as the options say."""
    import warnings

    from agree.assessment.beside import with_seconds
    from agree.assessment.claim_check import check_claim
    from agree.core.errors import AgreeWarning

    edges = edges_of(options["bands"])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", AgreeWarning)  # the report says the same in its notes
        return with_seconds(check_claim(
            pairs if len(pairs) > 1 else pairs[0], options["claim"], meaning=options["meaning"],
            reference_uncertainty=options["reference_uncertainty"], bands=edges, window_s=options["window"],
            level=options["level"], drivetrain_loss=options.get("loss"),
            decision_rule=options.get("rule", "interval")))


def deliver(result: ClaimCheck, json_file: str | None, page_file: str | None, *, efforts: bool = False) -> None:
    """Files first, so that a failure to write them is not lost under the text."""
    from agree.report.write import json_text, write_text

    if page_file is not None:
        with progress("drawing the page"):
            from agree.report.page import write_page

            write_page(result, page_file)
    if json_file == "-":
        click.echo(json_text(result))
        return
    if json_file is not None:
        write_text(json_file, json_text(result) + "\n")
    click.echo(result.summary())
    for item, best in zip(result.pairs, result.efforts, strict=True) if efforts else ():
        session = f", session {item.session}" if len(result.pairs) > 1 else ""
        click.echo(f"\nBest efforts{session}\n" + (best.summary() if best is not None else "too few seconds"))
