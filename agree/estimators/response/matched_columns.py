"""Both columns of a pair with one response, as a record of what was done, and why a second of them is not used."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from agree.core.checks import FloatArray
from agree.core.data.matched import Matched
from agree.core.interval.estimate import Estimate
from agree.core.thresholds import WORKING_W
from agree.estimators.response.kernels import Kernel
from agree.estimators.response.matching import Filter
from agree.estimators.response.nonlinear.any_filter import answered
from agree.estimators.response.nonlinear.repeating import Repeating
from agree.estimators.response.nonlinear.uneven import Uneven

AROUND_S = 601       # s over which a response that does not keep energy is taken to do so alike
MOST_LOCAL = 2.0      # times the usual factor


def matched(made: Filter, reference: FloatArray, device: FloatArray) -> Matched:
    """Columns with one response, as a record of what was done."""
    u, v = made.columns(reference, device)
    found = made.choice
    sign = -1.0 if made.smoother == "reference" else 1.0
    up, down = (None, None) if made.constants is None else (made.constants.up, made.constants.down)
    size = up if up is not None else None if found is None else found.size
    judged = found is not None and up is None and not isinstance(made.kernel, Repeating)
    kind = "none" if found is None else "uneven" if up is not None else found.kind
    second = None if found is None or up is not None else found.second
    return Matched(
        reference=u, device=v, kind=kind, smoother=made.smoother if made.changes else "",
        delay_s=sign * made.kernel.delay_s if isinstance(made.kernel, Uneven) else (
            0.0 if found is None else found.delay.value), mean_delay_s=sign * made.mean_delay,
        misfit=found.misfit if found is not None and judged else math.nan,
        fits=found is None or not judged or found.fits,
        held_s=made.held_s,
        **told("size", size), **told("second", second), **told("down", down))


def told(name: str, size: Estimate | None) -> dict[str, Any]:
    """Fields of `Matched` for a size: itself, its standard error and its limits."""
    if size is None:
        return {}
    return {f"{name}_s": size.value, f"{name}_se_s": size.standard_error, f"{name}_low_s": size.low,
            f"{name}_high_s": size.high}


def with_energy(record: Matched, made: Filter, sound: tuple[FloatArray, FloatArray], used: NDArray[np.bool_],
                ) -> Matched:
    """Record with the energy that the response itself adds, or takes, put back into the error of the device.

    Parameters
    ----------
    record : Matched
        Columns as the filter makes them.
    made : Filter
        The filter; a linear one keeps energy, and nothing is changed, nor is it by readings that are repeated: which
        seconds a trace reads is chance, and no error of its readings.
    sound : pair of (n,) arrays, W
        Reference and device as recorded, NaN where missing or faulty.
    used : (n,) array of bool
        Seconds that count.

    Notes
    -----
    The filtered column is divided by a factor for each second: the ratio of answered to recorded energy in the ten
    minutes around, times a constant. The constant makes the mean error over the used seconds (1 + k) G - 1, with k that
    of the columns as they are, on which the choice of seconds has no bearing, and G the ratio over the whole ride.
    """
    if isinstance(made.kernel, Kernel) or (isinstance(made.kernel, Repeating) and not made.kernel.held_s):
        return record
    sharp = sound[1] if made.smoother == "reference" else sound[0]
    column = record.device if made.smoother == "reference" else record.reference
    answer = answered(sharp, made.kernel)
    # Of a trace that repeats its readings what counts is that it goes on at stops, not which seconds it reads.
    kept = answered(sharp, made.kernel._replace(held_s=0)) if isinstance(made.kernel, Repeating) else sharp
    known = np.isfinite(answer) & np.isfinite(kept)
    rows = np.stack([np.where(known, answer, 0.0), np.where(known, kept, 0.0)])
    whole = rows.sum(axis=1)
    used = used & np.isfinite(column)
    if not (whole > 0).all() or not (total := float(column[used].sum())) > 0:
        return record
    energy = float(whole[0] / whole[1])
    around = ndimage.uniform_filter1d(rows, AROUND_S, axis=1, mode="constant")
    local = np.divide(around[0], around[1], out=np.full(column.size, energy), where=around[1] > WORKING_W / 10)
    local = np.clip(local, energy / MOST_LOCAL, energy * MOST_LOCAL)
    course = local * energy * float((column / local)[used].sum()) / total
    side = "device" if made.smoother == "reference" else "reference"
    return replace(record, energy=energy, energy_course=course, **{side: column / course})


def reasons(
    aside: NDArray[np.str_], recorded: tuple[FloatArray, FloatArray], sound: tuple[FloatArray, FloatArray],
    full: tuple[FloatArray, FloatArray],
) -> NDArray[np.str_]:
    """Say why a second of the matched pair is not used.

    Parameters
    ----------
    aside : (n,) array of str
        Reason of each second set aside as faulty, else "".
    recorded, sound, full : pair of (n,) arrays, W
        Readings as recorded; columns with one response made without the faulty seconds; and made of all.
    """
    missing = ~(np.isfinite(recorded[0]) & np.isfinite(recorded[1]))
    spoiled = ~(np.isfinite(sound[0]) & np.isfinite(sound[1]))
    coasting = (recorded[0] == 0) & (recorded[1] == 0) & (spoiled | ((full[0] == 0) & (full[1] == 0)))
    coasting |= (sound[0] == 0) & (sound[1] == 0)
    unanswered = ~(np.isfinite(full[0]) & np.isfinite(full[1]))  # with what is missing, whatever is faulty
    names = ["missing", "both_coasting", "beside_gap", "beside_fault"]
    return np.select([aside != "", missing, coasting, spoiled & unanswered, spoiled], [aside, *names], "")
