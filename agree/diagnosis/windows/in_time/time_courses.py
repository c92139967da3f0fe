"""Courses in time that an error may take within a session: drifts, straight or not, and warm-ups."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np

from agree.core.checks import FloatArray
from agree.diagnosis.windows.frame import Frame
from agree.diagnosis.windows.gains import Gains
from agree.faults.slow.warm_up import SETTLE_S, course

Form = Literal["straight", "root", "slowing", "slowing soon", "quickening", "dies away", "straight to its end"]
DRIFTS: tuple[Form, ...] = ("straight", "root", "slowing", "slowing soon", "quickening")
WARM_UPS: tuple[Form, ...] = ("dies away", "straight to its end")
# s after which a warm-up may have settled: longer than one that is found by itself, for all that a drift may be.
ENDS_S = (*SETTLE_S, 2400.0, 3000.0, 3600.0)
TIME_CONSTANTS = {"slowing": 2.0, "slowing soon": 3.0}  # in the longest session


class Course(NamedTuple):
    """A course: cause, form, hours over which it goes (the longest session, or until settled), whether in per cent."""

    cause: Literal["drift", "warm_up"]
    form: Form
    reach_h: float
    share: bool


STRAIGHT = Course("drift", "straight", 0.0, False)


class Courses(NamedTuple):
    """Courses tried, and each in windows, (courses, n): as it is, and free of gains and slow faults."""

    courses: tuple[Course, ...]
    raw: FloatArray
    free: FloatArray


def along(form: Form, hours: FloatArray, reach_h: float) -> FloatArray:
    """Course at hours since the start of the session.

    A drift is 0 there and `reach_h` after as many hours, whatever its form, so that its size is what it changes by in
    all over these hours. With u the share of them it is u, its root, (1 - exp(-c u))/(1 - exp(-c)) with c of
    `TIME_CONSTANTS`, or its square. A warm-up is 1 at the start and has settled after `reach_h`.
    """
    if form in WARM_UPS:
        return course(3600 * hours, 3600 * reach_h, straight=form == "straight to its end")[0]
    if form == "straight" or not reach_h > 0:
        return hours
    u = np.clip(hours / reach_h, 0.0, None)
    if form in TIME_CONSTANTS:
        c = TIME_CONSTANTS[form]
        u = np.expm1(-c * u) / np.expm1(-c)
    else:
        u = np.sqrt(u) if form == "root" else u**2
    made: FloatArray = reach_h * u
    return made


def time_courses(data: Frame, own: Gains) -> Courses:
    """All that are tried; no warm-up beside a step or another one, nor one that outlasts the shortest session.

    Beside a step that was found, what its course is off by at the start looks like a warm-up.
    """
    longest, shortest = _lengths(data, own)
    tried: list[tuple[Literal["drift", "warm_up"], Form, float]] = [("drift", form, longest) for form in DRIFTS]
    if not any(data.slow):
        tried += [("warm_up", form, end / 3600) for form in WARM_UPS for end in ENDS_S if end <= 3600 * shortest]
    made, rows = [], []
    for cause, form, reach in tried:
        shape = along(form, data.hours, reach)
        made += [Course(cause, form, reach, share) for share in (False, True)]
        rows += [shape, shape * data.power]
    return Courses(tuple(made), np.stack(rows), np.stack([own.free(row) for row in rows]))


def _lengths(data: Frame, own: Gains) -> tuple[float, float]:
    ends: Sequence[float] = [float(data.hours[low:high].max()) for low, high in own.bounds if high > low]
    return max(ends, default=0.0), min(ends, default=0.0)
