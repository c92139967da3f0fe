"""`overlay_recordings`: two recordings of a quantity, read and laid over each other."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from typing import Any

import numpy as np

from agree.core.errors import InputError
from agree.core.quantities.known import BALANCE, CADENCE, POWER, quantity
from agree.core.quantity import Quantity
from agree.core.results.note import Note
from agree.quantities.delays.one_clock import one_clock
from agree.quantities.overlay import Overlay, lay_over
from agree.recordings.read import read_recording
from agree.recordings.recording import Recording

OTHER_WAY = {"pace": "speed", "speed": "pace"}  # one thing, recorded either way; both are computed in m/s


def _read(source: Any, measured: Quantity, column: str | None, options: Mapping[str, Any] | None) -> Recording:
    if isinstance(source, Recording):
        if source.quantity.name not in (measured.name, OTHER_WAY.get(measured.name)):
            raise InputError(f"{source.name}: found a recording of {source.quantity.label}; expected {measured.label}; "
                             "read it with quantity=...")
        return source
    chosen = dict(options or {})
    if column is not None:
        chosen["column"] = column
    try:
        return read_recording(source, quantity=measured, **chosen)
    except InputError as error:
        other = OTHER_WAY.get(measured.name)
        if other is None or error.code != "no_column" or column is not None:
            raise
        with suppress(InputError):  # what was asked for is what the message should speak of
            return read_recording(source, quantity=other, **chosen)
        raise


def overlay_recordings(
    reference: Any,
    device: Any,
    quantity_name: str | Quantity,
    *,
    reference_column: str | None = None,
    device_column: str | None = None,
    reference_read: Mapping[str, Any] | None = None,
    device_read: Mapping[str, Any] | None = None,
    session: str = "1",
) -> Overlay:
    """Read two recordings of one quantity and lay them over each other as their stamps have them.

    Use it for heart rate, speed, temperature and similar quantities, whose delay may be the device's own; power goes
    through `pair_recordings`, which lines the clocks up.

    Parameters
    ----------
    reference, device : path, bytes, data frame, arrays or Recording
        What `read_recording` takes.
    quantity_name : str or Quantity
        "heart rate", "speed", "core temperature" ...
    reference_column, device_column : str, optional
        Columns of the readings, if not found by name.
    reference_read, device_read : mapping, optional
        Further options of `read_recording`.
    session : str
        Label of the session.

    Returns
    -------
    Overlay
        To be given to `check_quantity`.

    Raises
    ------
    InputError
        Power, a quantity that is not known, or a recording that cannot be read.
    MatchError
        Fewer than 60 s in common.

    See Also
    --------
    check_quantity : Judge a claim on what this returns.
    read_recording : Read one recording.

    References
    ----------
    "Check heart rates" in the documentation.

    Examples
    --------
    >>> from agree import overlay_recordings
    >>> t = list(range(120))
    >>> strap = {"time (s)": t, "heart rate (bpm)": [120 + k % 30 for k in t]}
    >>> wrist = {"time (s)": t, "heart rate (bpm)": [121 + k % 30 for k in t]}
    >>> seen = overlay_recordings(strap, wrist, "heart rate")
    >>> seen.reference.size, seen.absolute
    (120, False)
    """
    measured = quantity(quantity_name)
    if measured.name == POWER.name:
        raise InputError("`quantity_name` is power, which goes through pair_recordings and check_claim",
                         option="quantity_name")
    one = _read(reference, measured, reference_column, reference_read)
    two = _read(device, measured, device_column, device_read)
    names = (one.name, two.name) if one.name != two.name else (f"{one.name}, reference", f"{two.name}, device")
    moved, absolute, note = one_clock(one, two)
    late = np.asarray(two.time) - moved
    shadow = None
    if measured.shadow == CADENCE.name:
        shadow = next(((time, source.cadence) for time, source in ((np.asarray(one.time), one), (late, two))
                       if source.cadence is not None), None)
    own = one.quantity if one.quantity.name == measured.name else measured
    notes = [*([note] if note else []), *_distrusted(one, two)]
    values = [one.values, two.values]
    if measured.name == BALANCE.name:  # recordings hold the right side's share
        left = any(told.kind == "read_balance_left" for told in (*one.notes, *two.notes))
        values = [100.0 - each for each in values] if left else values
        assumed = any(told.kind == "read_balance_side" for told in (*one.notes, *two.notes))
        notes.append(Note(kind="quantity_side_assumed" if assumed else "quantity_side", severity="trust",
                          values={"side": "left" if left else "right"}))
    return lay_over((np.asarray(one.time), values[0]), (late, values[1]), own, absolute=absolute,
                    shadow=shadow, names=names, session=session, notes=tuple(notes))


def _distrusted(one: Recording, two: Recording) -> list[Note]:
    """Return what reading the files leaves doubtful, such as a unit assumed, each once."""
    found = {(told.kind, str(told.values)): replace(told, severity="trust", role=role)
             for role, item in (("device", two), ("reference", one)) for told in item.notes
             if told.severity in ("answer", "trust") and told.kind != "read_balance_side"}
    return list(found.values())
