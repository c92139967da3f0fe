"""The HTML report in a browser: accessible, light and dark, silent, whole without script, marked readings, A4."""

import json
import os
import re
import subprocess
import sys
from functools import cache
from html import unescape
from pathlib import Path

import pytest

from agree import check_trials, pair_trials
from agree.demo import trials
from agree.report.other_page import write_other_page
from agree.report.pages import render_page
from tests.report import cases

AXE = Path(os.environ["AXE_JS"])
CHROMIUM = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--window-size=1000,3000"]
DARK = ["--blink-settings=preferredColorScheme=0"]
RUN = """
<script src="axe.js"></script>
<script>
const said = document.createElement('pre'); said.id = 'said';
const tell = (value) => { said.textContent = JSON.stringify(value); document.body.append(said); };
const found = { dark: matchMedia('(prefers-color-scheme: dark)').matches };
const buttons = [...document.querySelectorAll('.buttons button')];
buttons[1].focus(); buttons[1].click();
found.marked = document.querySelectorAll('.marked').length;
found.keys = buttons[1].dataset.keys.split(' ').length;
found.pressed = buttons.filter((b) => b.getAttribute('aria-pressed') === 'true').length;
found.told = document.getElementById('told').textContent;
buttons[1].click();
found.left = document.querySelectorAll('.marked').length;
axe.run(document).then((result) => {
  found.violations = result.violations.map((v) => v.id + ": " + v.nodes[0].html);
  tell(found);
});
</script>
</body>"""


@cache
def report(name):
    return render_page(cases.ALL[name](), "html").decode("utf-8")


def shown(place, *options):
    done = subprocess.run([*CHROMIUM, "--virtual-time-budget=20000", "--enable-logging=stderr", *options, "--dump-dom",
                           place.as_uri()], capture_output=True, text=True, check=True, timeout=120)
    return done.stdout, [line for line in done.stderr.splitlines() if "CONSOLE" in line]


@pytest.mark.parametrize("options", [[], DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["fails", "holds", "unsettled"])
def test_no_violation_and_readings_are_marked(tmp_path, name, options):
    page = re.sub(r"<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", report(name)).replace("</body>", RUN)
    (tmp_path / "page.html").write_text(page, encoding="utf-8")
    (tmp_path / "axe.js").write_bytes(AXE.read_bytes())
    text, _ = shown(tmp_path / "page.html", *options)
    found = json.loads(unescape(re.search(r'<pre id="said">(.*?)</pre>', text, re.DOTALL)[1]))
    assert found["violations"] == []
    assert found["dark"] == bool(options)
    assert 0 < found["keys"] <= found["marked"] <= 2 * found["keys"]  # each in both pictures but where beyond a frame
    assert (found["pressed"], found["left"]) == (1, 0)
    assert "are marked in both pictures" in found["told"]


@pytest.mark.parametrize("name", ["fails", "holds"])
def test_silent_and_alone_as_it_is(tmp_path, name):
    (tmp_path / "page.html").write_text(report(name), encoding="utf-8")
    text, console = shown(tmp_path / "page.html")
    assert console == []
    assert re.search(r'<div class="buttons" role="group"', text)  # our own script ran, allowed by its hash
    assert not re.findall(r"(?:src|href)=\"(?!#)", report(name))


def test_whole_without_script(tmp_path):
    bare = re.sub(r"<script>.*?</script>", "", report("holds"), flags=re.DOTALL)
    (tmp_path / "page.html").write_text(bare, encoding="utf-8")
    text, console = shown(tmp_path / "page.html")
    assert console == []
    assert text.count("<table") == bare.count("<table") >= 5
    assert text.count("<svg") == 5
    assert 'class="buttons" hidden' in text  # what needs the script is not shown
    assert len(re.findall("<h1", text)) == 1


def test_prints_to_a4(tmp_path):
    (tmp_path / "page.html").write_text(report("holds"), encoding="utf-8")
    out = tmp_path / "page.pdf"
    subprocess.run([*CHROMIUM, "--no-pdf-header-footer", f"--print-to-pdf={out}", (tmp_path / "page.html").as_uri()],
                   capture_output=True, check=True, timeout=120)
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", out.read_bytes())
    assert 1 <= len(boxes) <= 6
    assert all(abs(float(w) - 595) < 2 and abs(float(h) - 842) < 2 for w, h in boxes)


LOOK = """
<script src="axe.js"></script>
<script>
axe.run(document).then((result) => {
  const said = document.createElement('pre'); said.id = 'said';
  said.textContent = JSON.stringify(result.violations.map((v) => v.id + ": " + v.nodes[0].html));
  document.body.append(said);
});
</script>
</body>"""


def of_trials(folder):
    jumps = pair_trials(*trials.write_tables(folder), by="athlete,jump")
    write_other_page(check_trials(jumps, "2 cm"), folder / "page.html")


def of_a_quantity(folder):
    run("demo", "heart-rate", folder / "data")
    strap, wrist = sorted((folder / "data").glob("*.csv"), key=lambda file: "wrist" in file.name)
    run("check", strap, wrist, "--claim", "5 bpm", "--quantity", "heart rate", "-o", folder / "page.html")


def of_devices(folder):
    run("demo", folder / "data")
    crank, pedals = sorted((folder / "data").glob("*.csv"))
    run("devices", crank, pedals, "-o", folder / "page.html")


def of_a_trail(folder):
    run("demo", "trail", folder / "data")
    run("check", "--sessions", folder / "data" / "sessions.csv", "--claim", "1.5%", "-o", folder / "page.html")


def of_a_study(folder):
    run("demo", "study", folder / "data")
    run("study", "check", folder / "data" / "list.csv", "--claim", "1.5%", "--out", folder / "out", "--workers", "2",
        "--page", folder / "page.html")


def sheet_of_a_plan(folder):
    run("plan", "--claim", "1.5%", "--sheet", folder / "page.html")


def sheet_of_masses(folder):
    run("static", "--sheet", folder / "page.html", "--crank-length", "172.5 mm", "--claim", "1.5%")


def run(*words):
    subprocess.run([sys.executable, "-m", "agree", *map(str, words)], check=True, capture_output=True, timeout=120)


@pytest.mark.parametrize("make", [of_trials, of_a_quantity, of_devices, of_a_trail, of_a_study, sheet_of_a_plan,
                                  sheet_of_masses], ids=lambda make: make.__name__)
def test_other_pages_are_accessible_and_silent(tmp_path, make):
    make(tmp_path)
    text = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert not re.findall(r"(?:src|href)=\"(?!#)", text)
    page = re.sub(r"<meta http-equiv=\"Content-Security-Policy\"[^>]*>", "", text).replace("</body>", LOOK)
    (tmp_path / "looked.html").write_text(page, encoding="utf-8")
    (tmp_path / "axe.js").write_bytes(AXE.read_bytes())
    for options in ([], DARK):
        _, console = shown(tmp_path / "page.html", *options)
        assert console == []
        text, _ = shown(tmp_path / "looked.html", *options)
        assert json.loads(unescape(re.search(r'<pre id="said">(.*?)</pre>', text, re.DOTALL)[1])) == []
