"""The pairs of a study as its tables and its units' answers need them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from agree.core.errors import InputError
from agree.study.statistics.cells import Cell, Reading, cell_of
from agree.study.tables import Line
from agree.study.told import average_of

ATHLETES = ("athlete", "rider", "subject", "participant")
CONDITIONS = ("condition", "terrain", "intensity")
DEVICES = ("model", "product")
BLANK = "(blank)"  # what an empty cell of a column of devices or conditions is called: it is a level like none
USUAL = {"device": DEVICES, "condition": CONDITIONS, "athlete": ATHLETES}


def column_of(what: str, name: str | None, factors: Iterable[str]) -> str:
    """Return the column of the list that tells devices, conditions or athletes apart; "" for none.

    Raises
    ------
    InputError
        A name that is no column.
    """
    known = list(factors)
    if name is None:
        return next((word for word in USUAL[what] if word in known), "unit" if what == "device" else "")
    if name and name not in known and name not in ("unit", "session"):
        raise InputError(f"`{what}` is {name!r}, which is no column of the list; expected one of "
                         f"{', '.join(['unit', 'session', *known])}", option=what)
    return name or ("unit" if what == "device" else "")


def readings_of(lines: Sequence[Line], records: Sequence[Mapping[str, Any]],
                chosen: Mapping[str, str]) -> list[Reading]:
    """Return the pairs that have a mean error, each once; `chosen` names the columns.

    Pairs whose cell for the athlete is empty count as of one athlete: they may be.
    """
    found = []
    for line, record in zip(lines, records, strict=True):
        if line.bias is None or line.repeats is not None:
            continue
        labels = {**line.factors, "unit": line.labels["unit"], "session": line.labels["session"]}
        told = average_of(record["result"])
        if told is None:
            continue
        seconds = record["result"].get("seconds") or {}
        found.append(Reading(
            device=labels.get(chosen["device"]) or BLANK,
            condition=(labels.get(chosen["condition"]) or BLANK) if chosen["condition"] else "",
            athlete=labels.get(chosen["athlete"], ""), effort=line.labels["reference"],
            quantity=line.labels.get("quantity", ""), specimen=line.labels["unit"],
            error=told.own.value, unit=told.unit, own=told.own, limit=told.limit, known=told.known,
            overlap_s=float(seconds.get("overlap", 0)), used_s=float(seconds.get("used", 0)), withheld=told.withheld))
    return found


def over_athletes(readings: Sequence[Reading], level: float, rule: str) -> Cell | None:
    """Summarise a unit's pairs over its athletes; None where its sessions are as good: each is of another athlete.

    Sessions of one athlete are alike: an interval that counts each of them by itself is too narrow.
    """
    athletes = {item.athlete for item in readings}
    if len(athletes) < 2 or len(athletes) == len(readings) or len({item.unit for item in readings}) > 1:
        return None
    return cell_of(readings, level, rule)
