"""Slips of a static check: readings, units, sides and masses written down wrongly, and settings of a tell-tale size."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from agree.core.checks import FloatArray
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.thresholds import STATIC_NEAR, STATIC_NEAR_SMALL, STATIC_NO_RESPONSE, STATIC_SLIP_SD
from agree.physics.static_fit import Hangs, rounding_sd
from agree.physics.torque import HungMass

# Scale that a slip brings -> its name. Units: exact factors of the units (kilogram-force: 9.80665 N; foot-pound:
# 1.3558179483 N m; pound: 0.45359237 kg). A side that is not doubled reads half, one doubled twice reads double.
SLIPS = (
    (-1.0, "sign"), (0.5, "one side is not counted"), (2.0, "one side is counted twice"),
    (1 / 9.80665, "reading in kgf m"), (9.80665, "reading in N m, mass taken for a force in kgf"),
    (1 / 1.3558179483, "reading in lbf ft"), (100.0, "reading in N cm"), (1000.0, "reading in N mm"),
    (0.001, "reading in kN m, or mass in g"), (0.45359237, "mass in lb"),
)
GRAVITY = 10 / 9.80665  # a device set with g = 10 m/s2
# Lengths sold, mm: every 2.5 mm from 165 to 180, and the common short ones (from memory of makers' lists).
LENGTHS_MM = (150.0, 155.0, 160.0, 165.0, 167.5, 170.0, 172.5, 175.0, 177.5, 180.0)
SAME_LENGTH_MM = 1.0    # a measured length this near to one sold is that one
SMALL_SHARE = 0.1       # of the largest reading: smaller ones may be a wrong zero of either sign
MOST_SINGLE = 3         # hangs looked for that were written down wrongly: more are no single slips
REMEDIES = ((-1.0, "sign"), (10.0, "decimal"), (0.1, "decimal"))


def slips_of(data: Hangs, scale: Estimate, sides: tuple[tuple[str, Estimate], ...],
             hang: HungMass, *, straight: bool) -> tuple[Note, ...]:
    """Name what explains the readings better than a wrong device: of all hangs, of a side, of single hangs.

    A setting such as a crank length is named only where the readings are straight: none bends them.
    """
    whole = _of_scale(scale, "")
    by_side = tuple(note for name, item in sides for note in _of_scale(item, name)) if len(sides) == 2 else ()
    if by_side and (not whole or len(by_side) == 1):
        whole = by_side  # one side that is turned round or not sensed looks like another slip of both together
    if whole:
        return whole
    return _single(data) or (_settings(scale, hang) if straight else ())


def _of_scale(scale: Estimate, side: str) -> tuple[Note, ...]:
    if abs(scale.value) <= STATIC_NO_RESPONSE:
        return (Note(kind="static_no_response", severity="answer", values={
            "side": side, "scale": scale.value, "written_wrongly": True}),)
    return tuple(Note(kind="static_slip", severity="answer",
                      values={"slip": name, "scale": size, "side": side, "written_wrongly": True})
                 for size, name in SLIPS if abs(scale.value - size) <= STATIC_NEAR * abs(size))


def _single(data: Hangs) -> tuple[Note, ...]:
    """Find hangs off the line of the others whose reading, turned round or moved by a decimal, lies on it."""
    design = _design(data)
    found = [(int(k), -1.0, "sign") for k in _turned(design, data)]
    reading = data.reading.copy()
    for k, factor, _ in found:
        reading[k] *= factor
    while len(found) < MOST_SINGLE and (one := _worst(design, reading, data)) is not None:
        reading[one[0]] *= one[1]
        found.append(one)
    return tuple(Note(kind="static_hang_slip", severity="answer", values={
        "hang": k + 1, "mass_kg": float(data.mass[k]), "reading_Nm": float(data.reading[k]), "slip": kind,
        "meant_Nm": float(data.reading[k] * factor), "written_wrongly": True}) for k, factor, kind in sorted(found))


def _turned(design: FloatArray, data: Hangs) -> NDArray[np.intp]:
    """Readings of the rarer sign, if the rest is straight with all of them turned round and is not as they are."""
    size = np.abs(data.reading)
    large = size > SMALL_SHARE * size.max()
    rare = np.sign(data.reading) == (-1 if (data.reading[large] > 0).sum() > large.sum() / 2 else 1)
    chosen = np.flatnonzero(large & rare)
    if not 0 < chosen.size < large.sum() / 2:
        return chosen[:0]
    turned = data.reading.copy()
    turned[chosen] *= -1
    before, after = (float(np.linalg.norm(y - design @ (np.linalg.pinv(design) @ y))) for y in (data.reading, turned))
    return chosen if 2 * STATIC_SLIP_SD * after < before else chosen[:0]


def _design(data: Hangs) -> FloatArray:
    codes = np.zeros(data.torque.size, dtype=np.intp) if data.side is None else data.side
    marks = np.eye(int(codes.max()) + 1)[codes]
    return np.column_stack([marks, marks * data.torque[:, None]])


def _worst(design: FloatArray, reading: FloatArray, data: Hangs) -> tuple[int, float, str] | None:
    """Return the hang without which the rest is straightest, if a remedy puts it on their line."""
    floor = rounding_sd(data.reading)
    best: tuple[float, int, float, str] | None = None
    for k in range(reading.size):
        rest = np.arange(reading.size) != k
        df = int(rest.sum()) - int(np.linalg.matrix_rank(design[rest]))
        if df < 1 or np.linalg.matrix_rank(design[rest]) < design.shape[1]:
            continue
        line = np.linalg.pinv(design[rest]) @ reading[rest]
        left = reading[rest] - design[rest] @ line
        sd = max(float(np.sqrt(left @ left / df)), floor)
        meant = float(design[k] @ line)
        near = max(STATIC_SLIP_SD * sd, STATIC_NEAR * abs(meant))
        off = abs(float(reading[k]) - meant)
        for factor, kind in REMEDIES:
            mended = abs(float(reading[k]) * factor - meant)
            if mended <= near and off > 2 * STATIC_SLIP_SD * sd and off > 5 * mended and (best is None or sd < best[0]):
                best = sd, k, factor, kind
    return None if best is None else best[1:]


def _settings(scale: Estimate, hang: HungMass) -> tuple[Note, ...]:
    """Name a gravity or crank lengths set in the device, where the scale's interval holds their ratio and not 1."""
    if scale.low <= 1 <= scale.high:
        return ()
    found = []
    narrow = scale.high - scale.low < 10 * STATIC_NEAR_SMALL
    if narrow and scale.low <= GRAVITY <= scale.high:
        found.append(Note(kind="static_slip", severity="trust", values={
            "slip": "g taken as 10 m/s2", "scale": GRAVITY, "side": "", "written_wrongly": False}))
    own = min(LENGTHS_MM, key=lambda length: abs(length - hang.crank_length_mm))
    if abs(own - hang.crank_length_mm) <= SAME_LENGTH_MM:
        fit = [length for length in LENGTHS_MM
               if length != own and scale.low <= length / hang.crank_length_mm <= scale.high]
        if len(fit) == 1:
            found.append(Note(kind="static_length", severity="trust", values={
                "length_mm": fit[0], "own_mm": own, "scale": fit[0] / own, "written_wrongly": False}))
    return tuple(found)
