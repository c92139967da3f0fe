"""Draw which room of the package imports which, and name every circle between modules.

    python docs/import_graph.py            the rooms, as the Mermaid block of DEVELOPERS.md
    python docs/import_graph.py --modules  every module, as a DOT graph for any viewer
    python docs/import_graph.py --write    renew the block in DEVELOPERS.md

Imports under TYPE_CHECKING are left out: nothing is loaded by them; so is
the seam, `agree/core/results/seam.py`. Exit status 1 if there is a circle.
"""

from __future__ import annotations

import argparse
import ast
import re
import sys
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "agree"
SEAM = "agree.core.results.seam"  # where results reach the room that shows them: it loads that by name, when asked
BLOCK = re.compile(r"(?<=```mermaid\n)graph LR\n.*?(?=```)", re.DOTALL)


def module_of(path: Path) -> str:
    """Return the dotted name of a file of the package."""
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def _type_only(tree: ast.AST) -> set[int]:
    blocks = [node for node in ast.walk(tree) if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.dump(node.test)]
    return {id(node) for block in blocks for item in block.body for node in ast.walk(item)}


def imported(path: Path, modules: set[str]) -> Iterator[str]:
    """Yield the modules of ours that a file imports anywhere, `importlib.import_module("agree...")` included."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skip = _type_only(tree)
    for node in ast.walk(tree):
        if id(node) in skip:
            continue
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names if alias.name in modules)
        elif isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "agree":
            for alias in node.names:
                full = f"{node.module}.{alias.name}"
                yield full if full in modules else node.module
        elif (isinstance(node, ast.Call) and "import_module" in ast.dump(node.func) and node.args
              and isinstance(node.args[0], ast.Constant) and node.args[0].value in modules):
            yield str(node.args[0].value)


def module_graph() -> dict[str, set[str]]:
    """Return every module with those it imports; packages without code of their own are left out."""
    files = {module_of(path): path for path in sorted(PACKAGE.rglob("*.py"))}
    packages = {name for name, path in files.items() if path.name == "__init__.py"}
    return {name: {other for other in imported(path, set(files)) if other not in packages} - {name}
            for name, path in files.items() if name not in {*packages, SEAM}} | {SEAM: set()}


def circle(graph: dict[str, set[str]]) -> list[str]:
    """Return one circle of the graph, or nothing."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        found: list[str] = error.args[1]
        return found
    return []


def room_graph(modules: dict[str, set[str]]) -> dict[str, set[str]]:
    """Return every room with the rooms it imports from."""
    rooms: dict[str, set[str]] = {}
    for name, others in modules.items():
        if name == "agree.__main__":
            continue
        room = name.split(".")[1]
        rooms.setdefault(room, set()).update(other.split(".")[1] for other in others)
    return {room: others - {room} for room, others in rooms.items()}


def reduced(graph: dict[str, set[str]]) -> dict[str, set[str]]:
    """Leave out arrows that longer ways already tell."""
    def reach(start: str) -> set[str]:
        seen: set[str] = set()
        todo = [start]
        while todo:
            for other in graph.get(todo.pop(), set()) - seen:
                seen.add(other)
                todo.append(other)
        return seen

    return {name: {other for other in others if not any(other in reach(way) for way in others - {other})}
            for name, others in graph.items()}


def mermaid(rooms: dict[str, set[str]]) -> str:
    """Draw the rooms, what is used before what uses it; arrows that follow from others are left out."""
    lines = [f"    {other} --> {name}" for name, others in sorted(reduced(rooms).items()) for other in sorted(others)]
    return "\n".join(["graph LR", *lines]) + "\n"


def dot(modules: dict[str, set[str]]) -> str:
    """Draw every module, in boxes by room."""
    lines = ["digraph agree {", "  rankdir=LR; node [shape=box, fontsize=9];"]
    for room in sorted({name.split(".")[1] for name in modules}):
        inside = sorted(name for name in modules if name.split(".")[1] == room)
        names = " ".join(f'"{name}";' for name in inside)
        lines.append(f'  subgraph "cluster_{room}" {{ label="{room}"; {names} }}')
    lines += [f'  "{other}" -> "{name}";' for name, others in sorted(modules.items()) for other in sorted(others)]
    return "\n".join([*lines, "}"]) + "\n"


def main() -> int:
    """Print a graph, and any circle on stderr."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--modules", action="store_true", help="every module, as DOT")
    parser.add_argument("--write", action="store_true", help="renew the block in DEVELOPERS.md")
    options = parser.parse_args()
    modules = module_graph()
    rooms = room_graph(modules)
    if options.write:
        page = ROOT / "DEVELOPERS.md"
        renewed = BLOCK.sub(lambda _: mermaid(rooms), page.read_text(encoding="utf-8"), count=1)
        page.write_text(renewed, encoding="utf-8")
    print(dot(modules) if options.modules else mermaid(rooms), end="")
    found = circle(modules) or circle(rooms)
    if found:
        print("circle: " + " -> ".join(found), file=sys.stderr)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
