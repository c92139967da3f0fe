"""What the pages show and a program can make: demo output, validation table, public names, constants of the code.

    python docs/generate.py             writes docs/generated/
    python docs/generate.py --readme    puts the demo's output, shortened, into README.md

The first is run by docs/conf.py at every build, so that no page holds a stale copy; README.md is read without a
build, and a test compares it with the demo.
"""

from __future__ import annotations

import importlib.util
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

from agree.assessment import next_step, schema_1
from agree.core import thresholds
from agree.core.interval import engine
from agree.correction import find, rules
from agree.diagnosis import by_second, telltale
from agree.diagnosis.windows import frame
from agree.estimators.lines import pairwise_slopes
from agree.faults import held, late_start, partial, spike, view
from agree.faults.ceilings import before_filter, pile_up, top_value
from agree.faults.slow import coefficient, lasting_steps, steady_ride, warm_up
from agree.pairing import grid, match, witnesses
from agree.pairing.clocks import clock, course, crowd, fine, lag_path, retime, smoothness
from agree.pairing.clocks.by_second import step_search
from agree.pairing.same_ride import between_steps, minutes, rider
from agree.verdict import columns, meanings

ROOT = Path(__file__).resolve().parent.parent
MODULES = (engine, thresholds, pairwise_slopes, clock, coefficient, course, crowd, fine, grid, lag_path, match, retime,
           between_steps, minutes, rider, smoothness, step_search, witnesses, schema_1, rules, find, meanings,
           next_step, columns, steady_ride, warm_up, lasting_steps, by_second, telltale, frame, top_value,
           before_filter, pile_up, held, late_start, partial, spike, view)


def constants() -> dict[str, Any]:
    """Constants of the code by module, for `{{ clock.HIGH_PASS_S }}` in a page."""
    return {module.__name__.rpartition(".")[2].lstrip("_"):
            {name: _plain(value) for name, value in vars(module).items()
             if name.isupper() and isinstance(value, int | float | str | tuple)} for module in MODULES}


def _plain(value: Any) -> Any:
    """Return a number as a reader writes it: 15, not 15.0."""
    if isinstance(value, tuple):
        return tuple(map(_plain, value))
    return int(value) if isinstance(value, float) and value.is_integer() else value


def run_agree(*arguments: str, folder: str | Path) -> str:
    """Return what `agree ARGUMENTS` prints in a folder."""
    return subprocess.run([sys.executable, "-m", "agree", *arguments], cwd=folder, check=True, text=True,
                          capture_output=True, encoding="utf-8").stdout


def shortened(printed: str) -> str:
    """Return the answer of a check: from the verdict to the last line before the files that were written."""
    lines = printed.splitlines()
    first = next(k for k, line in enumerate(lines) if re.match("HOLDS|DOES NOT HOLD|NOT SETTLED", line))
    last = next(k for k, line in enumerate(lines) if k > first and not line)
    return "\n".join(lines[first:last]) + "\n"


def in_readme(text: str, printed: str) -> str:
    """Return README.md's text with the demo's output in its text block."""
    block = re.compile(r"(?<=^```text\n).*?(?=^```$)", re.DOTALL | re.MULTILINE)
    return block.sub(lambda _: shortened(printed), text, count=1)


def demo(target: Path) -> None:
    """Write the demo's output, what `agree look` prints, a picture for a screen, and its page with numbers."""
    with tempfile.TemporaryDirectory() as folder:
        (target / "demo.txt").write_text(run_agree("demo", folder=folder), encoding="utf-8")
        files = (f"agree-demo/invented-{name}.csv" for name in ("crank", "pedals"))
        run_agree("check", *files, "--claim", "1.5%", "--reference-uncertainty", "0.5 %", "-o", "page.svg",
                  "--figure", "screen=screen.png", folder=folder)
        shutil.move(Path(folder) / "screen.png", target / "screen.png")
        page = (Path(folder) / "page.svg").read_text(encoding="utf-8")
        (target / "page-numbered.svg").write_text(numbered(page), encoding="utf-8")
        (Path(folder) / "agree-demo" / "invented-crank.csv").rename(Path(folder) / "ride.csv")
        (target / "look.txt").write_text(run_agree("look", "ride.csv", folder=folder), encoding="utf-8")


# Beginnings of the texts that the tutorial explains, in its order, with the places of their numbers left of them.
PARTS = (r"(?:HOLDS|DOES NOT HOLD|NOT SETTLED)", r"\S[^<]* reads", "How far off", "Main doubt", "Likely cause",
         r"Where in the range", "Over how long", r"Over time", "Data")


def numbered(page: str) -> str:
    """Return a page in SVG with a number beside each part."""
    marks = []
    for number, part in enumerate(PARTS, 1):
        found = re.search(rf'<text x="([\d.]+)" y="([\d.]+)"[^>]*font-weight="bold"[^>]*>{part}', page)
        if found is None:
            raise ValueError(f"no text that begins with {part!r} on the page: docs/tutorial/page.md explains it")
        x = {1: 26.0, 7: 366.0}.get(number, 22.0)
        marks.append(f'<circle cx="{x}" cy="{float(found[2]) - 3:.1f}" r="8" fill="#15202a"/><text x="{x}" '
                     f'y="{float(found[2]) + 0.4:.1f}" font-size="9.5" font-weight="bold" fill="#ffffff" '
                     f'text-anchor="middle">{number}</text>')
    return page.replace("</svg>", "\n".join(marks) + "\n</svg>")


