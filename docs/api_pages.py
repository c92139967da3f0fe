"""Pages of the API: one for each public function, with its result and its picture; one for other classes; a gallery.

python docs/api_pages.py     writes docs/generated/api/, docs/generated/pictures/ and the gallery
"""

from __future__ import annotations

import importlib
import inspect
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import matplotlib as mpl

import agree

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))
DRAWN = ("limits", "lines", "indices", "response")   # modules of docs/pictures with a picture for each function
IDEAS = "ideas"                                      # pictures of the explanations
GROUPS = ("From files to an answer", "Tables of trials, other quantities", "Limits", "Lines", "Bands", "Response",
          "Devices", "Indices", "Results and inputs", "Errors and warnings")


def pictures(*modules: str) -> dict[str, Callable[[], Any]]:
    """Return the functions of docs/pictures that draw, by name."""
    found = {}
    for name in modules or (*DRAWN, IDEAS):
        module = importlib.import_module(f"pictures.{name}")
        found |= {key: item for key, item in vars(module).items()
                  if inspect.isfunction(item) and item.__module__ == module.__name__ and not key.startswith("_")}
    return found


def public() -> list[str]:
    """Return the public names of the package that have a docstring of their own."""
    return [name for name in agree.__all__ if not name.startswith("_")]


def group(name: str) -> str:
    """Return the group of a public name in the index."""
    item = getattr(agree, name)
    if isinstance(item, type):
        return GROUPS[9] if issubclass(item, BaseException) else GROUPS[8]
    parts = item.__module__.split(".")
    if parts[1] == "estimators":
        return parts[2].capitalize()
    return GROUPS[1] if parts[1] in ("trials", "quantities") else GROUPS[0]


def returned(name: str) -> str | None:
    """Return the name of the public class that a function, and no other public function, returns."""
    def result(key: str) -> str:
        return str(getattr(agree, key).__annotations__.get("return", "")).strip("'")

    others = [key for key in public() if not isinstance(getattr(agree, key), type) and result(key) == result(name)]
    return result(name) if len(others) == 1 and result(name) in agree.__all__ else None


def directive(name: str) -> str:
    """Return the autodoc directive of a public name."""
    item = getattr(agree, name)
    if not isinstance(item, type):
        return f".. autofunction:: agree.{name}\n"
    if issubclass(item, BaseException):
        return f".. autoexception:: agree.{name}\n"
    own = [key for key, value in vars(item).items() if not key.startswith("_")
           and (isinstance(value, property | classmethod) or inspect.isfunction(value))]
    made_by_callers = "" if name in ("Pairs", "Recording", "Quantity") else "()"
    return f".. autoclass:: agree.{name}{made_by_callers}\n" + (f"   :members: {', '.join(own)}\n" if own else "")


def first_sentence(name: str) -> str:
    """Return what a docstring says in its first line."""
    return (inspect.getdoc(getattr(agree, name)) or "").splitlines()[0].replace("|", "\\|")


def page(names: list[str], drawn: dict[str, Callable[[], Any]]) -> str:
    """Return the page of a function, with the class it returns, or of a class, in reStructuredText."""
    name = names[0]
    lines = [name, "=" * len(name), ""]
    for k, key in enumerate(names):
        if k:
            lines += ["", key, "-" * len(key), ""]
        if key in drawn:
            caption = (drawn[key].__doc__ or "").strip()
            lines += [f".. image:: ../pictures/{key}.svg", f"   :alt: {caption}", "   :class: drawn", "",
                      f"*{caption} Invented data.*", ""]
        lines += [directive(key)]
        if key in drawn:
            code = inspect.getsource(drawn[key]).rstrip()
            lines += [".. dropdown:: How the picture is drawn", "", "   .. code-block:: python", "",
                      *(f"      {line}".rstrip() for line in code.splitlines()), ""]
    return "\n".join(lines)


def pages(drawn: dict[str, Callable[[], Any]]) -> Iterator[tuple[str, list[str]]]:
    """Yield the name of each page and the public names on it."""
    with_function = {found for name in public() if not isinstance(getattr(agree, name), type)
                     and (found := returned(name))}
    for name in public():
        if isinstance(getattr(agree, name), type):
            if name not in with_function and group(name) != GROUPS[9]:
                yield name, [name]
        else:
            found = returned(name)
            yield name, [name, found] if found else [name]


def index(of: dict[str, str]) -> str:
    """Return the index of all public names by group, as Markdown; `of` gives the page of each."""
    lines: list[str] = []
    for title in GROUPS:
        names = [name for name in public() if group(name) == title]
        lines += [f"## {title}", "", "| name | what it is |", "|---|---|"]
        role = {GROUPS[8]: "class", GROUPS[9]: "exc"}.get(title, "func")
        lines += [f"| {{py:{role}}}`~agree.{name}` | {first_sentence(name)} |" for name in names] + [""]
    listed = "\n".join(f"../generated/api/{name}" for name in dict.fromkeys(of.values()))
    return "\n".join(lines) + f"\n```{{toctree}}\n:hidden:\n\n{listed}\n```\n"


def gallery(drawn: dict[str, Callable[[], Any]]) -> str:
    """Return the gallery: every picture, with a link to the page of its function."""
    cards = [f":::{{grid-item-card}} {{py:func}}`~agree.{name}`\n:img-top: generated/pictures/{name}.svg\n\n"
             f"{(item.__doc__ or '').strip()}\n:::\n" for name, item in drawn.items()]
    return ("# Gallery\n\nEvery picture is drawn from invented data when these pages are built; the page of each "
            "function shows the code.\n\n::::{grid} 1 2 2 3\n:gutter: 3\n\n" + "\n".join(cards) + "::::\n")


def write(target: Path) -> None:
    """Draw all pictures, and write all pages."""
    drawn = pictures(*DRAWN)
    for folder in (target / "api", target / "pictures"):
        folder.mkdir(parents=True, exist_ok=True)
    with mpl.rc_context({"svg.hashsalt": "agree", "svg.fonttype": "path"}):
        for name, draw in pictures().items():
            draw().savefig(target / "pictures" / f"{name}.svg", metadata={"Date": None})
    of = {}
    for name, names in pages(drawn):
        (target / "api" / f"{name}.rst").write_text(page(names, drawn), encoding="utf-8")
        of |= dict.fromkeys(names, name)
    errors = [name for name in public() if group(name) == GROUPS[9]]
    text = "Errors and warnings\n===================\n\n" + "\n".join(map(directive, errors))
    (target / "api" / "errors.rst").write_text(text, encoding="utf-8")
    of |= dict.fromkeys(errors, "errors")
    (target / "api.md").write_text(index(of), encoding="utf-8")
    (target / "gallery.md").write_text(gallery(drawn), encoding="utf-8")


if __name__ == "__main__":
    write(HERE / "generated")
