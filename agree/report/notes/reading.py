"""Sentences of the notes of reading: how a file was understood, and what is doubtful in it."""

from __future__ import annotations

from collections.abc import Callable

from agree.core.results.note import Note


def _many(note: Note, key: str, word: str) -> str:
    count = note.values[key]
    return f"{count} {word}{'' if count == 1 else 's'}"


def _trials(note: Note) -> str:
    values = note.values
    columns = "".join(f" --{role} '{values[role]}'" for role in ("reference", "device") if role in values)
    return f"a table of trials: agree trials {values['name']} --by {values['by']}{columns} --claim '5 %'"


SENTENCES: dict[str, str | Callable[[Note], str]] = {
    "look_quantity": "no power, but {names}: agree check REFERENCE DEVICE --quantity '{first}' --claim '{claim}'",
    "look_trials": _trials,
    "read_column": "{quantity}: column {column!r}",
    "read_time": "time: column {column!r} ({form})",
    "read_time_rows": "time: no time column, each row taken as a second",
    "read_delimiter": "delimiter: {delimiter}",
    "read_encoding": "encoding: {encoding}",
    "read_lines_above": lambda note: f"{_many(note, 'lines', 'line')} above the header left out",
    "read_header_in_comment": "header: taken from the comment above the rows",
    "read_comments": lambda note: f"{_many(note, 'lines', 'comment line')} left out",
    "read_short_rows": lambda note: f"{_many(note, 'rows', 'short row')} filled with blanks",
    "read_header_again": lambda note: f"header repeated in {_many(note, 'rows', 'row')}, left out",
    "read_summary_row": "{word} {row}: a summary, {cell!r}, left out",
    "read_cut_row": "{word} {row}: left out, as the file ends within it",
    "read_last_row_whole": "{word} {row}: taken as whole, though the file ends without a line end",
    "read_grouped": "column {column!r}: apostrophes or spaces group thousands",
    "read_signs": "column {column!r}: {use}",
    "read_unit_row": "{word} {row}: units",
    "read_marker": lambda note: (
        ("" if note.values["channel"] == "power" else f"{note.values['channel']}: ")
        + f"{_many(note, 'rows', 'row')} with the missing marker {note.values['marker']} read as missing"),
    "read_converted": lambda note: (
        f"{note.values.get('channel') or 'column ' + repr(note.values['column'])}: {note.values['unit']} turned into "
        f"{note.values['to']}"),
    "read_header_word": ("column {column!r} is taken for {quantity}, though the word {words!r} in its name is not "
                         "known: check that it is the measured {quantity}"),
    "read_header_derived": ("column {column!r} was named, but it does not look like a plain reading of {quantity} "
                            "({words})"),
    "read_level": ("column {column!r}: a median of {median:g} {unit} is no {quantity} of a rider ({low:g} to {high:g} "
                   "{unit} is usual): check its unit, and that it is the right column"),
    "read_unit_assumed": "column {column!r}: no unit in its name, taken as {unit}",
    "read_speed_unit_unknown": "speed: unit not told, values left as they are; only their changes matter",
    "read_balance_left": "balance: share of the left side turned into that of the right",
    "read_balance_side": "balance: taken as the share of the right side",
    "read_channel_unused": "{channel}: not used; {why}",
    "read_channel_doubtful": "{channel}: not used, as several columns may be it: {columns}",
    "read_rows_blank": lambda note: f"{_many(note, 'rows', 'row')} with neither stamp nor reading left out",
    "read_without_reading": lambda note: f"{_many(note, 'rows', 'row')} without a {note.values['quantity']} reading",
    "read_clock_back": "time: the end of daylight saving at {at}: an hour added from there on",
    "read_clock_on": "time: the start of daylight saving at {at}: an hour taken out from there on",
    "read_hour_twice": "zone: the hour that comes twice: {how}",
    "read_zone_unused": "zone: not used, as {why}",
    "read_zone_told": "zone: {zone!r} in the stamps taken as local time of {told}",
    "read_fit_epoch": ("time: column {column!r} taken as seconds since 1989-12-31, as recorders count; as seconds "
                       "since 1970 it would be a date before 2010"),
    "read_checksum": "checksum {state}, though all can be decoded: a value may be damaged",
    "read_bytes_behind": "{bytes} bytes behind the end of the FIT file ignored",
    "read_chained": "{parts} FIT files chained in one",
    "read_native_blank": "the native field {field!r} is always blank",
    "read_further_powers": "further powers, which power_column takes: {columns}",
    "read_left_blank": "{times} x {what}, left blank",
    "read_parts": "{count} {what} in the file",
    "read_pauses": lambda note: f"{_many(note, 'pauses', 'pause')} of the timer, {note.values['seconds']} s in all",
    "read_recorder_zone": "local time of the recorder: {zone}",
    "read_twice": "{times} x an element twice in a point, the first one taken",
    "read_long_texts": "column {column!r} left out: texts of more than {bytes} bytes",
    "read_columns_left": "columns left out, neither numbers, stamps nor texts: {columns}",
}
