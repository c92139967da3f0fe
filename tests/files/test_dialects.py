"""What can be written is read back exactly, in any dialect, and from any cut file. All samples are invented here."""

from __future__ import annotations

import gzip
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from agree import InputError, read_recording
from tests.genuine import genuine
from tests.said import said

EPOCH = 1_717_171_323.0  # 2024-05-31T16:02:03Z
BERLIN = ZoneInfo("Europe/Berlin")
HEADERS = {"en": ("time", "power (W)", "cadence", "speed [m/s]"), "de": ("Zeit", "Leistung [W]", "Kadenz", "v"),
           "fr": ("temps", "Puissance (W)", "cadence", "vitesse m/s"), "es": ("hora", "potencia", "cadencia", "x"),
           "it": ("timestamp", "Potenza W", "cadenza", "y"), "nl": ("tijd", "vermogen", "cadans", "snelheid (m/s)")}
CLOCKS = {"h:mm:ss": "elapsed", "seconds": "elapsed", "epoch": "utc", "ms": "utc", "Z": "utc", "+02:00": "utc",
          "bracket": "utc", "CEST": "utc", "AM CET": "utc", "named": "utc", "told": "utc", "naive": "local",
          "points": "local", "month first": "local", "year/": "local"}


def stamp(seconds: float, form: str, sign: str) -> str:
    """Write seconds after the first stamp in one of the forms that can be read."""
    utc = datetime.fromtimestamp(EPOCH + seconds, UTC)
    there = utc.astimezone(BERLIN)
    plain = f"{there:%Y-%m-%d %H:%M:%S}.{there.microsecond // 10_000:02}"
    if form in ("seconds", "epoch"):
        return f"{seconds + EPOCH * (form == 'epoch'):.2f}".replace(".", sign)
    return {
        "h:mm:ss": f"{int(seconds) // 3600}:{int(seconds) // 60 % 60:02}:{seconds % 60:05.2f}".replace(".", sign),
        "ms": f"{round(1000 * (EPOCH + seconds))}", "Z": utc.isoformat().replace("+00:00", "Z"),
        "+02:00": there.isoformat(" "), "bracket": there.isoformat() + "[Europe/Berlin]", "CEST": plain + " CEST",
        "AM CET": f"{utc.astimezone(timezone(timedelta(hours=1))):%d/%m/%Y %I:%M:%S.%f %p CET}",
        "named": plain + " Europe/Berlin", "told": plain, "naive": utc.replace(tzinfo=None).isoformat(),
        "points": f"{utc:%d.%m.%Y %H:%M:%S.%f}", "month first": f"{utc:%m/%d/%y %I:%M:%S.%f %p}",
        "year/": f"{utc:%Y/%m/%d %H:%M:%S.%f}"}[form]


def number(value: float, decimals: int, sign: str, mark: str) -> str:
    """Write a number with a decimal sign and a mark between thousands."""
    return f"{value:,.{decimals}f}".replace(",", "_").replace(".", sign).replace("_", mark)


DIALECTS = st.fixed_dictionaries({
    "delimiter": st.sampled_from(",;\t| "), "sign": st.sampled_from(".,"), "language": st.sampled_from(sorted(HEADERS)),
    "mark": st.sampled_from(["", "", ".", ",", "'", "’", " ", "\u00a0", "\u2009", "\u202f"]),
    "encoding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1", "cp1252"]),
    "end": st.sampled_from(["\n", "\r\n", "\r"]), "form": st.sampled_from(sorted(CLOCKS)), "units": st.booleans(),
    "above": st.sampled_from([[], ["Device: X 1"], ["Device;X", "Serial;17", ""], ["exported, by hand", ""]]),
    "comments": st.booleans(), "again": st.booleans(), "blank_lines": st.booleans(), "quoted": st.booleans(),
    "blank": st.sampled_from(["", "--", "-", "NaN", "n/a", "null", "65535"]), "packed": st.booleans(),
    "summary": st.sampled_from(["", "Total", "Durchschnitt:", "Avg."]), "told": st.booleans()})
VALUES = st.lists(st.none() | st.integers(-5_000, 190_000), min_size=13, max_size=13)  # tenths


