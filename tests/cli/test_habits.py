"""What people expect of a command line: each habit works, in every command alike."""

import json
import re
from collections import defaultdict

import click
import pytest
from click.testing import CliRunner

from agree.assessment import beside
from agree.cli import deliver
from agree.cli.commands import check as command
from agree.cli.main import command as whole
from agree.cli.main import usage_words
from tests.report.made import made

RESULT = made(-2.75, 0.59)


def commands(group=whole, name="agree"):
    """Every command with its whole name."""
    for word, one in group.commands.items():
        if isinstance(one, click.Group):
            yield from commands(one, f"{name} {word}")
        else:
            yield f"{name} {word}", one


ALL = dict(commands())


@pytest.fixture
def asked(monkeypatch):
    """The files and options that a check was asked for; nothing is computed."""
    found = {}

    def paired(files, options):
        found.update(files=[item[:2] for item in files], options=options)
        return []

    monkeypatch.setattr(command, "paired", paired)
    monkeypatch.setattr(command, "checked", lambda pairs, options: RESULT)
    monkeypatch.setattr(beside, "with_seconds", lambda check: check)
    return found


def run(*words, **options):
    return CliRunner().invoke(whole, ["check", *map(str, words)], prog_name="agree", **options)


def test_sessions_by_option_list_and_folder(asked, tmp_path):
    run("a.csv", "b.csv", "--claim", "1%", "--session", "c.csv", "d.csv", "--session", "e.csv", "f.csv")
    assert asked["files"] == [("a.csv", "b.csv"), ("c.csv", "d.csv"), ("e.csv", "f.csv")]
    (tmp_path / "list.csv").write_text("reference;device\nr1.csv;d1.csv\nr2.csv;d2.csv\n", encoding="utf-8")
    run("--sessions", tmp_path / "list.csv", "--claim", "1%")
    assert asked["files"] == [(str(tmp_path / f"r{k}.csv"), str(tmp_path / f"d{k}.csv")) for k in (1, 2)]
    folder = tmp_path / "folder"
    folder.mkdir()
    for name in ("1-reference.csv", "1-device.fit", "2-reference.csv", "2-device.csv"):
        (folder / name).touch()
    done = run("--sessions", folder, "--claim", "1%")
    assert "has no partner" in str(done.exception)  # a .csv and a .fit are not alike
    (folder / "1-device.fit").rename(folder / "1-device.csv")
    run("--sessions", folder, "--claim", "1%")
    assert asked["files"] == [(str(folder / f"{k}-reference.csv"), str(folder / f"{k}-device.csv")) for k in (1, 2)]


@pytest.mark.parametrize("text", ["95%", "0.95", "95 %"])
def test_levels_of_both_kinds(asked, text):
    run("a", "b", "--claim", "1%", "--level", text)
    assert asked["options"]["level"] == 0.95


def test_version_in_short_and_in_full():
    for word in ("-V", "--version"):
        assert re.fullmatch(r"agree \d+\.\d+\.\d+\n", CliRunner().invoke(whole, [word]).output)


@pytest.mark.usefixtures("asked")
def test_outputs_by_suffix_and_pages_repeated(tmp_path):
    done = run("a", "b", "--claim", "1%", "-o", tmp_path / "x.json", "-o", tmp_path / "x.svg", "--page",
               tmp_path / "y.svg", "--page", tmp_path / "z.svg")
    assert {path.name for path in tmp_path.iterdir()} == {"x.json", "x.svg", "y.svg", "z.svg"}
    assert json.loads((tmp_path / "x.json").read_text(encoding="utf-8"))["verdict"] == RESULT.verdict
    assert done.output.splitlines()[-1].startswith("Written: ")
    assert all(name in done.output.splitlines()[-1] for name in ("x.json", "x.svg", "y.svg", "z.svg"))


