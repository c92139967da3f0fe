"""What `look` says of a file, against files whose content is known."""

import json

import numpy as np
import pytest

from agree import InputError, look
from tests.said import said


def written(path, rows, header="time_s,power_W,cadence_rpm"):
    path.write_text(header + "\n" + "".join(",".join(map(str, row)) + "\n" for row in rows))
    return path


def channel(seen, name):
    return next(item for item in seen.channels if item.name == name)


def found(seen, start):
    return next(item for item in seen.oddities if item.what.startswith(start))


@pytest.fixture
def ride(rng):
    power = 200 + rng.integers(-20, 20, 300)
    power[power == power.max()] -= 1
    power[100] = 240
    return [[t, int(p), 90] for t, p in enumerate(power)]


def test_a_plain_recording(tmp_path, ride):
    seen = look(written(tmp_path / "plain.csv", ride))
    assert (seen.rows, seen.seconds, seen.step_s, seen.uneven, seen.repeated) == (300, 299.0, 1.0, 0.0, 0)
    assert (seen.clock, seen.gaps, seen.oddities, seen.problem) == ("elapsed", (), (), "")
    power = channel(seen, "power_W")
    values = [row[1] for row in ride]
    assert (power.role, power.unit, power.kind, power.readings, power.blank) == ("power", "W", "number", 300, 0)
    assert (power.low, power.middle, power.high) == (min(values), np.median(values), max(values))
    assert channel(seen, "cadence_rpm").role == "cadence"
    assert seen.size_bytes == (tmp_path / "plain.csv").stat().st_size


def test_gaps_blanks_and_repeated_stamps(tmp_path, ride):
    ride[50][1] = ""
    ride[51][1] = 65535
    rows = [*ride[:100], ride[99], *ride[130:200], *ride[204:]]
    seen = look(written(tmp_path / "gaps.csv", rows))
    assert [(gap.start_s, gap.seconds) for gap in seen.gaps] == [(99.0, 31.0), (199.0, 5.0)]
    assert seen.repeated == 1
    assert channel(seen, "power_W").blank == 2
    assert any("65535" in note for note in said(seen))


def test_uneven_sampling(tmp_path, ride):
    rows = [[t + 0.4 * (t % 2), p, c] for t, p, c in ride]
    seen = look(written(tmp_path / "uneven.csv", rows))
    assert seen.uneven == 1.0 or seen.uneven == pytest.approx(0.5, abs=0.01)
    assert not seen.gaps


def test_values_to_distrust(tmp_path, ride):
    ride[20][1] = -3
    ride[30][1] = 2600
    for t in range(60, 72):
        ride[t][1] = 205
    for t in range(120, 125):
        ride[t][1] = 0
    for t in range(200, 204):
        ride[t][2] = 0
    ride[250][2] = 240
    seen = look(written(tmp_path / "odd.csv", ride))
    assert {odd.what: (odd.readings, odd.events, odd.first_s) for odd in seen.oddities} == {
        "power below 0": (1, 1, 20.0),
        "power above 2,500 W": (1, 1, 30.0),
        "power far above its neighbours": (1, 1, 30.0),
        "the same power, not 0, 10 times or more in a row": (12, 1, 60.0),
        "0 W at 30 rpm or more": (5, 1, 120.0),
        "over 20 W at 0 rpm": (4, 1, 200.0),
        "cadence above 200 rpm": (1, 1, 250.0),
    }


def test_a_ceiling(tmp_path, ride):
    for t in (40, 41, 42, 43, 170, 171, 172):
        ride[t][1] = 600
    odd = found(look(written(tmp_path / "ceiling.csv", ride)), "the highest power, 600 W")
    assert (odd.readings, odd.events, odd.first_s) == (7, 2, 40.0)


def test_a_table_that_is_no_recording_is_described_all_the_same(tmp_path, ride):
    rows = [[t, p, p + 1, "x"] for t, p, _ in ride]
    seen = look(written(tmp_path / "two.csv", rows, "time_s,power_A_W,power_B_W,remark"))
    assert "2 columns that may be the power" in seen.problem
    assert [item.kind for item in seen.channels] == ["number", "number", "number", "text"]
    assert channel(seen, "power_B_W").readings == 300
    named = look(tmp_path / "two.csv", options={"power_column": "power_B_W"})
    assert named.problem == ""
    assert channel(named, "power_B_W").role == "power"


def test_nothing_is_written_and_nothing_that_cannot_be_read_is_guessed(tmp_path, ride):
    written(tmp_path / "plain.csv", ride)
    before = (tmp_path / "plain.csv").read_bytes()
    look(tmp_path / "plain.csv")
    assert [path.name for path in tmp_path.iterdir()] == ["plain.csv"]
    assert (tmp_path / "plain.csv").read_bytes() == before
    (tmp_path / "empty.csv").write_text("")
    with pytest.raises(InputError, match="empty file"):
        look(tmp_path / "empty.csv")


def test_text_and_json(tmp_path, ride):
    for t in range(120, 125):
        ride[t][1] = 0
    seen = look(written(tmp_path / "plain.csv", [*ride[:200], *ride[230:]]))
    text = seen.summary()
    assert max(map(len, text.splitlines())) <= 79
    assert "0 W at 30 rpm or more: 5 readings, once, at 0:02:00" in text
    assert "1, 31 s in all; 31 s at 0:03:19" in text
    assert json.loads(json.dumps(seen.to_dict()))["channels"][1]["role"] == "power"
