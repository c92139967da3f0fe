"""The command as a user runs it: exit statuses, one line for each error, files whole or not at all."""

import json
import re
from pathlib import Path

import pytest

from tests.command import agree

RIDES = Path(__file__).parents[1] / "data" / "rides"
BIKE, PEDALS = RIDES / "pair-1-bike.csv", RIDES / "pair-1-pedals.csv"
ROAD = RIDES / "single-road-78min.csv"


def refused(*arguments, **options):
    done = agree(*arguments, **options)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("agree: ")
    assert done.stderr.count("\n") == 1
    return done.stderr.removeprefix("agree: ").strip()


@pytest.fixture(scope="module")
def real():
    """The real pair as JSON; reference = bike, device = pedals with a crank length set too short."""
    done = agree("check", BIKE, PEDALS, "--claim", "±1.5 %", "--json", "-")
    assert (done.returncode, done.stderr) == (0, "")
    return json.loads(done.stdout)


def test_real_pair(real):
    assert abs(real["alignment"]["lag_s"] + 7) <= 0.5
    assert real["seconds"]["used"] >= 3700
    assert -7 < real["bias_percent"]["value"] < -5
    assert real["verdict"] == real["readings"][0]["verdict"] == "does not hold"
    assert 1.05 < real["correction"]["scale"]["value"] < 1.08
    assert real["correction"]["stable"] is None
    assert real["readings"][3]["verdict"] == "not settled"


def test_real_pair_exchanged_tells_the_same_story(real):
    other = json.loads(agree("check", PEDALS, BIKE, "--claim", "1.5%", "--json", "-").stdout)
    assert other["alignment"]["lag_s"] == pytest.approx(-real["alignment"]["lag_s"], abs=0.2)
    assert other["bias_percent"]["value"] == pytest.approx(6.3, abs=0.3)
    assert other["verdict"] == real["verdict"]
    assert other["correction"]["scale"]["value"] * real["correction"]["scale"]["value"] == pytest.approx(1, abs=1e-3)
    assert other["correction"]["kind"] == real["correction"]["kind"]


def test_text_fits_the_screen():
    done = agree("check", BIKE, PEDALS, "--claim", "1.5%")
    assert done.returncode == 0
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert len(lines) <= 16
    assert max(map(len, lines)) <= 80
    assert lines[0] == "DOES NOT HOLD  claim ±1.5 %, judged by the mean error (one session, 63 min used)"
    assert lines[1].startswith("pair-1-pedals reads 5.9 % low over this recording against pair-1-bike (11.4 W")
    for word in ("Main doubt", "Likely cause", "To enter", "To record", "More"):
        assert sum(line.startswith(word) for line in lines) == 1


def test_require_holds():
    assert agree("check", BIKE, PEDALS, "--claim", "1.5%", "--require-holds").returncode == 1
    assert agree("check", BIKE, PEDALS, "--claim", "20%", "--require-holds").returncode == 0


def test_files_are_written_and_inputs_left_alone(tmp_path):
    before = BIKE.read_bytes(), PEDALS.read_bytes()
    done = agree("check", BIKE, PEDALS, "--claim", "1.5%", "--json", tmp_path / "r.json", "--page", tmp_path / "p.pdf")
    assert done.returncode == 0
    assert json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))["schema"] == 1
    assert (tmp_path / "p.pdf").read_bytes().startswith(b"%PDF")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["p.pdf", "r.json"]
    assert (BIKE.read_bytes(), PEDALS.read_bytes()) == before


def test_several_sessions(tmp_path):
    """Two halves of a ride, one stamped a day later, as two sessions: one by one, as a list, and as a folder."""
    for name, file in (("reference", BIKE), ("device", PEDALS)):
        head, *rows = file.read_text(encoding="utf-8").splitlines()
        for number, part in ((1, rows[:1800]), (2, [row.replace("2022-12-20", "2022-12-21") for row in rows[1950:]])):
            (tmp_path / f"{number}-{name}.csv").write_text("\n".join([head, *part]) + "\n", encoding="utf-8")
    (tmp_path / "list.csv").write_text("reference,device,session\n1-reference.csv,1-device.csv,am\n"
                                       "2-reference.csv,2-device.csv,pm\n", encoding="utf-8")
    asked = ("--claim", "1.5%", "--json", "-")
    one, two = (["1-reference.csv", "1-device.csv"], ["2-reference.csv", "2-device.csv"])
    found = [json.loads(agree("check", *given, *asked, cwd=tmp_path).stdout) for given in (
        [*one, "--session", *two], ["--sessions", "list.csv"], ["--sessions", "."])]
    assert [item["session"] for item in found[1]["sessions"]] == ["am", "pm"]
    assert len(found[0]["sessions"]) == 2
    assert found[0]["bias_percent"]["method"] == "t, between sessions"
    assert found[0]["bias_percent"] == found[1]["bias_percent"] == found[2]["bias_percent"]
    assert found[0]["command"] == ["agree", "check", *one, "--session", *two, *asked]


def test_outputs_never_over_inputs(tmp_path):
    copy = tmp_path / "r.csv"
    copy.write_bytes(BIKE.read_bytes())
    assert refused("check", copy, PEDALS, "--claim", "1%", "--json", copy) == (
        f"{copy} is one of the recordings; a recording is never written over: choose another name")
    assert copy.read_bytes() == BIKE.read_bytes()


