"""What the command writes, and where it does not: two outputs to one place, pipes, names that act on a terminal."""

from __future__ import annotations

import json
import os
import re
import shutil
import stat
import threading
import unicodedata
from pathlib import Path

import pytest

import agree as agree_package
from agree import InputError
from agree.cli.session_list import from_place
from agree.cli.terminal import as_typed, say, written
from agree.files.writing import write_text
from tests.cli.test_check import BIKE, PEDALS, agree, refused

EVIL = "ride\x1b[31m\u202e\u200b\x07"


def acts(text: str) -> set[str]:
    """Characters that act on what shows them: controls but for line ends, and marks of format."""
    return {c for c in text if unicodedata.category(c) in ("Cc", "Cf", "Cs") and c != "\n"}


@pytest.mark.parametrize(("page", "result"), [("x.html", "x.html"), ("./x.html", "x.html"), ("link.html", "x.html")])
def test_two_outputs_to_one_place(tmp_path, page, result):
    (tmp_path / "link.html").symlink_to(tmp_path / "x.html")
    assert refused("check", BIKE, PEDALS, "--claim", "1.5%", "--page", page, "--json", result, cwd=tmp_path) == (
        "x.html is given for two outputs; the second would write over the first: give each a name of its own")
    assert not (tmp_path / "x.html").exists()


def test_names_do_not_act_on_terminal_page_or_json(tmp_path):
    """A file, its column and its session with escapes, marks of direction and a bell in their names."""
    one, two = tmp_path / f"{EVIL}.csv", tmp_path / "device.csv"
    one.write_text(BIKE.read_text(encoding="utf-8").replace("power_W", "power\u202e\u200b\x9b_W", 1), encoding="utf-8")
    shutil.copy(PEDALS, two)
    page, stored = tmp_path / f"{EVIL}\nAnswer: HOLDS.html", tmp_path / f"{EVIL}.json"
    done = agree("check", one, two, "--claim", "1.5%", "--page", page.name, "--json", stored.name,
                 "--reference-column", "column 2", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "Written: ride?[31m??? Answer: HOLDS.html, ride?[31m???.json"
    for text in (done.stdout, done.stderr, page.read_text(encoding="utf-8"), stored.read_text(encoding="utf-8")):
        assert acts(text) == set()
    assert json.loads(stored.read_text(encoding="utf-8"))["sessions"][0]["reference"] == "ride?[31m???"
    seen = agree("look", one, cwd=tmp_path)
    assert seen.returncode == 0
    assert acts(seen.stdout) == set()
    one.write_text("time,power\n0,x\n", encoding="utf-8")
    wrong = agree("look", one, tmp_path / f"no{EVIL}.csv", cwd=tmp_path)
    assert wrong.returncode == 2
    assert acts(wrong.stderr) == set()


def test_json_into_a_pipe(tmp_path):
    pipe, found = tmp_path / "pipe", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: found.append(pipe.read_bytes()))
    reader.start()
    done = agree("check", BIKE, PEDALS, "--claim", "1.5%", "--json", pipe, cwd=tmp_path)
    reader.join()
    assert done.returncode == 0
    assert json.loads(found[0])["verdict"] == "does not hold"
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_an_error_names_the_option_of_the_command(tmp_path):
    file = tmp_path / "two.csv"
    file.write_text("time,power,watts\n0,200,190\n1,201,191\n2,202,192\n", encoding="utf-8")
    assert refused("check", file, PEDALS, "--claim", "1.5%", cwd=tmp_path).endswith(
        "name it with power_column; on the command line: --reference-read power=... or --device-read power=...")
    (tmp_path / "hours.csv").write_text("Uhrzeit,power\n17:02,200\n17:02,201\n17:03,202\n", encoding="utf-8")
    assert "--device-read time=..." in refused("check", PEDALS, "hours.csv", "--claim", "1.5%", cwd=tmp_path)


def test_a_target_alone_is_not_called_another_quantity(tmp_path):
    (tmp_path / "target.csv").write_text("time,Target Power\n0,200\n1,201\n2,202\n", encoding="utf-8")
    message = refused("check", "target.csv", PEDALS, "--claim", "1.5%", cwd=tmp_path)
    assert "'Target Power' (a target: 'target')" in message
    assert "--quantity" not in message


