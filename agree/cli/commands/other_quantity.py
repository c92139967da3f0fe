"""What `agree check` does with recordings that are not of power."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import click

from agree.cli.progress import progress
from agree.cli.session_list import SessionFiles
from agree.cli.words import hint

NOT_HOLDING = 1
# Options that speak of power, and what they are when they are not given.
OF_POWER: dict[str, Any] = {
    "loss": None, "bands": None, "faults": (), "efforts": False, "max_lag": None, "figures": (), "details": False,
    "looks": None, "rule": "interval", "declared_file": None, "about_file": None, "splits": (), "side": None}
OPTION = {"figures": "figure", "splits": "split"}  # named otherwise than the value


def of_state(files: Sequence[SessionFiles], wanted: str | None) -> list[SessionFiles]:
    """Return the sessions in one state of the device: the one asked for, or the last of the list.

    Raises
    ------
    InputError
        A state that no session has.
    """
    from agree.core.errors import InputError

    states = list(dict.fromkeys(item.state for item in files))
    if wanted is None and states == [""]:
        return list(files)
    chosen = states[-1] if wanted is None else wanted
    kept = [item for item in files if item.state == chosen]
    if not kept:
        named = ", ".join(map(repr, states)) if states != [""] else "none"
        raise InputError(f"--state {chosen!r}: no session is in that state; the states of the list are {named}")
    if len(kept) < len(files):
        hint(f"the {len(kept)} of {len(files)} sessions in the state {chosen!r} are compared")
    return kept


@contextmanager
def instead_of_trials(reference: str, device: str | None, claim: str, asked: str = "") -> Iterator[None]:
    """Say which command is for trials, where a table of them is met, or which quantity other than the one `asked`."""
    from agree.core.errors import InputError
    from agree.files.tables.trials_table import TrialsTableError

    try:
        yield
    except TrialsTableError as error:
        raise InputError(error.as_command(reference, device, claim)) from None
    except InputError as error:
        told = _told_by_header(reference) if error.code == "no_column" else ()
        others = tuple(name for name in told if name != asked)
        if not others:
            raise
        ways = " or ".join(f"--quantity '{name}'" for name in others)
        raise InputError(f"{str(error).split('; name it with')[0]}; for {' or '.join(others)}: add {ways}") from None


def _told_by_header(path: str) -> tuple[str, ...]:
    """Return the quantities other than power that the columns of a file tell."""
    from agree.core.errors import InputError
    from agree.recordings.other_quantities import quantities_told
    from agree.recordings.read import read_table_of

    try:
        return quantities_told(read_table_of(path, {})[0].header)
    except InputError:
        return ()


def check_other_quantity(listed: Sequence[SessionFiles], options: dict[str, Any]) -> None:
    """Read, check and deliver; ends the command with status 1 where a claim must hold and does not.

    Raises
    ------
    InputError
        Power, an option that speaks of power, or what reading and checking refuse.
    """
    from agree.cli.commands.trials import deliver, in_options
    from agree.cli.deliver import outputs_of
    from agree.core.errors import AgreeWarning, InputError
    from agree.core.quantities.known import quantity
    from agree.quantities.check import check_quantity
    from agree.quantities.read import overlay_recordings
    from agree.recordings.options import options_from_text

    measured = quantity(options["quantity"])
    if measured.name == "power":
        raise InputError("--quantity is for what is not power; leave it out")
    for name, plain in OF_POWER.items():
        if options.get(name) not in (plain, None):
            option = OPTION.get(name, name.removesuffix("_file").replace("_", "-"))
            raise InputError(f"--{option} is for power; leave it out with --quantity {measured.name!r}")
    if options["meaning"] == "bands":
        raise InputError(f"--meaning bands is for power; with --quantity {measured.name!r} choose average, readings or "
                         "next_session")
    files = of_state(listed, options["state"])
    reads = [options_from_text(options.get(f"{role}_read", ())) for role in ("reference", "device")]
    with (progress("reading and comparing the recordings"), warnings.catch_warnings(),
          instead_of_trials(files[0].reference, files[0].device, options["claim"], measured.name)):
        warnings.simplefilter("ignore", AgreeWarning)  # the report says the same in its notes
        overlays, inputs = [], []
        for number, (reference, device, *_) in enumerate(files, 1):
            if device is None:
                raise InputError(f"{reference}: --quantity needs two files, the reference's and the device's")
            overlays.append(overlay_recordings(
                reference, device, measured, reference_column=options["reference_column"],
                device_column=options["device_column"], reference_read=reads[0], device_read=reads[1],
                session=str(number)))
            inputs += [_identity(path) for path in (reference, device)]
        try:
            result = check_quantity(overlays, options["claim"], delay=options["delay"], lag_s=options["lag"],
                                    meaning=options["meaning"], window_s=options["window"], level=options["level"],
                                    inputs=inputs, reference_uncertainty=options["reference_uncertainty"])
        except InputError as error:
            raise type(error)(in_options(str(error))) from None
    json_file, pages = outputs_of(options["json_file"], options["page_files"], options["others"])
    for page in pages:
        from agree.report.other_page import write_other_page

        with progress(f"drawing {page}"):
            write_other_page(result, page)
    from agree.report.texts.quantity_text import quantity_text

    deliver(result, json_file, brief=options["quiet"], text=quantity_text)
    if options["show"]:
        click.launch(pages[0])
    if options["require_holds"] and result.verdict != "holds":
        sys.exit(NOT_HOLDING)


def _identity(path: str) -> dict[str, Any]:
    from pathlib import Path

    from agree.core.data.source_identity import identity_of
    from agree.core.results.plain import plain_name

    found = identity_of(plain_name(Path(path).name), Path(path).read_bytes())
    return {"name": found.name, "bytes": found.size_bytes, "sha256": found.sha256}
