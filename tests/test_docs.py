"""What the pages say is so: examples run, output is in step, files exist."""

import contextlib
import doctest
import importlib
import importlib.util
import inspect
import json
import os
import pkgutil
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import agree
from agree.cli.main import command
from tests.each import each

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(
    path for path in (ROOT / "docs").rglob("*.md") if not {"generated", "_build", "measured"} & set(path.parts))]
SKIPPED = shutil.ignore_patterns(".*", "__pycache__", "_build", "generated", "build", "*.egg-info", "agree-demo")


def blocks(page, info):
    """Fenced blocks of a page with exactly this info string."""
    return re.findall(rf"^```{info}\n(.*?)^```$", (ROOT / page).read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)


def run_doctest(text, name):
    test = doctest.DocTestParser().get_doctest(text, {}, name, name, 0)
    report = []
    failed, tried = doctest.DocTestRunner(verbose=False).run(test, out=report.append)
    assert tried > 0
    assert failed == 0, "".join(report)


def generate(name="generate"):
    spec = importlib.util.spec_from_file_location(name, ROOT / "docs" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def run_agree(*arguments, folder):
    """What `agree ARGUMENTS` prints in a folder."""
    with contextlib.chdir(folder):
        done = CliRunner().invoke(command, arguments, standalone_mode=False)
    assert done.exit_code == 0, f"{done.output}\n{done.exception!r}"
    return done.stdout


@pytest.fixture(scope="module")
def api_pages():
    """The program that makes the pages of the API."""
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(ROOT / "docs")
        yield generate("api_pages")


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """Folder the demo was run in, and the lines it printed."""
    folder = tmp_path_factory.mktemp("demo")
    return folder, run_agree("demo", folder=folder).splitlines()


MODULES = [name for _, name, _ in pkgutil.walk_packages(agree.__path__, "agree.") if not name.endswith("__main__")]


@each("name", MODULES)
def test_examples_in_docstrings(name):
    module = importlib.import_module(name)
    failed, tried = doctest.testmod(module)
    assert failed == 0
    assert tried == Path(module.__file__).read_text(encoding="utf-8").count(">>> ")


def test_every_public_function_has_an_example():
    for name in agree.__all__:
        item = getattr(agree, name)
        if callable(item) and not isinstance(item, type):
            assert ">>> " in item.__doc__, name


@each("name", [name for name in agree.__all__ if name != "__version__"])
def test_public_docstrings_say_where_to_read_on(name):
    item = getattr(agree, name)
    parts = dict(re.findall(r"^([A-Z][\w ]+)\n-+\n(.*?)(?=^[A-Z][\w ]+\n-+\n|\Z)", inspect.getdoc(item) + "\n",
                            re.DOTALL | re.MULTILINE))
    if isinstance(item, type) and issubclass(item, BaseException):
        return  # an error has no literature, and stands in Raises of what raises it
    assert parts["References"].strip()
    others = [word for line in parts["See Also"].strip().splitlines() for word in line.partition(" : ")[0].split(", ")]
    assert name not in others
    assert set(others) <= set(agree.__all__)


def test_readme_example():
    for block in blocks("README.md", "python"):
        run_doctest(block, "README.md")


def test_a_wrong_example_would_fail():
    with pytest.raises(AssertionError, match="Expected"):
        run_doctest(">>> 1 + 1\n3\n", "wrong")


def test_readme_shows_what_the_demo_prints(demo):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    fresh = generate().in_readme(text, "\n".join(demo[1]))
    assert text.splitlines() == fresh.splitlines(), "run: python docs/generate.py --readme"
    shown = blocks("README.md", "text")[0].splitlines()
    assert shown[0].startswith("DOES NOT HOLD  claim ±1.5 %")
    assert all(line in demo[1] for line in shown)
    assert len(shown) <= 16


def test_a_stale_line_would_be_seen(demo):
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert generate().in_readme(text, "\n".join(demo[1]).replace(" % low", " % high")) != text


def test_readme_has_the_two_commands_and_begins_with_the_job():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert text.startswith("Two recordings of one effort")
    assert re.findall(r"^pip install .*$", text, re.MULTILINE) == [
        "pip install . && agree demo", "pip install '.[test]' && pytest -n auto"]


@pytest.mark.parametrize("block", blocks("DEVELOPERS.md", "sh"))
def test_developers_commands_run(block, tmp_path):
    copy = tmp_path / "agree"
    shutil.copytree(ROOT, copy, ignore=SKIPPED)
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ["PATH"]])
    done = subprocess.run(["bash", "-euo", "pipefail", "-c", block], cwd=copy, env={**os.environ, "PATH": path},
                          check=False, text=True, capture_output=True)
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]


