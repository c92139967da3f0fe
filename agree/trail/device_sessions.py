"""Several devices over sessions and states: whose readings vary from day to day, and which one an adjustment moved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from agree.core.checks import FloatArray, fraction
from agree.core.errors import InputError
from agree.core.interval.engine import estimate
from agree.core.interval.estimate import Estimate
from agree.core.results.note import Note
from agree.core.results.result import Result
from agree.core.thresholds import TRAIL_USUAL_MARGIN
from agree.devices.compare import DeviceComparison, compare_lined
from agree.devices.line_up import line_up
from agree.estimators.devices.splitting import error_sd, error_variances, products
from agree.trail.states import Change, State, change_between, same_spelling
from agree.verdict.repeats.distinct import refuse_repeats

LEAST_SESSIONS = 3  # from which what varies from session to session is split between devices


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeviceOverSessions(Result):
    """One device over the sessions of the last state.

    Attributes
    ----------
    name : str
    factor : Estimate
        Multiplies it to line it up with the first device, over sessions; of one session that session's own.
    session_sd : Estimate or None
        SD of its own error from session to session, per cent; None with fewer than 3 devices or 3 sessions.
    changes : tuple of Change
        Of its reading against the first device, from each state to the next.
    """

    name: str
    factor: Estimate
    session_sd: Estimate | None
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DeviceSessions(Result):
    """Several devices, none trusted, over sessions.

    Attributes
    ----------
    devices : tuple of DeviceOverSessions
        In the order given.
    sessions : tuple of DeviceComparison
        Of each session by itself.
    states : tuple of str
        State of each session.
    notes : tuple of Note
        What such sessions cannot tell, and who changed where all change beside one.
    """

    devices: tuple[DeviceOverSessions, ...]
    sessions: tuple[DeviceComparison, ...]
    states: tuple[str, ...]
    notes: tuple[Note, ...]


def compare_device_sessions(
    sessions: Sequence[Sequence[Any]], *, names: Sequence[str], states: Sequence[str] | None = None,
    max_lag_s: float | None = None, window_s: int = 30, level: float = 0.95,
) -> DeviceSessions:
    """Compare several devices that recorded several sessions together, none of them trusted.

    Parameters
    ----------
    sessions : sequence of sequences
        For each session the recordings of all devices, in the order of `names`.
    names : sequence of str
        Of the devices; the factors line the others up with the first.
    states : sequence of str, optional
        State in each session; one state if not given. Factors are those of the last state.
    max_lag_s, window_s, level
        As for `agree.devices.compare.compare_devices`.

    Returns
    -------
    DeviceSessions

    Raises
    ------
    InputError
        Unequal numbers of recordings, names or states, one state spelt in two ways, or a session given twice.

    See Also
    --------
    agree.devices.compare.compare_devices : one session.
    check_trail : sessions in states against a trusted device.

    Notes
    -----
    With two devices, whatever varies from session to session is charged to the pair. With three or more the logarithms
    of the ratios of sessions are split as errors are (Grubbs 1948), so that the day-to-day error of a reference is told
    from that of a device. Where an adjustment moves all other devices against the first alike, the first one moved.

    Examples
    --------
    >>> import numpy as np
    >>> from agree.trail.device_sessions import compare_device_sessions
    >>> rng, t = np.random.default_rng(4), np.arange(1200)
    >>> rides = [220 + 90 * np.sin(t / 70) + np.convolve(rng.normal(0, 60, 1204), np.ones(5) / 5, "valid")
    ...          for _ in range(2)]
    >>> made = [[k * true + rng.normal(0, 3, 1200) for k in (1.0, 0.95)] for true in rides]
    >>> found = compare_device_sessions(made, names=["crank", "pedals"])
    >>> round(found.devices[1].factor.value, 2), found.devices[1].session_sd
    (1.05, None)
    """
    fraction(level, "level")
    labels = ["all"] * len(sessions) if states is None else [str(item).strip() for item in states]
    if not sessions or any(len(item) != len(names) for item in sessions):
        raise InputError(f"`sessions` must hold {len(names)} recordings each, one for each of `names`; got "
                         f"{', '.join(str(len(item)) for item in sessions) or 'none'}", option="sessions")
    if len(labels) != len(sessions) or not all(labels):
        raise InputError(f"`states` must have one label for each session; got {sum(map(bool, labels))} for "
                         f"{len(sessions)}", option="states")
    same_spelling(labels)
    found = compared_each(sessions, max_lag_s=max_lag_s, window_s=window_s, level=level)
    logs = np.array([[-math.log(device.factor.value) for device in item.devices] for item in found]).T
    stays = [0, *(k for k in range(1, len(labels)) if labels[k] != labels[k - 1]), len(labels)]
    spans = [slice(first, last) for first, last in pairwise(stays)]
    last = logs[:, spans[-1]]
    sds = _session_sds(last, level)
    devices = tuple(DeviceOverSessions(
        name=name, factor=_factor(last[k], found[-1].devices[k].factor, level), session_sd=sds[k],
        changes=tuple(_change(logs[k], one, two, labels, level) for one, two in pairwise(spans)))
        for k, name in enumerate(names))
    return DeviceSessions(devices=devices, sessions=found, states=tuple(labels), notes=_notes(devices, last.shape[1]))


def compared_each(sessions: Sequence[Sequence[Any]], *, max_lag_s: float | None, window_s: int,
                  level: float) -> tuple[DeviceComparison, ...]:
    """Compare the devices of each session; a session, or a recording, that comes twice is refused."""
    lined = [line_up(item, max_lag_s=max_lag_s) for item in sessions]
    for k in range(1, len(lined[0].names)):
        refuse_repeats([one.pairings[0, k] for one in lined], pieces=False)
    return tuple(compare_lined(one, window_s=window_s, level=level) for one in lined)


def _factor(logs: FloatArray, single: Estimate, level: float) -> Estimate:
    """Return exp(-mean of the sessions' log ratios), with t between sessions."""
    if logs.size < 2:
        return single
    if not np.ptp(logs):
        return replace(single, value=float(np.exp(-logs[0])), low=float(np.exp(-logs[0])), high=float(np.exp(-logs[0])))
    item = estimate(float(logs.mean()), logs - logs.mean(), level=level, sampling="sessions",
                    session=np.arange(logs.size))
    value, low, high = (math.exp(-x) for x in (item.value, item.high, item.low))
    return replace(item, value=value, low=low, high=high, standard_error=value * item.standard_error)


def _session_sds(logs: FloatArray, level: float) -> list[Estimate | None]:
    """Split what varies from session to session between the devices, per cent."""
    if logs.shape[0] < 3 or logs.shape[1] < LEAST_SESSIONS:
        return [None] * logs.shape[0]
    summands, unit, _ = products(100 * logs, None)
    split = error_variances(100 * logs, summands, unit, "independent", None)
    return [error_sd(k, split, level=level, sampling="independent", session=None).scaled(unit)
            for k in range(logs.shape[0])]


def _state(logs: FloatArray, span: slice, label: str, level: float) -> State:
    percent = 100 * np.expm1(logs[span])
    count = percent.size
    sd = float(percent.std(ddof=1)) if count > 1 else math.nan
    item = Estimate(value=float(percent.mean()), low=-math.inf, high=math.inf, level=level, method="mean of sessions",
                    standard_error=sd / math.sqrt(count), df=count - 1.0)
    return State(state=label, sessions=count, bias_percent=item, session_sd=sd)


def _change(logs: FloatArray, one: slice, two: slice, labels: Sequence[str], level: float) -> Change:
    states = [_state(logs, span, labels[span.start], level) for span in (one, two)]
    item, answer = change_between(*states, margin=TRAIL_USUAL_MARGIN, level=level)
    return Change(before=states[0].state, after=states[1].state, change_percent=item, answer=answer,
                  margin_percent=TRAIL_USUAL_MARGIN, expected_percent=math.nan, as_expected=None)


def _notes(devices: Sequence[DeviceOverSessions], count: int) -> tuple[Note, ...]:
    notes = []
    for k in range(len(devices[0].changes)):
        moved = [item.changes[k] for item in devices[1:]]
        alike = {math.copysign(1, item.change_percent.value) for item in moved if item.answer == "changed"}
        if len(devices) > 2 and len(alike) == 1 and all(item.answer == "changed" for item in moved):
            notes.append(Note(kind="devices_first_changed", severity="answer", values={
                "device": devices[0].name, "state": moved[0].after, "others": len(moved)}))
    if len(devices) == 2:
        notes.append(Note(kind="devices_two_vary", severity="trust", values={
            "first": devices[0].name, "second": devices[1].name}))
    elif count < LEAST_SESSIONS:
        notes.append(Note(kind="devices_few_sessions", severity="trust", values={"sessions": count,
                                                                                "needed": LEAST_SESSIONS}))
    return tuple(notes)
