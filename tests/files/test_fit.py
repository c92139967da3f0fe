"""FIT files: what was written is read, whatever the form; what is damaged is refused. All samples are invented."""

from __future__ import annotations

import gzip

import numpy as np
import pytest
from fit_writer import ACTIVITY, EPOCH, EVENT, FIELDS, RECORD, SESSION, START, WATTS, FitWriter, refused, ride
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from agree import InputError, read_recording
from agree.files.formats.fit import fit_table
from tests.genuine import genuine
from tests.said import recorded, said


def table(data):
    """Header and columns as a dict of lists, and the notes."""
    found = fit_table(data, "ride.fit")
    assert list(found.rows) == list(range(1, len(found.rows) + 1))
    return dict(zip(found.header, map(list, found.columns), strict=True)), list(said(found))


def values(cells):
    """Numbers of a column of text, None where blank."""
    return [float(c) if c else None for c in cells]


raw = {"power": st.integers(0, 65_534), "cadence": st.integers(0, 254), "fractional_cadence": st.integers(0, 127),
       "speed": st.integers(0, 65_534), "enhanced_speed": st.integers(0, 2**32 - 2),
       "temperature": st.integers(-128, 126), "left_right_balance": st.integers(0, 100), "heart_rate": st.just(120)}


@settings(max_examples=120, deadline=None)
@given(data=st.data(), big=st.booleans(), header=st.sampled_from([12, 14]), short=st.booleans(),
       used=st.sets(st.sampled_from(sorted(raw))), flag=st.booleans(),
       developer=st.sampled_from([None, "uint16", "sint32", "float32", "float64"]),
       native=st.sampled_from([None, 7, 4]),
       steps=st.lists(st.integers(0, 31) | st.integers(32, 100_000), min_size=1, max_size=20))
def test_what_is_written_is_read(data, big, header, short, used, flag, developer, native, steps):
    """Any channels, gaps, blanks, byte order, short stamps and developer power: each cell as written."""
    writer = FitWriter(big=big, header=header)
    used = {"power", *used}
    kinds = {"uint16": st.integers(0, 65_534), "sint32": st.integers(-2**31, 2**31 - 2),
             "float32": st.floats(-2000, 20_000, width=32), "float64": st.floats(-2000, 20_000)}
    if developer:
        writer.describe(3, 9, developer, "Extra", native=native, units="W")
    stamp, rows = START, []
    for i, step in enumerate([0, *steps]):
        stamp += step
        row = {name: data.draw(st.none() | raw[name]) if i else 50 for name in sorted(used)}
        extra = data.draw(st.none() | kinds[developer]) if developer else None
        rows.append((stamp, row, extra))
        written = {name: value | 0x80 * flag if name == "left_right_balance" and value is not None else value
                   for name, value in row.items()}
        fields = [(3, 9, developer, extra)] if developer else []
        if short and i and step < 32:
            writer.record(developer=fields, offset=stamp & 31, **written)
        else:
            writer.record(developer=fields, timestamp=stamp, **written)
    found, _ = table(writer.done())

    assert found["timestamp"] == [str(EPOCH + stamp) for stamp, *_ in rows]
    assert values(found["power"]) == [row["power"] for _, row, _ in rows]
    if "cadence" in used:
        fractions = [(row.get("fractional_cadence") or 0) / 128 for _, row, _ in rows]
        assert values(found["cadence"]) == [None if row["cadence"] is None else row["cadence"] + f
                                            for (_, row, _), f in zip(rows, fractions, strict=True)]
    if used & {"speed", "enhanced_speed"}:
        speeds = [row.get("enhanced_speed") for _, row, _ in rows]
        speeds = [row.get("speed") if s is None else s for s, (_, row, _) in zip(speeds, rows, strict=True)]
        assert values(found["speed [m/s]"]) == [None if s is None else s / 1000 for s in speeds]
    if "temperature" in used:
        assert values(found["temperature"]) == [row["temperature"] for _, row, _ in rows]
    if "left_right_balance" in used and flag:
        assert values(found["left_right_balance"]) == [row["left_right_balance"] for _, row, _ in rows]
    assert ("left_right_balance" in found) == ("left_right_balance" in used and flag)
    if developer and any(extra is not None for *_, extra in rows):
        role = {None: "", 7: ", stands for power", 4: ", stands for cadence"}[native]
        assert values(found[f"Extra (developer 3{role}) [W]"]) == [extra for *_, extra in rows]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 1000), st.none() | st.integers(0, 20_000), st.integers(0, 254),
                          st.none() | st.integers(0, 65_534), st.none() | st.integers(-128, 126),
                          st.none() | st.integers(0, 100)), min_size=1, max_size=15), st.booleans(), st.booleans())
