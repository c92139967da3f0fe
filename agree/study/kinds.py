"""The kinds of pairs that a study may hold: recordings of power, of another quantity, and tables of trials."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from agree.core.errors import InputError

# Options of reading and pairing, and of the check, for each kind.
PAIRING = {"power": ("max_lag_s", "lag_s", "power_columns", "faults"), "quantity": (), "trials": (
    "by", "reference_column", "device_column", "unit", "unpaired")}
CHECK = {"power": ("reference_uncertainty", "meaning", "bands", "window_s", "level", "decision_rule"),
         "quantity": ("reference_uncertainty", "meaning", "window_s", "level", "delay"),
         "trials": ("reference_uncertainty", "meaning", "level", "mean_of", "assume")}
MEANINGS = {"power": ("average", "bands", "readings", "next_session"),
            "quantity": ("average", "readings", "next_session"),
            "trials": ("average", "levels", "readings", "next_subject", "mean_absolute")}


def kind_of(options: Mapping[str, Any]) -> str:
    """Return "trials" where `by` names their keys, "quantity" where `quantity` is not power, else "power"."""
    if options.get("by"):
        return "trials"
    return "quantity" if options.get("quantity", "power") not in ("", "power") else "power"


def refuse_unknown(options: Mapping[str, Any]) -> None:
    """Refuse options and meanings that a kind does not have.

    Raises
    ------
    InputError
        Naming those that it has.
    """
    kind = kind_of(options)
    known = (*PAIRING[kind], *CHECK[kind], "quantity")
    strange = sorted(set(options) - set(known))
    if strange:
        raise InputError(f"options {', '.join(strange)} are not known; expected some of {', '.join(known)}")
    if options.get("meaning", "average") not in MEANINGS[kind]:
        raise InputError(f"`meaning` must be one of {', '.join(MEANINGS[kind])}; got {options['meaning']!r}",
                         option="meaning")


def read_pair(sides: Sequence[Any], options: Mapping[str, Any], *, named: bool = False) -> Any:
    """Read and match two sides under names that say nothing of where they lie, or, if `named`, their own.

    Parameters
    ----------
    sides : two paths or open files
    options : mapping
        Of the study; those of pairing are taken.
    """
    kind = kind_of(options)
    pairing = {name: value for name, value in options.items() if name in PAIRING[kind]}
    if kind == "trials":
        from agree.trials.pair import pair_trials

        return pair_trials(*sides, quantity=options.get("quantity") or None, **pairing)
    from agree.recordings.read import read_recording

    roles = (None, None) if named else ("reference", "device")
    if kind == "quantity":
        from agree.core.quantities.known import quantity
        from agree.quantities.read import overlay_recordings

        measured = quantity(options["quantity"])
        reference, device = (read_recording(side, quantity=measured, name=role)
                             for role, side in zip(roles, sides, strict=True))
        return overlay_recordings(reference, device, measured)
    from agree.pairing.pair import pair_recordings

    pair = pair_recordings(*(read_recording(side, name=role) for role, side in zip(roles, sides, strict=True)),
                           **pairing)
    if named:
        return pair
    # Files of other names with these bytes have the same record: it must not depend on which was read first.
    neutral = tuple(source and replace(source, name=role) for source, role in zip(
        pair.sources, ("reference", "device"), strict=True))
    return replace(pair, sources=(neutral[0], neutral[1]))


def check_together(items: Sequence[Any], claim: str, options: Mapping[str, Any]) -> Any:
    """Check the pairs of one unit together: a `ClaimCheck`, `QuantityCheck` or `TrialsCheck`."""
    kind = kind_of(options)
    asked = {name: value for name, value in options.items() if name in CHECK[kind]}
    if kind == "trials":
        from agree.trials.check import check_trials

        if len(items) > 1:
            raise InputError(f"found {len(items)} tables of trials of one unit; expected one: join them, with a column "
                             "for the session among the keys")
        return check_trials(items[0], claim, **asked)
    sessions = list(items) if len(items) == 1 else [replace(item, session=str(number))
                                                    for number, item in enumerate(items, 1)]
    if kind == "quantity":
        from agree.quantities.check import check_quantity

        return check_quantity(sessions, claim, **asked)
    from agree.assessment.claim_check import check_claim

    return check_claim(sessions if len(sessions) > 1 else sessions[0], claim, **asked)