def test_help_and_version():
    assert agree("--version").stdout.startswith("agree 0.")
    assert "--claim" in agree("check", "--help").stdout
    assert agree("--help").returncode == 0


BAD = {
    "empty.csv": b"",
    "one.csv": b"power\n" + b"".join(b"%d\n" % (200 + k % 7) for k in range(300)),
    "text.csv": b"time_s,power_W\n0,200\n1,fast\n2,210\n3,220\n",
    "inf.csv": b"time_s,power_W\n0,200\n1,inf\n2,210\n3,220\n",
    "two.csv": b"time_s,power_W\n0,200\n1,201\n",
    "words.csv": b"name,place\na,b\nc,d\ne,f\n",
    "zero.csv": b"time_s,power_W\n" + b"".join(b"%d,0\n" % k for k in range(600)),
    "steady.csv": b"time_s,power_W\n" + b"".join(b"%d,200\n" % k for k in range(600)),
    "binary.csv": bytes(range(256)) * 20,
}


@pytest.mark.parametrize("name", BAD)
@pytest.mark.parametrize("place", ["reference", "device"])
def test_bad_files_end_in_one_line(tmp_path, name, place):
    (tmp_path / name).write_bytes(BAD[name])
    files = [name, str(ROAD)] if place == "reference" else [str(ROAD), name]
    message = refused("check", *files, "--claim", "1.5%", cwd=tmp_path)
    assert name in message or place in message or "match" in message
    assert (tmp_path / name).read_bytes() == BAD[name]


def test_file_and_row_are_named(tmp_path):
    (tmp_path / "text.csv").write_bytes(BAD["text.csv"])
    message = refused("check", "text.csv", ROAD, "--claim", "1.5%", cwd=tmp_path)
    assert message.startswith("text.csv, row 3")
    assert "fast" in message


def test_other_ride_is_no_match():
    assert "match" in refused("check", BIKE, ROAD, "--claim", "1.5%")


def test_same_file_twice_is_refused():
    assert "a recording was compared with itself" in refused("check", BIKE, BIKE, "--claim", "1.5%")
    assert "hold the same recordings" in refused("check", BIKE, PEDALS, "--session", BIKE, PEDALS, "--claim", "1.5%")


@pytest.mark.parametrize(("arguments", "words"), [
    (["check", BIKE, "nowhere.csv", "--claim", "1%"], "nowhere.csv"),
    (["check", BIKE, RIDES, "--claim", "1%"], "rides"),
    (["check", BIKE, PEDALS], "Missing option '--claim'"),
    (["check", BIKE, PEDALS, "--claim", "good"], "claim 'good' is not understood"),
    (["check", BIKE, PEDALS, "--claim", "1%", "--meaning", "mostly"], "mostly"),
    (["check", BIKE, PEDALS, "--claim", "1%", "--level", "95"], "if you mean 95 per cent, write 95%"),
    (["check", BIKE, PEDALS, "--claim", "1%", "--bands", "a,b"], "--bands 'a,b' is not understood"),
    (["check", BIKE, PEDALS, "--claim", "1%", "--page", "page.doc"], ".pdf"),
    (["check", BIKE, PEDALS, "--claim", "1%", "--json", "no/such/folder.json"], "does not exist"),
    (["check", BIKE, PEDALS, "--claim", "1%", "--device-column", "watts"], "watts"),
    (["check", BIKE, PEDALS, "--claim", "1%", "--reference-uncertainty", "some"], "'some' is not understood"),
    (["check", BIKE], "Missing option"),
    (["check"], "Missing option '--claim'"),
    (["check", "--claim", "1%"], "give the two recordings, REFERENCE and DEVICE, or --sessions LIST.csv"),
    (["check", "--claim", "1%", "--sessions", BIKE, PEDALS], "is no list of sessions"),
    (["check", BIKE, PEDALS, "--claim", "1%", "--sessions", BIKE, PEDALS], "given as --session REF DEV"),
    (["check", BIKE, PEDALS, "--claim", "1%", "--open"], "--open needs a page to show"),
    (["check", BIKE, PEDALS, "--claim", "1%", "--figure", "bands"], "write NAME=FILE, such as bands=bands.pdf"),
    (["nonsense"], "nonsense"),
])
def test_bad_calls_end_in_one_line(tmp_path, arguments, words):
    assert words in refused(*arguments, cwd=tmp_path)
    assert not list(tmp_path.iterdir())


def test_demo(tmp_path):
    done = agree("demo", "out", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert "Invented" in done.stdout
    assert "DOES NOT HOLD  claim" in done.stdout
    assert re.search(r"^Warning +\d+ faulty seconds \(\d %\) were set aside", done.stdout, re.MULTILINE)
    files = {path.name for path in (tmp_path / "out").iterdir()}
    assert files == {"invented-crank.csv", "invented-pedals.csv", "page.pdf"}
    text = (tmp_path / "out" / "invented-pedals.csv").read_text(encoding="utf-8")
    assert text.startswith("# invented data")
    again = agree("demo", "out", cwd=tmp_path)
    assert again.stdout == done.stdout
    (tmp_path / "out" / "invented-crank.csv").write_text("mine", encoding="utf-8")
    assert "was not written by this demo" in refused("demo", "out", cwd=tmp_path)


def test_terminal_without_the_sign(tmp_path):
    done = agree("check", BIKE, PEDALS, "--claim", "1.5%", PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert "DOES NOT HOLD" in done.stdout