def test_recording_holds_what_was_written(one_folder, rows, big, packed):
    assume(genuine([row[1] for row in rows]))
    rows = [(1, 150, 90, 8000, 20, 50)] * 3 + rows
    stamps = START + np.cumsum([row[0] for row in rows])
    writer = FitWriter(big=big)
    for stamp, (_, watts, rpm, speed, warmth, right) in zip(stamps.tolist(), rows, strict=True):
        writer.record(timestamp=stamp, power=watts, cadence=rpm, speed=speed, temperature=warmth,
                      left_right_balance=None if right is None else 0x80 | right)
    file = one_folder / "ride.fit"
    file.write_bytes(gzip.compress(writer.done()) if packed else writer.done())
    found = read_recording(file)
    np.testing.assert_array_equal(found.time, EPOCH + stamps)
    for k, (name, scale) in enumerate([("power", 1), ("cadence", 1), ("speed", 1000), ("temperature", 1),
                                       ("balance", 1)], 1):
        expected = np.array([row[k] for row in rows], float) / scale
        np.testing.assert_array_equal(getattr(found, name), expected, err_msg=name)


def test_through_the_checks():
    found = recorded(fit_table(ride().done(), "ride.fit"))
    np.testing.assert_array_equal(found.power, [200, 0, np.nan, 1234, 210])
    np.testing.assert_array_equal(found.time, EPOCH + START + np.arange(5.0))
    assert found.clock == "utc"
    assert found.start == "2024-05-31T16:02:03Z"


def test_marker_is_never_a_watt():
    writer = ride()
    writer.record(timestamp=START + 5, power=65_535, cadence=255)
    found, _ = table(writer.done())
    assert found["power"][-1] == found["cadence"][-1] == ""


def test_balance():
    """Right flag with 50 %; no flag, so the side is unknown; above 100 %; and hundredths in two bytes."""
    writer = FitWriter()
    for i, b in enumerate([0x80 | 50, 50, 0x80 | 101, None]):
        writer.record(timestamp=START + i, power=200, left_right_balance=b)
    found, notes = table(writer.done())
    assert found["left_right_balance"] == ["50.0", "", "", ""]
    assert notes == ["1 x left_right_balance that does not tell the side, left blank",
                     "1 x left_right_balance above 100 %, left blank"]
    writer = FitWriter()
    for i, b in enumerate([37_797, 5029, 0x8000 | 10_001, None]):  # the first is 50.29 % right
        writer.message(RECORD, [(253, "uint32", START + i), (7, "uint16", 200), (30, "uint16", b)])
    found, notes = table(writer.done())
    assert found["left_right_balance"] == ["50.29", "", "", ""]
    assert len(notes) == 2


def test_native_and_developer_power():
    writer = FitWriter().describe(0, 1, "uint16", "Power", native=7, units="watts").describe(1, 1, "uint16", "Power")
    for i in range(4):
        writer.record(timestamp=START + i, power=200 + i,
                      developer=[(0, 1, "uint16", 300 + i), (1, 1, "uint16", 400 + i if i else None)])
    data = writer.done()
    found, notes = table(data)
    assert notes == ["further powers, which power_column takes: 'Power (developer 0) [watts]', 'Power (developer 1)'"]
    assert found["power"] == ["200", "201", "202", "203"]
    assert found["Power (developer 0) [watts]"] == ["300", "301", "302", "303"]
    assert found["Power (developer 1)"] == ["", "401", "402", "403"]
    assert recorded(fit_table(data, "a")).columns["power"] == "power"
    assert recorded(fit_table(data, "a"), "Power (developer 1)").power[1] == 401