@settings(max_examples=400)
@given(st.lists(st.integers(1, 9000), min_size=3, max_size=12), VALUES, VALUES, DIALECTS, st.randoms())
def test_what_is_written_is_read_back(one_folder, steps, watts, speeds, d, chance):
    seconds = np.cumsum([0, *steps]) / 100
    watts = [2001, 0, 12_345, *watts][: seconds.size]  # tenths
    cadence = [chance.choice([None, 0, 80, 95]) for _ in seconds]
    assume(d["mark"] != d["sign"])
    assume(genuine([w if w is None else w / 10 for w in watts]))
    # Ten rows that go beyond 100 s and never end in 60 to 99 may be HHMMSS as well: see recordings/test_times.py.
    assume(d["form"] != "seconds" or seconds.size < 10 or seconds[-1] < 100 or (seconds % 100 >= 60).any())
    blank = "-" if d["delimiter"] == " " and not d["blank"] else d["blank"]
    header = HEADERS[d["language"]]

    def line(*cells: str) -> str:
        return d["delimiter"].join(
            f'"{cell}"' if (d["quoted"] and cell) or d["delimiter"] in cell or " " in cell == d["delimiter"] else cell
            for cell in cells)

    top = [line(*header)] + [line("s", "W", "rpm", "m/s")] * d["units"]
    body = [line(stamp(s, d["form"], d["sign"]), blank if w is None else number(w / 10, 1, d["sign"], d["mark"]),
                 blank if c is None else str(c), number((v or 0) / 8000, 4, d["sign"], d["mark"]))
            for s, w, c, v in zip(seconds, watts, cadence, speeds, strict=False)]
    if d["comments"]:
        body.insert(2, "# a pause")
        body.insert(1, "  // lap")
    if d["again"]:
        body[-1:-1] = top
    if d["summary"]:
        body.append(line(d["summary"], "1", "2", "3"))
    above = [row.replace(";", d["delimiter"]) if d["delimiter"] in ";\t" else row for row in d["above"]]
    text = (d["end"] * (1 + d["blank_lines"])).join(["# made up", *above, *top, *body]) + d["end"]
    try:
        data = text.encode(d["encoding"])
    except UnicodeEncodeError:
        assume(False)
    file = one_folder / "ride.csv"
    file.write_bytes(gzip.compress(data) if d["packed"] else data)
    told = {"zone": "Europe/Berlin"} if d["form"] == "told" else {}
    told |= {"delimiter": d["delimiter"], "decimal": d["sign"], "power_column": header[1]} if d["told"] else {}
    found = read_recording(file, **told)

    np.testing.assert_array_equal(found.power, [np.nan if w is None else float(f"{w / 10:.1f}") for w in watts])
    if found.cadence is not None or "cad" in header[2].lower():
        np.testing.assert_array_equal(found.cadence, [np.nan if c is None else c for c in cadence])
    if "m/s" in header[3]:
        np.testing.assert_array_equal(
            found.speed, [float(f"{(v or 0) / 8000:.4f}") for _, v in zip(seconds, speeds, strict=False)])
    np.testing.assert_allclose(found.time - (0 if CLOCKS[d["form"]] == "elapsed" else EPOCH), seconds, atol=1e-6)
    assert found.clock == CLOCKS[d["form"]]


def write(folder, text: str, name: str = "ride.csv"):
    (folder / name).write_bytes(text.encode())
    return folder / name


def rows(*cells: str, header: str = "time,power") -> str:
    return "\n".join([header, *cells]) + "\n"


SAMPLES = {
    "plain": rows(*[f"2024-05-31T17:{k // 60:02}:{k % 60:02}Z,{80 + k % 17},{190 + 7 * k % 23}" for k in range(44, 74)],
                  header="time,cadence,power").encode(),
    "stamps last": rows(*[f"{190 + 7 * k % 23},31.05.2024 17:{k // 60:02}:{k % 60:02}" for k in range(48, 74)],
                        header="power,time").encode(),
    "decimal comma": "\r\n".join(["Zeit;Trittfrequenz für Füße;Leistung", *[
        f"{k},5;{80 + k % 17};{190 + 7 * k % 23},{k % 10}5" for k in range(38)]]).encode("utf-8-sig"),
    "quoted": rows(*[f'"{k}","{190 + 7 * k % 23}"' for k in range(90, 145)], header='"time","power"').encode(),
    "wide": rows(*[f"{k}\t{190 + 7 * k % 23}" for k in range(40)], header="time\tpower").encode("utf-16"),
    "single": rows(*[str(190 + 7 * k % 23) for k in range(140)], header="power").encode(),
    "packed": gzip.compress(rows(*[f"{w:.9f}" for w in np.random.default_rng(3).random(200)], header="power").encode()),
}


@pytest.mark.parametrize("name", SAMPLES)
def test_a_cut_file_is_a_shorter_recording_or_an_error(tmp_path, name):
    data = SAMPLES[name]
    file = tmp_path / "cut.csv"
    file.write_bytes(data)
    whole = read_recording(file)
    read = 0
    for size in range(min(len(data) - 1, 4096)):
        file.write_bytes(data[:size])
        try:
            found = read_recording(file)
        except InputError:  # and nothing else
            continue
        read += 1
        count = found.power.size
        same = found.power == whole.power[:count]
        assert same[:-1].all()
        assert (found.time[:-1] == whole.time[: count - 1]).all()
        if not same[-1] or found.time[-1] != whole.time[count - 1]:  # a cut number that may be whole is told
            assert any(" taken as whole, though the file ends without a line end" in note for note in said(found))
    assert read == 0 if name == "packed" else read > 200
    assert len(data) > 500