@pytest.mark.parametrize("name", ["/dev/stdout", "/dev/fd/1", "/dev/stderr"])
def test_standard_output_by_another_name_holds_nothing_else(tmp_path, name):
    """Opened anew, a file that it goes to was written from its start, and the text over that."""
    done = agree("look", BIKE, "--json", name, cwd=tmp_path)
    assert json.loads(done.stderr if name.endswith("err") else done.stdout)[0]["name"] == "pair-1-bike.csv"
    assert done.returncode == 0


def test_names_of_states_and_of_other_quantities_are_plain_in_json(tmp_path):
    listed = tmp_path / "sessions.csv"
    listed.write_text("session,state,reference,device\n1\x9b,new\u202e,r.csv,d.csv\n", encoding="utf-8")
    assert [(one.label, one.state) for one in from_place(str(listed))] == [("1?", "new?")]
    for name, odd in ((EVIL, 5), ("other", 7)):
        rows = "".join(f"{k},{120 + k // 9 % 40 + k % odd // 3}\n" for k in range(300))
        (tmp_path / f"{name}.csv").write_text("time,heart rate\n" + rows, encoding="utf-8")
    done = agree("check", f"{EVIL}.csv", "other.csv", "--quantity", "heart rate", "--claim", "5 bpm", "--json", "-",
                 cwd=tmp_path)
    assert json.loads(done.stdout)["inputs"][0]["name"] == "ride?[31m???.csv"
    assert acts(done.stdout) == set()


def test_what_is_said_acts_on_no_terminal(capsys):
    """Whoever brings a text; colours are left where they are meant, and line ends, tabs and blanks of any width."""
    say(f"{EVIL}\n\ta\u00a0b\u2009c\u2028")
    assert capsys.readouterr().out == "ride?[31m???\n\ta\u00a0b\u2009c?\n"
    say("\x1b[1mHOLDS\x1b[0m\x1b[2J", coloured=True)
    assert capsys.readouterr().out == "\x1b[1mHOLDS\x1b[0m?[2J\n"
    assert written([f"{EVIL}\n.csv", "b.csv"]) == "Written: ride?[31m??? .csv, b.csv"
    assert as_typed("agree", "look", "my ride\x1b.csv") == "agree look 'my ride?.csv'"


def test_commands_print_by_say_alone():
    """But JSON, which escapes what it holds, and scripts of our own."""
    for path in sorted((Path(agree_package.__file__).parent / "cli").rglob("*.py")):
        if path.name != "terminal.py":
            calls = re.findall(r"click\.echo\(([\w.]+)|\bprint\(", path.read_text(encoding="utf-8"))
            assert set(calls) <= {"stored", "json_text", "schema_text", "kind", "text"}, path


def test_links_in_a_circle_lead_nowhere(tmp_path):
    (tmp_path / "a.json").symlink_to("b.json")
    (tmp_path / "b.json").symlink_to("a.json")
    assert refused("check", BIKE, PEDALS, "--claim", "1.5%", "--json", "a.json", cwd=tmp_path) == (
        "a.json leads nowhere: its links go in a circle, or it is not a path; choose another name")
    with pytest.raises(InputError, match=r"a\.json cannot be written: .*; choose another place"):
        write_text(tmp_path / "a.json", "x")


def test_a_link_to_a_file_of_another_kind_is_not_written_through(tmp_path):
    """The command asks first; whoever writes from Python is held back too."""
    ride = tmp_path / "ride.csv"
    ride.write_text("time,power\n0,200\n", encoding="utf-8")
    (tmp_path / "page.html").symlink_to(ride)
    with pytest.raises(InputError, match=r"page\.html is a link to ride\.csv, a file of another kind"):
        write_text(tmp_path / "page.html", "x")
    assert ride.read_text(encoding="utf-8") == "time,power\n0,200\n"
    (tmp_path / "new.html").symlink_to(tmp_path / "free.csv")
    (tmp_path / "again.csv").symlink_to(ride)
    for name, place in (("new.html", "free.csv"), ("again.csv", "ride.csv")):
        write_text(tmp_path / name, "x")
        assert (tmp_path / place).read_text(encoding="utf-8") == "x"
        assert (tmp_path / name).is_symlink()
