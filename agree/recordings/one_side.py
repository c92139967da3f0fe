"""Twice one side of a two-sided recording: what a device that senses that side and doubles it should read."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from agree.core import checks
from agree.core.errors import InputError
from agree.recordings.recording import Recording

Side = Literal["left", "right"]


def twice_one_side(recording: Recording, side: Side) -> Recording:
    """Return a recording whose power is twice that of one side.

    Parameters
    ----------
    recording : Recording
        Of power, with its balance.
    side : {"left", "right"}

    Returns
    -------
    Recording
        Power 2 P (share of the side); NaN where the balance is not known, 0 where the power is.

    Raises
    ------
    InputError
        No balance in the recording.

    See Also
    --------
    agree.trail.own_side.check_own_side : the check that uses it.

    Examples
    --------
    >>> from agree import Recording
    >>> from agree.recordings.one_side import twice_one_side
    >>> ride = Recording(time=[0, 1], power=[200, 300], balance=[48, 50])
    >>> twice_one_side(ride, "left").power.tolist()
    [208.0, 300.0]
    """
    checks.choice(side, "side", ("left", "right"))
    if recording.power is None or recording.balance is None or not np.isfinite(recording.balance).any():
        raise InputError(f"{recording.name} records no balance of left and right; a device that senses one side can "
                         "then be judged only as it is worn: leave `side` out, or record the balance of the reference")
    share = recording.balance / 100 if side == "right" else 1 - recording.balance / 100
    return replace(recording, power=np.where(recording.power == 0, 0.0, 2 * share * recording.power))
