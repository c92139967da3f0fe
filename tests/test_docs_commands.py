"""Every command and every Python block that the pages show runs, on invented data under the names the pages use."""

import doctest
import re
import shlex
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from agree.cli.main import command
from agree.demo.power import write_recordings
from tests.invented_files import write_files

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", *sorted(path for path in (ROOT / "docs").rglob("*.md")
                                     if not {"generated", "_build", "measured"} & set(path.parts))]
# Commands that .ci/run runs: the two of README, and the build.
ELSEWHERE = ("pip install ", "sphinx-build ")


def blocks(page, info):
    """Return the fenced blocks of a page with exactly this info string."""
    return re.findall(rf"^```{info}\n(.*?)^```$", page.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)


def commands(page):
    """Return the commands of a page, line by line."""
    lines = "".join(blocks(page, "sh")).replace("\\\n", " ").splitlines()
    return [line for line in lines if line.strip() and not line.startswith(ELSEWHERE)]


def name_of(page):
    """Return the name of a page in the names of tests."""
    return str(page.relative_to(ROOT))


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """A folder with the files that the pages name, and those of the demo."""
    folder = write_files(tmp_path_factory.mktemp("pages"))
    write_recordings(folder / "agree-demo")
    return folder


def run(line, folder):
    """Run one line of a page in a folder, as a shell would."""
    words = shlex.split(line)
    assert words[0] == "agree", f"a page shows a command that no test runs: {line}"
    target = None
    if ">" in words:
        target = folder / words[words.index(">") + 1]
        words = words[:words.index(">")]
    done = CliRunner().invoke(command, words[1:], standalone_mode=False)
    assert done.exit_code == 0, f"{line}\n{done.output}\n{done.exception!r}"
    if target is not None:
        target.write_text(done.stdout, encoding="utf-8")
    return done.stdout


@pytest.mark.parametrize("page", [page for page in PAGES if commands(page)], ids=name_of)
def test_commands_of_a_page_run(page, files, tmp_path, monkeypatch):
    folder = tmp_path / "work"
    shutil.copytree(files, folder, copy_function=_link)
    monkeypatch.chdir(folder)
    before = {path: path.read_bytes() for path in files.rglob("*") if path.is_file()}
    for line in commands(page):
        run(line, folder)
        for name in re.findall(r"(?:-o |--page |--json |--sheet |=)([\w/-]+\.(?:pdf|html|png|svg|json))", line):
            assert (folder / name).stat().st_size > 0, f"{line}: {name} was not written"
    assert all(path.read_bytes() == content for path, content in before.items()), "a command changed an input"


def _link(source, target):
    Path(target).hardlink_to(source)


@pytest.mark.parametrize("page", [page for page in PAGES if blocks(page, "python")], ids=name_of)
def test_python_of_a_page_runs(page):
    text = "\n".join(blocks(page, "python"))
    test = doctest.DocTestParser().get_doctest(text, {}, page.name, page.name, 0)
    report = []
    failed, tried = doctest.DocTestRunner(verbose=False).run(test, out=report.append)
    assert tried > 0, "no example in the Python of this page"
    assert failed == 0, "".join(report)


def test_blocks_that_do_not_run_are_few_and_named():
    shown = [(page.name, info) for page in PAGES
             for info in re.findall(r"^```([a-z][^\n{]*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
             if info not in ("sh", "python", "text")]
    assert shown == [("fleet.md", "python no-run")]  # a cluster is not at hand


def test_a_command_that_fails_would_be_seen(files, monkeypatch):
    monkeypatch.chdir(files)
    with pytest.raises(AssertionError, match="no-such-file"):
        run("agree look no-such-file.csv", files)
    with pytest.raises(AssertionError, match="no test runs"):
        run("rm crank.csv", files)