@pytest.mark.usefixtures("asked")
def test_what_is_stated_stands_on_the_page(tmp_path):
    about = tmp_path / "about.toml"
    about.write_text('[device]\nserial = "P-12345"\ncrank_length = "172.5 mm"\n', encoding="utf-8")
    run("a", "b", "--claim", "1%", "--about", about, "-o", tmp_path / "page.svg")
    assert "P-12345" in (tmp_path / "page.svg").read_text(encoding="utf-8")
    about.write_text('[device]\ncolour = "red"\n', encoding="utf-8")
    done = run("a", "b", "--claim", "1%", "--about", about)
    assert "has no field colour; expected name, serial" in str(done.exception)


@pytest.mark.usefixtures("asked")
def test_the_page_is_shown_when_asked(tmp_path, monkeypatch):
    shown = []
    monkeypatch.setattr(deliver.click, "launch", shown.append)
    run("a", "b", "--claim", "1%", "-o", tmp_path / "page.svg", "--open")
    assert shown == [str(tmp_path / "page.svg")]


@pytest.mark.usefixtures("asked")
def test_a_figure_comes_with_caption_and_methods(tmp_path):
    done = run("a", "b", "--claim", "1%", "--figure", f"bands={tmp_path / 'bands.pdf'}", "--figure",
               f"screen={tmp_path / 'screen.png'}")
    assert (tmp_path / "bands.pdf").read_bytes().startswith(b"%PDF")
    size = (tmp_path / "screen.png").read_bytes()[16:24]
    assert (int.from_bytes(size[:4], "big"), int.from_bytes(size[4:], "big")) == (1920, 1080)
    assert "Error against power: 30-s readings" in done.output
    assert re.search(r"intervals were computed .* \(agree [\d.]+, numpy [\d.]+, scipy [\d.]+\)", done.output)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_shells_complete_commands_options_and_choices(shell):
    assert "_AGREE_COMPLETE" in CliRunner().invoke(whole, ["completion", shell]).output
    done = CliRunner().invoke(whole, [], prog_name="agree", env={
        "_AGREE_COMPLETE": "bash_complete", "COMP_WORDS": "agree check --meaning next", "COMP_CWORD": "3"})
    assert "next-session" in done.output


@pytest.mark.parametrize("name", ALL)
def test_every_help_ends_with_an_example(name):
    text = CliRunner().invoke(whole, [*name.split()[1:], "--help"], prog_name="agree").output
    assert re.search(rf"Example:?\s[\s\S]*{name.replace(' ', chr(92) + 's+')}", text)
    if len([one for one in ALL[name].params if isinstance(one, click.Option)]) > 12 and getattr(
            ALL[name], "groups", None):
        assert sum(line.endswith(":") and not line.startswith(" ") for line in text.splitlines()) >= 3


@pytest.mark.parametrize("name", ALL)
def test_choices_have_no_blank_and_hyphens(name):
    for one in ALL[name].params:
        if isinstance(one.type, click.Choice):
            assert [word for word in one.type.choices if " " in word or "_" in word] == []


def test_one_option_name_takes_one_kind_of_value_everywhere():
    kinds = defaultdict(set)
    for one in ALL.values():
        for option in one.params:
            if isinstance(option, click.Option):
                for word in option.opts:
                    kinds[word].add((option.is_flag, option.nargs, option.metavar if not isinstance(
                        option.type, click.Choice) else "CHOICE"))
    several = {word: found for word, found in kinds.items() if len({kind[:2] for kind in found}) > 1}
    assert several == {}
    meant = {word: {kind[2] for kind in found} for word, found in kinds.items()}
    assert meant["--level"] == {"LEVEL"}
    assert meant["--page"] == {"FILE"}
    assert meant["--json"] == {"FILE"}
    assert all(one.type.__class__.__name__ == "IntervalLevel" for command in ALL.values()
               for one in command.params if "--level" in one.opts)


def test_old_spellings_get_the_new_one():
    done = CliRunner().invoke(whole, ["plan", "--claim", "1%", "--power", "0.8"], prog_name="agree")
    assert done.stderr == "agree: hint: --power is --chance now\n"
    words = ["check", "a", "b", "--claim", "1%", "--sessions", "c", "d"]
    with pytest.raises(click.ClickException) as caught:
        whole.main(words, prog_name="agree", standalone_mode=False)
    assert "--session REF DEV" in usage_words(caught.value, words)