def test_every_public_name_has_one_place_in_the_api(api_pages):
    shown = [name for _, names in api_pages.pages({}) for name in names]
    errors = [name for name in api_pages.public() if api_pages.group(name) == "Errors and warnings"]
    assert sorted([*shown, *errors]) == sorted(set(agree.__all__) - {"__version__"})
    assert ".. py:data:: agree.__version__" in (ROOT / "docs" / "reference" / "api.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| \{py:\w+\}`~agree\.(\w+)`", api_pages.index({}), re.MULTILINE)
    assert sorted(listed) == sorted(api_pages.public())


def test_json_page_names_every_key(demo):
    folder, _ = demo
    files = (f"agree-demo/invented-{name}.csv" for name in ("crank", "pedals"))
    result = json.loads(run_agree("check", *files, "--claim", "2 %", "--json", "-", folder=folder))
    page = (ROOT / "docs" / "reference" / "json.md").read_text(encoding="utf-8").split("## Schema version 2")[0]
    rows = dict(re.findall(r"^\| `(\w+)` \| (.*) \|$", page, re.MULTILINE))
    assert list(rows) == list(result)
    for key in ("claim", "alignment", "correction", "reference_uncertainty"):
        assert [word for word in re.findall(r"`(\w+)`", rows[key]) if word in result[key]] == list(result[key])
    for key in ("readings", "bands", "findings", "budget"):
        assert [word for word in re.findall(r"`(\w+)`", rows[key]) if word in result[key][0]] == list(result[key][0])
    parts = re.search(r"An \*estimate\* is `\{(.*)\}`", page)[1]
    assert json.loads(f"[{parts}]") == list(result["bias_percent"])


def test_every_estimator_is_in_the_choice_and_has_a_picture(api_pages):
    page = (ROOT / "docs" / "reference" / "estimators.md").read_text(encoding="utf-8")
    drawn = api_pages.pictures(*api_pages.DRAWN)
    for name in agree.__all__:
        item = getattr(agree, name)
        if callable(item) and not isinstance(item, type) and item.__module__.startswith("agree.estimators"):
            assert page.count(f"{{py:func}}`agree.{name}`") == 1, name
            assert name in drawn, f"docs/pictures has no picture of {name}"
    assert {name for name in drawn if not hasattr(agree, name)} == set(), "a picture of something that is not public"


def test_pictures_shown_are_drawn(api_pages):
    drawn = set(api_pages.pictures())
    shown = {name for page in PAGES for name in re.findall(r"generated/pictures/(\w+)\.svg", page.read_text("utf-8"))}
    assert shown
    assert shown <= drawn


@pytest.mark.parametrize("name", ["deming", "equivalence", "three_answers"])
def test_a_picture_is_drawn(name, api_pages):
    figure = api_pages.pictures()[name]()
    assert figure.axes[0].get_xlabel()


def test_parts_of_the_page_are_numbered_in_the_tutorial():
    module = generate()
    page = "".join(f'<text x="34" y="{20 * k}" font-weight="bold">{part}</text>' for k, part in enumerate(
        ("DOES NOT HOLD", "pedals reads 2 % low", "How far off?", "Main doubt", "Likely cause", "Where in the range?",
         "Over how long an average?", "Over time?", "Data"), 1)) + "</svg>"
    assert module.numbered(page).count("<circle") == len(module.PARTS) == 9
    told = (ROOT / "docs" / "tutorial" / "page.md").read_text(encoding="utf-8")
    assert re.findall(r"^(\d)\. ", told, re.MULTILINE) == [str(number) for number in range(1, 10)]
    with pytest.raises(ValueError, match="no text that begins with 'Data'"):
        module.numbered(page.replace("Data", "Dates"))


def test_validation_page_shows_every_published_figure():
    module = generate()
    page, figures = module.validation(), list(module.published().all_figures())
    assert page.startswith(f"{len(figures)} figures in ")
    assert page.count("| yes |") == len(figures)


