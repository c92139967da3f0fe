"""Headers of power in eight languages: a plain reading is taken, everything else is named for what it is."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from agree import InputError, read_recording
from agree.files.naming.headers import heading
from tests.each import each
from tests.said import said

WITH_COMMENT = (Path(__file__).parent.parent / "data/headers.csv").read_text(encoding="utf-8").splitlines()
HEADERS = [tuple(row.values()) for row in csv.DictReader(WITH_COMMENT[1:])]
CELLS = [f"{k},{200 + k % 7},{150 + k % 5}" for k in range(60)]


def test_the_list_is_of_eight_languages():
    assert {language for language, _, _ in HEADERS} == {"en", "de", "fr", "es", "it", "nl", "pt", "pl"}
    assert len(HEADERS) >= 300


@each(("language", "meaning", "header"), HEADERS)
def test_meaning_of_a_header(language, meaning, header):
    found = heading(header)
    assert found.named or meaning == "normalised" or meaning == "other"
    assert found.plain == (meaning == "plain")
    assert found.unknown == () or meaning != "plain"
    if meaning not in ("plain", "other"):
        assert meaning in {kind for kind, _ in found.derived}


@each(("language", "meaning", "header"), [row for row in HEADERS if row[1] != "plain"])
def test_never_taken_for_power(language, meaning, header):
    """Alone it is refused, with its meaning where it names power; beside a plain column the plain one is taken."""
    text = f'time,"{header}",cad\n' + "\n".join(CELLS) + "\n"
    with pytest.raises(InputError) as caught:
        read_recording(text.encode())
    assert caught.value.option == "power_column"
    plain = {"en": "Power", "de": "Gesamtleistung", "fr": "Puissance totale", "es": "Potencia", "it": "Potenza",
             "nl": "Vermogen", "pt": "Potência", "pl": "Moc całkowita"}[language]
    beside = f'time,"{header}","{plain}"\n' + "\n".join(CELLS) + "\n"
    assert read_recording(beside.encode()).power[:3].tolist() == [150, 151, 152]


@pytest.mark.parametrize(("first", "second"), [
    ("Leistung links [W]", "Gesamtleistung"), ("Soll-Leistung", "Istleistung"), ("power setpoint", "Trainer (W)"),
    ("puissance cible", "Puissance (W)"), ("3-second power", "power"), ("moc lewego pedału", "moc"),
    ("Leistungsvorgabe", "Leistung"), ("required power", "measured power"), ("Power [mW]", "Power [W]")])
def test_the_plain_column_of_two(first, second):
    for header, wanted in ((f"{first},{second}", 150), (f"{second},{first}", 200)):
        text = f"time,{header}\n" + "\n".join(CELLS) + "\n"
        assert read_recording(text.encode()).power[0] == wanted


@pytest.mark.parametrize("header", ["power,watts", "Power (pedals),Power (wheel)", "Leistung,Leistung 2",
                                    "Gesamtleistung,Istleistung"])
def test_two_candidates_are_refused(header):
    with pytest.raises(InputError, match=r"2 columns that may be the power: .*; name it with power_column") as caught:
        read_recording((f"time,{header}\n" + "\n".join(CELLS) + "\n").encode())
    assert (caught.value.option, caught.value.code) == ("power_column", "several_columns")


def notes_of(header, cells=CELLS):
    found = read_recording((f"time,{header},x\n" + "\n".join(cells) + "\n").encode())
    return found, [note for note in found.notes if note.severity != "detail"]


def test_an_unknown_word_is_said():
    found, notes = notes_of("Power (Gribbel)")
    assert [(note.kind, note.severity, note.values["words"]) for note in notes] == [
        ("read_header_word", "trust", "gribbel")]
    assert ("column 'Power (Gribbel)' is taken for power, though the word 'gribbel' in its name is not known: check "
            "that it is the measured power") in said(found)
    assert notes_of("Pedal Power (W)")[1] == []


def test_a_named_column_that_is_no_plain_reading_is_said():
    text = ("time,Soll-Leistung,Leistung\n" + "\n".join(CELLS) + "\n").encode()
    found = read_recording(text, power_column="Soll-Leistung")
    note = next(note for note in found.notes if note.kind == "read_header_derived")
    assert (note.severity, note.values["words"]) == ("answer", "target: soll")


def test_both_sides_without_a_total():
    with pytest.raises(InputError) as caught:
        read_recording(("time,power left,power right\n" + "\n".join(CELLS) + "\n").encode())
    assert str(caught.value) == (
        "bytes: found no plain column of power, but 'power left' (the left side: 'left'), 'power right' (the right "
        "side: 'right'); expected a column of measured power; add the two sides up in a column of their own, or name "
        "it with power_column if it is what is meant")


@pytest.mark.parametrize(("header", "word"), [("Watt L,Watt P", "p"), ("L [W],V [W]", "v"), ("power R,power Le", "le")])
def test_a_letter_beside_one_that_is_a_side_is_the_other_side(header, word):
    """Letters of sides differ between languages: "Watt P" alone is noted, beside "Watt L" it is no total."""
    with pytest.raises(InputError, match=rf"\(one side: '{word}'\); expected a column of measured power; add the two"):
        read_recording((f"time,{header}\n" + "\n".join(CELLS) + "\n").encode())
    with_total = f"time,{header},Watt\n" + "\n".join(f"{row},{row.split(',')[1]}" for row in CELLS) + "\n"
    assert read_recording(with_total.encode()).columns["power"] == "Watt"


@pytest.mark.parametrize("header", ["Watt P", "Watt L,Watt all", "power left,power wheel"])
def test_what_is_no_letter_beside_a_side_stays(header):
    columns = header.count(",") + 1
    rows = "".join(",".join(["0", "1", "2"][k:k + 1] + ["201", "202"][:columns]) + "\n" for k in range(3))
    found = read_recording((f"time,{header}\n" + rows).encode())
    assert found.columns["power"] == header.split(",")[-1]
    assert [note.kind for note in found.notes if note.severity == "trust"] == ["read_header_word"]


def test_energy_a_minute_is_named_as_energy():
    with pytest.raises(InputError, match=r"column 'power kcal/min' in kcal; expected power in W"):
        read_recording(("time,power kcal/min,x\n" + "\n".join(CELLS) + "\n").encode())


def test_the_same_readings_under_two_names():
    rows = "".join(f"{k},{200 + k},{200 + k}\n" for k in range(9))
    assert read_recording(f"time,power,watts\n{rows}".encode()).columns["power"] == "power"


def test_a_header_in_a_comment_is_said_and_no_other_is():
    rows = "0,200\n1,201\n2,202\n"
    for first, times in (("time,power_W\n", 0), ("# time,power_W\n", 1)):
        notes = read_recording((first + rows).encode()).notes
        assert [note.kind for note in notes].count("read_header_in_comment") == times