@pytest.mark.parametrize(("end", "kept", "note"), [
    ("3,203", 4, "row 5: taken as whole, though the file ends without a line end"),
    ("3,2", 4, "row 5: taken as whole, though the file ends without a line end"),
    ("3,", 4, "row 5: taken as whole, though the file ends without a line end"),
    ("3", 3, "row 5: left out, as the file ends within it"),
    ('3,"20', 3, "row 5: left out, as the file ends within it"),
    ("3,203\n# done", 4, None), ("3,203\n", 4, None), ("3,203\n\n  ", 4, None),
])
def test_last_line_without_an_end(tmp_path, end, kept, note):
    found = read_recording(write(tmp_path, rows("0,200", "1,201", "2,202") + end))
    assert found.power.size == kept
    assert [text for text in said(found) if "the file ends" in text] == ([note] if note else [])


@pytest.mark.parametrize(("cells", "last", "kept"), [
    (["0,200.5", "1,20.5", "2,7.5"], "3,20.", False), (["0,200.5", "1,20.5", "2,7.5"], "3,20", False),
    (["0,200.5", "1,20.5", "2,7.5"], "3,-9.5", True), (["0,200.5", "1,20.25", "2,7"], "3,20", True),
    (["0,200", "1,99", "2,7"], "3,1", True),
])
def test_a_last_cell_of_another_form_is_left_out(tmp_path, cells, last, kept):
    assert read_recording(write(tmp_path, rows(*cells) + last)).power.size == 3 + kept


@pytest.mark.parametrize(("text", "power", "notes"), [
    ("Device: X 1\nSerial,17\n\ntime,power\n0,200\n1,201\n2,202\n", [200, 201, 202],
     ["2 lines above the header left out"]),
    ("Device,Power pedals\nSerial,17\n\ntime,power\n0,200\n1,201\n2,202\n", [200, 201, 202],
     ["2 lines above the header left out"]),
    ("Device X\npower\n200\n201\n202\n", [200, 201, 202], ["1 line above the header left out"]),
    ("time power cad\n0 200 80\n1   201 81\n 2 202 82 \n", [200, 201, 202], ["delimiter: spaces"]),
    ("elapsed time   power (W)  cad\n0    200   80\n1   201  81\n2  202   82\n", [200, 201, 202],
     ["delimiter: two or more spaces"]),
    ("# time power\n0 200\n1 201\n2 202\n", [200, 201, 202], ["header: taken from the comment above the rows"]),
    ("time;power\n0;1.050\n1;950\n2;900\n", [1050, 950, 900], ["column 'power': points group thousands"]),
    ("time;power\n0;1.050\n1;950\n2;900.5\n", [1.05, 950, 900.5], []),
    ("time;power\n0;1,125\n1;950\n2;1500\n", [1.125, 950, 1500], ["column 'power': decimal comma"]),
    ("time;power\n0;200,125\n1;201\n2;202\n", [200.125, 201, 202], ["column 'power': decimal comma"]),
    ("time;power\n0;1 050\n1;950\n2;−5\n", [1050, 950, -5], ["column 'power': apostrophes or spaces group thousands"]),
    ("time,power\n0,200\n# lap 1\n1,201\ntime,power\n2,202\nMean,201\n", [200, 201, 202],
     ["header repeated in 1 row, left out", "row 7: a summary, 'Mean', left out", "1 comment line left out"]),
    ("time,power\ns,W\n0,200\n\ntime,power\ns,W\n1,201\n2,202\n", [200, 201, 202],
     ["header repeated in 1 row, left out", "row 2: units"]),
    ("czas;moc\n0;200\n1;201\n2;202\nŚrednia;201\nRazem;603\n", [200, 201, 202],
     ["row 5: a summary, 'Średnia', left out"]),
    ("tempo;potência\n0;200\n1;201\n2;202\nMédia;201\nSD;1\n", [200, 201, 202], ["row 6: a summary, 'SD', left out"]),
    ("power\n#N/A\n200\n201\n202\n", [np.nan, 200, 201, 202], []),
])
def test_tables_with_more_than_readings(tmp_path, text, power, notes):
    found = read_recording(write(tmp_path, text))
    np.testing.assert_array_equal(found.power, power)
    assert [note for note in notes if note not in said(found)] == []


@pytest.mark.parametrize(("text", "message"), [
    ("time power cad\n0 200 80\n1 201\n2 202 82\n", ", row 3: found 2 cells; expected 3, as in the first row; put - "
     "where there is no reading, or separate cells by semicolons"),
    ("time power (W) raw\n5 200\n6 201\n7 202\n", ", row 2: found 2 cells; expected 3, as in the first row; "),
    ("time,power\n0,200\n1,201\n2,202\ntime,watts\n3,203\n", ", row 5: found 'watts' in column 'power'; expected a "),
    ("0,200\n1,201\ntime,power\n2,202\n", ", row 1: found 2 columns without names, the first not increasing; "),
    ("time,power\n0,200\n1,201\nEnd of file,7\n", ", row 4: found 'End of file' in column 'time'; expected a number"),
    ("a,b\n" + "7,8\n" * 7, ": found the columns 'a', 'b'; expected one called power or watts; name it with "),
])
def test_tables_that_are_refused(tmp_path, text, message):
    with pytest.raises(InputError) as caught:
        read_recording(write(tmp_path, text))
    assert str(caught.value).startswith("ride.csv" + message)
