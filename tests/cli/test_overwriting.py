"""What a command must not destroy: its inputs, recordings, tables, declarations, files of others."""

import json
import shutil

import pytest
from click.testing import CliRunner

from agree.cli import main
from agree.core.errors import InputError
from agree.files.replacing import not_to_be_lost
from agree.physics.static_plan import plan_static
from agree.physics.torque import HungMass
from agree.planning.plan import plan
from agree.report.pages import write_page
from agree.report.sheet import write_sheet
from agree.report.static_sheet import write_static_sheet
from tests.cli.test_check import BIKE, PEDALS
from tests.report.made import made

CHECK = ("check", str(BIKE), str(PEDALS), "--claim", "1.5%")
PLAN = ("plan", "--claim", "1.5%")
STATIC = ("static", "--crank-length", "172.5 mm", "--claim", "1.5%")
DECLARATION = json.dumps({"format": "agree declaration 1", "claim": "1 %"})
RECORDING = "time_s,power_W\n0,200\n1,201\n"


def run(*words):
    done = CliRunner().invoke(main.command, list(map(str, words)), standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.stdout


def kept(place, text, *words):
    """The message of a command that must leave what stands at a place alone."""
    with pytest.raises(InputError) as caught:
        run(*words)
    assert place.read_text(encoding="utf-8") == text
    assert str(place) in str(caught.value)
    return str(caught.value)


@pytest.fixture
def here(tmp_path):
    """Puts a text into a file of a name."""
    def put(name, text):
        (tmp_path / name).write_text(text, encoding="utf-8")
        return tmp_path / name
    return put


@pytest.mark.parametrize("words", [
    (*PLAN, "--declare"), (*PLAN, "--force", "--declare"), (*PLAN, "--json"), (*PLAN, "--sheet"), (*CHECK, "--json"),
    (*CHECK, "--page"), (*STATIC, "--sheet"), ("look", BIKE, "--json"), ("devices", BIKE, PEDALS, "--json"),
    ("climb", "--mass", "80", "--grade", "8%", "--speed", "4.5 m/s", "--json"),
])
def test_a_recording_is_never_written_over(here, words):
    place = here("ref.csv", RECORDING)
    assert "is a recording or a table, which is not written over: choose another name" in kept(
        place, RECORDING, *words, place)


@pytest.mark.parametrize("name", ["ride.FIT", "ride.tcx", "ride.gpx", "ride.parquet", "ride.csv.gz"])
def test_recordings_are_known_by_their_suffix_and_through_a_link(here, tmp_path, name):
    place = here(name, "anything")
    link = tmp_path / "plan.json"
    link.symlink_to(place)
    for target in (place, link):
        with pytest.raises(InputError, match="a recording or a table"):
            run(*PLAN, "--json", target)
    assert place.read_text(encoding="utf-8") == "anything"


def test_list_declaration_and_statement_are_inputs(here):
    rows = f"reference,device\n{BIKE},{PEDALS}\n"
    sessions = here("list.csv", rows)
    message = kept(sessions, rows, "check", "--sessions", sessions, "--claim", "1%", "--json", sessions)
    assert "is the list of sessions given in this command" in message
    declared = here("decl.json", DECLARATION)
    assert "is the declaration given in this command" in kept(
        declared, DECLARATION, *CHECK, "--declared", declared, "--json", declared)
    about = here("about.toml", "x = 1\n")
    assert "what is stated of the instruments" in kept(about, "x = 1\n", *CHECK, "--about", about, "--json", about)
    table = here("study.csv", f"unit,session,reference,device\na,1,{BIKE},{PEDALS}\n")
    assert "is the list given" in kept(table, table.read_text(), "study", "check", table, "--claim", "1%", "--out",
                                       table.parent / "out", "--table", table)


def test_a_declaration_is_replaced_by_force_alone(here, tmp_path):
    place = tmp_path / "looks.json"
    run(*PLAN, "--declare", place)
    first = place.read_text(encoding="utf-8")
    message = kept(place, first, "plan", "--claim", "3%", "--declare", place)
    assert message == (f"{place} exists already and is a declaration; what was declared is not replaced without a "
                       "word: choose another name, or say --force")
    assert "is a declaration" in kept(place, first, *PLAN, "--json", place)
    run("plan", "--claim", "3%", "--declare", place, "--force")
    assert json.loads(place.read_text(encoding="utf-8"))["claim"] == "±3 %"


@pytest.mark.parametrize(("name", "text", "what"), [
    ("m.txt", "mass_kg reading_Nm\n5 8.4\n", "a file that agree did not write"),
    ("m.html", "<html><body>my page</body></html>", "a file that agree did not write"),
])
def test_a_sheet_replaces_no_file_of_others(here, name, text, what):
    place = here(name, text)
    assert what in kept(place, text, *STATIC, "--sheet", place)
    assert what in kept(place, text, *PLAN, "--sheet", place)


@pytest.mark.parametrize("text", ['{"name": "my settings"}', "[1, 2]", "{broken", "notes"])
def test_json_replaces_no_file_of_others(here, text):
    place = here("mine.json", text)
    assert "agree did not write" in kept(place, text, *PLAN, "--json", place)


def test_what_agree_wrote_is_written_again(here, tmp_path):
    """Results, sheets and pages of every form; an empty file too."""
    pages = [tmp_path / f"page.{form}" for form in ("pdf", "png", "svg", "html")]
    sheets = [tmp_path / f"sheet.{form}" for form in ("pdf", "html", "txt")]
    planned, hung = plan("1.5 %"), plan_static("1.5 %", hang=HungMass(crank_length_mm=172.5))
    for write, content, places in ((write_page, made(-2.75, 0.59), pages), (write_sheet, planned, sheets),
                                   (write_static_sheet, hung, sheets)):
        for place in places:
            write(content, place)
            assert not_to_be_lost(place) == ""
    stored = here("climb.json", "")
    for _ in range(2):
        run("climb", "--mass", "80", "--grade", "8%", "--speed", "4.5 m/s", "--json", stored)
    assert json.loads(stored.read_text(encoding="utf-8"))["kind"] == "ClimbCheck"
    for result in ({"schema": 1}, {"schema": 2}, [{"kind": "FileLook"}]):
        assert not_to_be_lost(here("result.json", json.dumps(result))) == ""


def test_a_corrected_copy_is_no_input(tmp_path):
    ride = tmp_path / "ride.csv"
    shutil.copy(PEDALS, ride)
    before = ride.read_bytes()
    with pytest.raises(InputError, match="is one of the recordings"):
        run("correct", ride, ride, "--scale", "1.02", "--force")
    assert ride.read_bytes() == before


def test_bands_are_named_as_the_option():
    for text in ("300,100", "100", "100,100", "nan,100"):
        with pytest.raises(InputError, match=f"--bands '{text}' must be at least two increasing edges in W"):
            run(*PLAN, "--bands", text)


def test_height_goes_with_latitude(here, tmp_path):
    for words in ((), ("--gravity", "9.81")):
        with pytest.raises(InputError, match="--height goes with --latitude"):
            run(*STATIC, "--sheet", tmp_path / "s.txt", "--height", "2000", *words)
    low, high = (run(*STATIC, "--sheet", tmp_path / "s.txt", "--latitude", "46", *more)
                 for more in ((), ("--height", "2000")))
    assert low != high