def commands() -> str:
    """Return what every command prints for --help, as Markdown."""
    from click.testing import CliRunner

    from agree.cli.main import command

    parts = []
    names = [f"{name} {more}".strip() for name, item in sorted(command.commands.items())
             for more in ("", *sorted(getattr(item, "commands", ())))]
    for name in ("", *names):
        printed = CliRunner().invoke(command, [*name.split(), "--help"], prog_name="agree", terminal_width=80).output
        title = f"agree {name}".strip()
        parts.append(f"({title.replace(' ', '-')})=\n## {title}\n\n```text\n{printed.rstrip()}\n```\n")
    return "\n".join(parts)


def published() -> ModuleType:
    """Return the test module that holds the loader and the comparison of published figures."""
    path = ROOT / "tests" / "published" / "test_published.py"
    spec = importlib.util.spec_from_file_location("published_figures", path)
    if spec is None or spec.loader is None:
        raise ImportError(f"{path} cannot be loaded")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def compared(tests: ModuleType) -> Iterator[tuple[str, dict[str, Any], str, bool]]:
    """Yield source, figure, our value and whether it agrees, by the test itself."""
    for case in tests.all_figures():
        folder, call, figure = case.values
        ours = tests.value_at(tests.compute(folder, call, figure), figure["of"])
        agrees = tests.agrees(folder, call, figure)
        decimals = len(figure["printed"].partition(".")[2])
        plain = "e" not in figure["printed"].lower() and "exact" not in figure
        yield folder.name, figure, f"{ours:.{decimals + 2}f}" if plain else f"{ours:.15g}", agrees


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("<", "&lt;").replace("\n", " ")


def _remark(figure: dict[str, Any]) -> str:
    parts = [figure.get("where", ""), figure.get("note", "")]
    if "rounded_inputs" in figure:
        parts.append(f"printed from rounded inputs, which give the print; unrounded: {figure['unrounded']}")
    if "exact" in figure:
        parts.append(f"held to a relative {figure['exact']:g}")
    return "; ".join(part for part in parts if part)


def validation() -> str:
    """Every published figure: printed, ours, verdict and source, as Markdown."""
    tests = published()
    rows: dict[str, list[str]] = {}
    count = {True: 0, False: 0}
    for source, figure, ours, agrees in compared(tests):
        count[agrees] += 1
        cells = (figure["what"], figure["printed"], ours, "yes" if agrees else "**no**", figure["source"],
                 _remark(figure))
        rows.setdefault(source, []).append("| " + " | ".join(map(_cell, cells)) + " |")
    counted = subprocess.run([sys.executable, str(tests.HERE / "test_count.py")], check=True, capture_output=True,
                             text=True)
    told = counted.stdout.splitlines()
    lines = [f"{sum(count.values())} figures in {len(rows)} sets: {count[True]} agree, {count[False]} do not. What "
             f"counts as evidence: {told[-1]}.", "", "## Prints behind the methods", "",
             *(line for line in told if line.startswith("|"))]
    for source in rows:
        expected = tomllib.loads((tests.HERE / source / "expected.toml").read_text(encoding="utf-8"))
        title, _, about = (tests.HERE / source / "SOURCE.md").read_text(encoding="utf-8").partition("\n")
        lines += ["", f"## {title.lstrip('# ')}", "", f"{expected['cite']}. Transcription: {expected['confidence']}.",
                  "", about.strip(), "", "| figure | printed | ours | agrees | print known from | remark |",
                  "|---|---:|---:|---|---|---|", *rows[source]]
    return "\n".join(lines) + "\n"


# Beginnings of the names in docs/measured, by what was measured; what fits none stands last.
MEASURED = {"Intervals": ("coverage", "far_tail", "slow_errors", "few", "heavy", "repeats", "published"),
            "Verdicts": ("verdict", "session", "short", "many", "fixed", "look", "plan"),
            "Reading and pairing": ("clock", "same", "dialect", "fit_", "fuzz", "long"),
            "Faults, causes, corrections": ("fault", "response", "diagnosis", "correction", "effort"),
            "Trials, quantities, and the rest": ("",)}


def measured(target: Path) -> None:
    """Write a page for each measured table, and their index."""
    (target / "measured").mkdir(exist_ok=True)
    groups: dict[str, list[str]] = {title: [] for title in MEASURED}
    for path in sorted((ROOT / "docs" / "measured").glob("*.md")):
        text = path.read_text(encoding="utf-8")
        if text.startswith("## "):
            text = re.sub(r"^#(?=#+ )", "", text, flags=re.MULTILINE)
        first, *rest = re.split(r"^(?=# )", text, flags=re.MULTILINE)[1:]
        (target / "measured" / path.name).write_text(first + "".join("#" + part for part in rest), encoding="utf-8")
        title = next(title for title, names in MEASURED.items() if path.stem.startswith(names))
        groups[title].append(f"../generated/measured/{path.stem}")
    lines = [f"## {title}\n\n```{{toctree}}\n:maxdepth: 1\n\n" + "\n".join(pages) + "\n```\n"
             for title, pages in groups.items() if pages]
    (target / "measured.md").write_text("\n".join(lines), encoding="utf-8")


def everything(target: Path) -> None:
    """Write all generated parts into a folder."""
    shutil.rmtree(target, ignore_errors=True)  # pages of what is gone
    target.mkdir()
    demo(target)
    (target / "validation.md").write_text(validation(), encoding="utf-8")
    measured(target)
    (target / "commands.md").write_text(commands(), encoding="utf-8")


if __name__ == "__main__":
    if "--readme" in sys.argv[1:]:
        with tempfile.TemporaryDirectory() as folder:
            readme = ROOT / "README.md"
            new = in_readme(readme.read_text(encoding="utf-8"), run_agree("demo", folder=folder))
            readme.write_text(new, encoding="utf-8")
    else:
        everything(ROOT / "docs" / "generated")
