"""From the decoded messages of a FIT file to a table of text cells with a row for each record.

Numbers of messages and fields are those of the open FIT protocol (from memory, checked against the library).
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from agree.core.errors import InputError
from agree.core.results.note import Note
from agree.files.naming.headers import fitting, words
from agree.files.table import Table, shown

MAX_RECORDS = 7 * 86_400 * 2  # 7 days, 2 a second: stamps are whole seconds
MAX_DEVELOPER = 32
MAX_LAPS = 10_000
EPOCH_S = 631_065_600  # 1989-12-31T00:00:00Z in seconds since 1970
FIRST_DATE = 0x1000_0000  # below it, seconds since power-on
LAST_ELAPSED = 100_000_000  # 3 years; above it a plain number would be taken for a date
SESSION, LAP, RECORD, EVENT, ACTIVITY = 18, 19, 20, 21, 34  # messages
START_TIME = 2  # of a lap or session
TIMESTAMP = 253
TIMER_STOPS = frozenset({1, 4, 8, 9})  # stop, stop all, stop and disable, stop and disable all
CHANNELS = {"power": "power", "cadence": "cadence", "enhanced_speed": "speed [m/s]", "speed": "speed [m/s]",
            "temperature": "temperature", "left_right_balance": "left_right_balance", "heart_rate": "heart rate",
            "core_temperature": "core temperature"}
# Native fields that a developer field may stand for.
OVERRIDES = {3: "heart rate", 4: "cadence", 6: "speed", 7: "power", 13: "temperature", 139: "core temperature"}


class Records:
    """What the messages held so far: a list of cells for each channel, padded where later records lack it."""

    def __init__(self, source: str) -> None:
        self.source = source
        self.notes: list[Note] = []
        self.count = 0  # records
        self.last = 0  # stamp of the last message, from which compressed stamps count on
        self.stamps: list[int | None] = []
        self.columns: dict[str, list[str]] = {}
        self.developer: dict[str, Any] = {}  # descriptions
        self.fields: set[str] = set()
        self.dropped: dict[str, int] = {}  # kind of value that was left blank -> how often
        self.timer: list[tuple[bool, int]] = []  # (stopped, stamp)
        self.sessions = 0
        self.laps: list[int] = []
        self.zone: int | None = None
        self.texts: dict[float, str] = {}  # each number is written once

    def take(self, message: Any) -> None:
        """Take in a data message."""
        kind, stamp = message.global_mesg_num, None
        for field in message.fields:
            definition = field.field_def
            if (definition is not None and definition.def_num == TIMESTAMP and not definition.is_dev
                    and isinstance(field.raw_value, int)):
                self.last = stamp = field.raw_value
        if message.time_offset is not None:  # the low 5 bits of a stamp not before the last
            self.last = stamp = self.last + ((message.time_offset - self.last) & 31)
        if kind == RECORD:
            self._record(message, stamp)
        elif kind == SESSION:
            self.sessions += 1
        elif kind == LAP and len(self.laps) < MAX_LAPS:
            raw = {f.field_def.def_num: f.raw_value for f in message.fields if f.field_def and not f.field_def.is_dev}
            if isinstance(raw.get(START_TIME), int):
                self.laps.append(raw[START_TIME])
        elif kind in (EVENT, ACTIVITY) and stamp is not None:
            raw = {f.field_def.def_num: f.raw_value for f in message.fields if f.field_def and not f.field_def.is_dev}
            if kind == ACTIVITY and isinstance(raw.get(5), int):
                self.zone = raw[5] - stamp
            elif kind == EVENT and raw.get(0) == 0 and raw.get(1) in TIMER_STOPS | {0}:
                self.timer.append((raw[1] != 0, stamp))

    def _record(self, message: Any, stamp: int | None) -> None:
        if self.count >= MAX_RECORDS:
            raise InputError(f"{self.source}: found more than {MAX_RECORDS} records; expected at most 7 days of them; "
                             "cut the file")
        self.stamps.append(stamp)
        cells: dict[str, float] = {}
        for field in message.fields:
            key = self._key(field)
            if key is None or field.raw_value is None:
                continue
            value = self._right(field) if key == "left_right_balance" else field.value
            if isinstance(value, int | float):
                cells.setdefault(key, value)
            elif value is not None:
                self._drop(f"{self.developer[key].name if key in self.developer else key} that is no single number")
        fraction = cells.pop("fractional_cadence", 0)
        if "cadence" in cells:
            cells["cadence"] += fraction
        if "enhanced_speed" in cells:
            cells.pop("speed", None)
        for key, value in cells.items():
            column = self.columns.setdefault(CHANNELS.get(key, key), [])
            column.extend([""] * (self.count - len(column)))
            column.append(self.texts.setdefault(value, repr(value)))
        self.count += 1

    def _key(self, field: Any) -> str | None:
        """Return what tells the channel from others, and note that it is there; None if it is of no use."""
        described = field.field
        if field.field_def is None or not field.field_def.is_dev:
            if described is None:
                return None
            self.fields.add(described.name)
            return described.name if described.name in CHANNELS or described.name == "fractional_cadence" else None
        index, number, name = field.field_def.dev_data_index, field.field_def.def_num, described.name
        if not isinstance(name, str):  # never described
            self._drop(f"developer field {number} without a description")
            return None
        key = f"developer {index}, {number}, {name}"
        if key not in self.developer:
            if len(self.developer) >= MAX_DEVELOPER:
                raise InputError(f"{self.source}: found more than {MAX_DEVELOPER} developer fields; "
                                 "expected the record of one ride; export it again")
            self.developer[key] = described
            self.fields.add(f"{name} (developer {index})")
        return key

    def _drop(self, what: str) -> None:
        self.dropped[what] = self.dropped.get(what, 0) + 1

    def _right(self, field: Any) -> float | None:
        """Share of the right side in per cent: a flag for "right", then whole per cent or hundredths."""
        raw, size = field.raw_value, field.base_type.size
        if not isinstance(raw, int) or field.field_def.size != size or size > 2:
            self._drop("left_right_balance that is no single number")
            return None
        flag, mask, unit = (0x80, 0x7F, 1) if size == 1 else (0x8000, 0x3FFF, 100)
        share = (raw & mask) / unit
        if raw & flag and share <= 100:
            return share
        self._drop("left_right_balance " + ("above 100 %" if raw & flag else "that does not tell the side"))
        return None

    def table(self) -> Table:
        """Return the table of all records."""
        if not self.count:
            raise InputError(f"{self.source}: found a FIT file without records; expected the record of a ride; "
                             "choose the file of an activity")
        self.notes += [Note(kind="read_native_blank", values={"field": name}) for name in ("power", "heart_rate")
                       if name in self.fields and CHANNELS[name] not in self.columns]
        header, columns = self._stamp_column()
        table = Table(self.source, header, columns, range(1, self.count + 1), self.notes, word="record", decimal=".",
                      metric=True)
        named = [name for name in dict.fromkeys(CHANNELS.values()) if name in self.columns]
        for key in [*named, *(key for key in self.developer if key in self.columns)]:
            column = self.columns[key]
            column.extend([""] * (self.count - len(column)))
            columns.append(column)
            header.append(self._header(key, header) if key in self.developer else key)
        powers = fitting(header)
        if "power" in header and len(powers) > 1:
            more = ", ".join(shown(header[k]) for k in powers if header[k] != "power")
            self.notes.append(Note(kind="read_further_powers", severity="trust", values={"columns": more}))
        self._note()
        shift = EPOCH_S if header and header[0] == "timestamp" else 0
        return table._replace(laps=tuple(float(stamp + shift) for stamp in self.laps) or None,
                              fields=tuple(sorted(self.fields)))

    def _stamp_column(self) -> tuple[list[str], list[Any]]:
        known = [stamp for stamp in self.stamps if stamp is not None]
        if not known:
            return [], []
        dated = known[0] >= FIRST_DATE
        for i, stamp in enumerate(self.stamps):
            if stamp is not None and (stamp >= FIRST_DATE) != dated:
                raise InputError(f"{self.source}, record {i + 1}: found a stamp "
                                 f"{'counted from power-on after dates' if dated else 'with a date after others '}"
                                 f"{'' if dated else 'counted from power-on'}; expected one clock; cut the file there")
        if not dated and max(known) > LAST_ELAPSED:
            raise InputError(f"{self.source}: found a stamp {max(known)} s after power-on; expected less than 3 years; "
                             "set the clock of the recorder")
        shift = EPOCH_S if dated else 0
        return (["timestamp" if dated else "elapsed"],
                [["" if stamp is None else str(stamp + shift) for stamp in self.stamps]])

    def _header(self, key: str, taken: list[str]) -> str:
        described = self.developer[key]
        index, number, name = described.dev_data_index, described.def_num, described.name
        name = "".join(c if c.isprintable() else "?" for c in name).strip()[:60]
        native = OVERRIDES.get(described.native_field_num, "")
        role = f", stands for {native}" if native and native not in words(name) else ""
        units = described.units if isinstance(described.units, str) else ""
        units = "".join(c if c.isprintable() else "?" for c in units).strip()[:20]
        header = f"{name} (developer {index}{role})" + (f" [{units}]" if units else "")
        return header if header not in taken else f"{header} field {number}"

    def _note(self) -> None:
        """Tell what else the file says: left blank, developer power, sessions, pauses, the local clock."""
        self.notes += [Note(kind="read_left_blank", values={"times": times, "what": what})
                       for what, times in self.dropped.items()]
        if self.sessions > 1:
            self.notes.append(Note(kind="read_parts", values={"count": self.sessions, "what": "sessions"}))
        pauses = [b - a for (stopped, a), (still, b) in pairwise(self.timer) if stopped and not still and b > a]
        if pauses:
            self.notes.append(Note(kind="read_pauses", values={"pauses": len(pauses), "seconds": sum(pauses)}))
        if self.zone is not None and abs(self.zone) <= 14 * 3600 + 60:
            minutes = round(self.zone / 60)
            sign = "-" if minutes < 0 else "+"
            self.notes.append(Note(kind="read_recorder_zone", values={
                "zone": f"UTC{sign}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"}))