def test_validation_page_would_show_a_failure(monkeypatch):
    module = generate()
    tests = module.published()
    case = next(iter(tests.all_figures()))
    wrong = {**case.values[2], "printed": "-987.65"}
    monkeypatch.setattr(tests, "all_figures", lambda: [pytest.param(*case.values[:2], wrong)])
    monkeypatch.setattr(module, "published", lambda: tests)
    assert "0 agree, 1 do not" in module.validation().splitlines()[0]


@each("page", PAGES, ids=lambda page: page.name)
def test_pages_name_only_files_that_exist(page):
    text = page.read_text(encoding="utf-8")
    links = [target for target in re.findall(r"\]\(([^)#\s]+)\)", text) if "://" not in target]
    for target in links:
        assert (page.parent / target).exists(), target
    for name in re.findall(r"(?<![\w/])((?:agree|tests|docs|benchmarks|\.ci)/[\w./-]*[\w/])", text):
        if not name.startswith(("docs/generated", "docs/_build")):
            assert (ROOT / name).exists(), name


def test_the_way_of_a_recording_is_short_and_names_files_that_exist():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    way = re.search(r"## The way of one recording\n(.*?)\n## ", text, re.DOTALL)[1].strip().splitlines()
    assert len(way) <= 25
    named = re.findall(r"(?:\w+/)+\w+\.py", "\n".join(way))
    assert len(named) > 15
    for name in named:
        assert (ROOT / "agree" / name).exists() or (ROOT / "agree" / "pairing" / name).exists(), name


def test_the_table_of_versions_has_the_lowest_ones_that_are_tested():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| ([\w-]+) \| ([\d.]+) \| [\d.]+ \|$", text, re.MULTILINE))
    lowest = dict(re.findall(r"^([\w-]+)==([\d.]+)$", (ROOT / ".ci" / "lowest.txt").read_text("utf-8"), re.MULTILINE))
    assert rows.pop("Python") == "3.11"
    assert rows == lowest


@each("page", PAGES, ids=lambda page: page.name)
def test_constants_in_pages_are_in_the_code(page):
    constants, text = generate().constants(), page.read_text(encoding="utf-8")
    for module, name in re.findall(r"\{\{ [^}]*?\b(\w+)\.([A-Z_]+)\b", text):
        assert name in constants[module]
    assert not re.search(r"^\|.*\{\{[^}]*\|", text, re.MULTILINE), "a bar in {{ }} ends the cell of a table"


@each("path", sorted((ROOT / "docs" / "measured").glob("*.md")), ids=lambda path: path.stem)
def test_measured_tables_say_how_they_were_made(path):
    text = path.read_text(encoding="utf-8")
    command = re.search(r"`python ((?:benchmarks|tests/published)/\w+\.py)[^`]*`", text)
    assert (ROOT / command[1]).exists()
    assert re.search(r"\b20\d\d-\d\d-\d\d\b", text)
    assert re.search(r"\bcores?\b", text)
    assert re.search(r"^(\|[-:|]+\||```text)$", text, re.MULTILINE)


def test_every_measured_table_has_a_page_with_one_title(tmp_path):
    generate().measured(tmp_path)
    names = sorted(path.name for path in (ROOT / "docs" / "measured").glob("*.md"))
    pages = sorted((tmp_path / "measured").glob("*.md"))
    assert [page.name for page in pages] == names
    for page in pages:
        assert len(re.findall(r"^# ", page.read_text(encoding="utf-8"), re.MULTILINE)) == 1, page.name
    listed = re.findall(r"^\.\./generated/measured/(\S+)$", (tmp_path / "measured.md").read_text("utf-8"), re.MULTILINE)
    assert sorted(f"{name}.md" for name in listed) == names


@pytest.mark.parametrize("kind", ["float", "whole watts"])
def test_speed_benchmark_compares_like_with_like(kind):
    path = ROOT / "benchmarks" / "passing_bablok.py"
    spec = importlib.util.spec_from_file_location("speed", path)
    speed = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(speed)
    assert np.all(np.array(speed.compare(100, kind)) > 0)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(speed, "passing_bablok", lambda x, y: agree.passing_bablok(x, 1.01 * y))
        with pytest.raises(SystemExit, match="by all slopes"):
            speed.compare(100, kind)