def test_developer_power_alone():
    """A native power that is always blank gives way to the only developer power; two of them must be named."""
    def write(*names):
        writer = FitWriter()
        for k, name in enumerate(names):
            writer.describe(0, k, "uint16", name, native=7)
        for i in range(4):
            writer.record(timestamp=START + i, power=None,
                          developer=[(0, k, "uint16", 300 + 100 * k + i) for k in range(len(names))])
        return fit_table(writer.done(), "ride.fit")

    found = recorded(write("Crank meter"))
    assert found.power.tolist() == [300, 301, 302, 303]
    assert found.columns["power"] == "Crank meter (developer 0, stands for power)"
    assert "the native field 'power' is always blank" in said(found)
    with pytest.raises(InputError, match="2 columns that may be the power"):
        recorded(write("Meter", "Other meter"))


def test_same_developer_name_twice():
    writer = FitWriter().describe(0, 1, "uint16", "P").describe(0, 2, "uint16", "P")
    writer.record(timestamp=START, power=1, developer=[(0, 1, "uint16", 5), (0, 2, "uint16", 6)])
    found, _ = table(writer.done())
    assert found["P (developer 0)"] == ["5"]
    assert found["P (developer 0) field 2"] == ["6"]


def test_developer_field_never_described():
    writer = FitWriter()
    writer.record(timestamp=START, power=7, developer=[(0, 1, "uint16", 5)])
    found, notes = table(writer.done())
    assert found == {"timestamp": [str(EPOCH + START)], "power": ["7"]}
    assert notes == ["1 x developer field 1 without a description, left blank"]


def test_elapsed_and_mixed_clocks():
    writer = FitWriter()
    for i in range(3):
        writer.record(timestamp=500 + 2 * i, power=100)
    found = recorded(fit_table(writer.done(), "a"))
    assert found.clock == "elapsed"
    assert found.time.tolist() == [500, 502, 504]
    writer.record(timestamp=START, power=100)
    refused(writer.done(), "record 4: found a stamp with a date after others counted from power-on", "one clock")
    refused(FitWriter().record(timestamp=START, power=1).record(timestamp=9, power=1).done(),
            "record 2: found a stamp counted from power-on after dates")
    refused(FitWriter().record(timestamp=0x0FFF_FFFF, power=1).done(), "268435455 s after power-on")


def test_records_without_stamps():
    writer = FitWriter()
    for watts in (1, 2, 3):
        writer.record(power=watts)
    assert recorded(fit_table(writer.done(), "a")).clock == "rows"
    refused_by_checks = FitWriter().record(timestamp=START, power=1).record(power=5).done()
    with pytest.raises(InputError, match="record 2: found a reading without a stamp"):
        recorded(fit_table(refused_by_checks, "a"))


def test_pauses_sessions_and_local_time():
    writer = FitWriter()

    def timer(kind, at):
        writer.message(EVENT, [(253, "uint32", START + at), (0, "enum", 0), (1, "enum", kind)], local=3)

    timer(0, 0)
    writer.record(timestamp=START, power=100)
    for stop, start in ((10, 70), (100, 101)):
        timer(1 if stop == 10 else 4, stop)
        writer.message(EVENT, [(253, "uint32", START + stop), (0, "enum", 3), (1, "enum", 0)], local=3)  # no timer
        timer(0, start)
        writer.record(timestamp=START + start, power=100)
    timer(4, 200)  # the end is no pause
    for _ in range(2):
        writer.message(SESSION, [(253, "uint32", START + 200)], local=4)
    writer.message(ACTIVITY, [(253, "uint32", START + 200), (5, "uint32", START + 200 - 12_600)], local=5)
    assert table(writer.done())[1] == ["2 sessions in the file", "2 pauses of the timer, 61 s in all",
                                       "local time of the recorder: UTC-03:30"]


def test_chained():
    first, second = ride().done(), FitWriter(big=True).record(timestamp=START + 9, power=5).done()
    found, notes = table(first + second)
    assert values(found["power"]) == [*WATTS, 5]
    assert found["cadence"][-1] == ""
    assert notes == ["2 FIT files chained in one"]
    with pytest.raises(InputError, match="time not to go back"):
        recorded(fit_table(second + first, "a"))


def test_fields_of_the_writer_are_those_of_the_profile():
    """The writer's numbers, from memory, against the tables of the library."""
    from fitdecode import profile
    known = profile.MESSAGE_TYPES[RECORD].fields
    assert {name: known[number].name for name, (number, _) in FIELDS.items()} == {name: name for name in FIELDS}
    assert [profile.MESSAGE_TYPES[n].name for n in (EVENT, SESSION, ACTIVITY)] == ["event", "session", "activity"]
